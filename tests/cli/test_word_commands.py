"""``countersign kit words``, ``say`` and ``teach``: a word that a site adds gets its sound."""

import shutil
import subprocess
import wave
from pathlib import Path

import pytest

from countersign.kit import demo_kit_path, read_kit

from .conftest import Command

needs_espeak = pytest.mark.skipif(
    shutil.which("espeak-ng") is None, reason="needs the program espeak-ng"
)


@pytest.fixture
def site_kit(tmp_path: Path) -> Path:
    """The demonstration kit with a suction tip that no dictionary has."""
    path = tmp_path / "site.toml"
    text = demo_kit_path().read_text(encoding="utf-8")
    path.write_text(text.replace('"scratch pad"', '"yankauer", "scratch pad"'), encoding="utf-8")
    return path


def recording(phones: str, path: Path) -> Path:
    command = ["espeak-ng", "-v", "en-us+f5", "-s", "130", "-w", str(path), "--", f"[[{phones}]]"]
    subprocess.run(command, check=True, capture_output=True)
    return path


def test_a_guess_is_a_notice_and_the_kit_can_be_used(command: Command, site_kit: Path) -> None:
    done = command("kit", "check", site_kit)
    assert done.code == 0
    assert "notice: “yankauer” is in no dictionary" in done.out
    assert "countersign kit teach FILE yankauer" in done.out
    assert "the kit can be used" in done.out


def test_every_word_is_listed_with_where_it_comes_from(command: Command, site_kit: Path) -> None:
    done = command("kit", "words", site_kit)
    assert done.code == 0
    rows = {
        line.split()[0]: " ".join(line.split()[1:])
        for line in done.out.splitlines()
        if line.strip()
    }
    assert rows["sponge"] == "S P AH N JH dictionary"
    assert rows["raytec"] == "R EY T EH K the kit"
    assert rows["yankauer"] == "Y AE NG K AW ER GUESSED, not confirmed"
    assert "1 guessed" in done.out
    assert max(map(len, done.out.splitlines()[:-1])) <= 80


@needs_espeak
def test_a_word_is_said(command: Command, site_kit: Path, tmp_path: Path) -> None:
    out = tmp_path / "said.wav"
    done = command("kit", "say", "yankauer", "--kit", site_kit, "--variant", "2", "--out", out)
    assert done.code == 0
    assert "2  Y AE NG K AW R  <- said now" in done.out
    with wave.open(str(out)) as sound:
        assert sound.getnframes() > 0
    done = command("kit", "say", "x", "--phones", "r ey1 t", "--out", out)
    assert (done.code, "1  R EY T" in done.out) == (0, True)


def test_saying_what_cannot_be_said(
    command: Command, site_kit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "said.wav"
    for arguments, said in (
        (("yankauer", "--variant", "9", "--kit", site_kit), "there is no 9"),
        (("yankauer", "--phones", "Y EYE"), "“EYE” is not one of the phones"),
        (("ü",), "Nobody knows how “ü” is pronounced"),
    ):
        done = command("kit", "say", *arguments, "--out", out)
        assert (done.code, said in done.err) == (2, True), done
        assert done.err.count("\n") == 1
    monkeypatch.setenv("PATH", str(tmp_path))
    done = command("kit", "say", "lap", "--out", out)
    assert (done.code, "install the synthesiser espeak-ng" in done.err) == (2, True)
    assert not out.exists()


@needs_espeak
def test_a_recording_chooses_and_the_choice_is_kept(
    command: Command, site_kit: Path, tmp_path: Path
) -> None:
    sound = recording("j|'a|N|k|aU|3", tmp_path / "word.wav")
    before = site_kit.read_text(encoding="utf-8").splitlines()
    done = command(
        "kit", "teach", site_kit, "yankauer", "--recording", sound, "--recording", sound,
        "--choose", "1",
    )  # fmt: skip
    assert done.code == 0, done.err
    assert "K AW ER" in next(line for line in done.out.splitlines() if " 1 " in line)
    after = site_kit.read_text(encoding="utf-8").splitlines()
    (added,) = [line for line in after if line not in before]
    assert added.startswith('yankauer = ["Y AE N')
    assert added.endswith('K AW ER"]')
    assert [line for line in before if line not in after] == []
    assert "yankauer" not in command("kit", "check", site_kit).out


@pytest.mark.parametrize(
    ("answer", "kept", "said"),
    [
        ("2\n", ("Y AE NG K AW R",), "now says yankauer"),
        ("y ae ng k er\n", ("Y AE NG K ER",), "now says yankauer"),
        ("\n", None, "Nothing was changed."),
        ("", None, "Nothing was changed."),
        ("99\n", None, "There is no number 99"),
        ("yes\n", None, "“YES” is not one of the phones"),
    ],
)
def test_a_person_chooses(
    command: Command,
    site_kit: Path,
    monkeypatch: pytest.MonkeyPatch,
    answer: str,
    kept: tuple[str, ...] | None,
    said: str,
) -> None:
    before = site_kit.read_bytes()
    monkeypatch.setattr("countersign.cli_words.ask", lambda _: answer or None)
    done = command("kit", "teach", site_kit, "yankauer")
    assert said in done.out + done.err
    assert read_kit(site_kit).pronunciations.get("yankauer") == kept
    assert (site_kit.read_bytes() == before) == (kept is None)


def test_teaching_what_cannot_be_taught(command: Command, site_kit: Path, tmp_path: Path) -> None:
    before = site_kit.read_bytes()
    letter = tmp_path / "letter.wav"
    letter.write_text("not a recording")
    for arguments, said in (
        (("banana",), "No spoken form"),
        (("yankauer", "--recording", letter), "not a sound file"),
        (("yankauer", "--recording", tmp_path / "absent.wav"), "does not exist"),
        (("yankauer", "--choose", "77"), "There is no number 77"),
    ):
        done = command("kit", "teach", site_kit, *arguments)
        assert (done.code, said in done.err) == (2, True), done
        assert done.err.count("\n") == 1
    assert site_kit.read_bytes() == before
