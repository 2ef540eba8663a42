"""Commands about how the words of a kit are pronounced: ``kit words``, ``say`` and ``teach``."""

import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.table import Table
from rich.text import Text

from countersign import settings
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import ask, screen

if TYPE_CHECKING:
    from countersign.kit.model import Kit
    from countersign.kit.phones import Phones
    from countersign.kit.pronounce import Spoken
    from countersign.voice_check.fit import Fits

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The kit (TOML).")]
WordArgument = Annotated[str, typer.Argument(metavar="WORD")]
PhonesOption = Annotated[
    str | None,
    typer.Option("--phones", help="Phones instead of the ones proposed, such as “R EY T EH K”."),
]

_FROM = {
    "kit": "the kit",
    "dictionary": "dictionary",
    "derived": "made from {because}",
    "guessed": "GUESSED, not confirmed",
}


def register(kit_app: typer.Typer) -> None:
    """Add the commands to ``countersign kit``."""
    kit_app.command("words")(words)
    kit_app.command("say")(say_word)
    kit_app.command("teach")(teach)


def words(file: FileArgument) -> None:
    """List every word of a kit with its pronunciations and where they come from."""
    from countersign.kit import read_kit
    from countersign.kit.pronounce import spoken_as

    kit = read_kit(file)
    table = Table(box=box.SIMPLE, pad_edge=False)
    table.add_column("word", no_wrap=True)
    table.add_column("pronunciation")
    table.add_column("from")
    origins: Counter[str] = Counter()
    for word in _words_of(kit):
        spoken = spoken_as(word, kit.pronunciations)
        if spoken is None:
            table.add_row(clean(word), "", "nowhere: add it under [pronunciations]", style="bold")
            origins["nowhere"] += 1
            continue
        origins[spoken.origin.value] += 1
        table.add_row(
            clean(word),
            "\n".join(" ".join(one) for one in spoken.phones),
            _FROM[spoken.origin.value].format(because=clean(spoken.because)),
            style="bold yellow" if spoken.origin == "guessed" else None,
        )
    console = screen()
    console.print(table)
    counted = ", ".join(f"{number} {origin}" for origin, number in origins.items())
    console.print(Text(f"{origins.total()} words: {counted}."))
    if origins["guessed"]:
        console.print(
            Text(
                "Hear a guess with: countersign kit say WORD. Confirm or mend it with: "
                f"countersign kit teach {file} WORD --recording FILE"
            ),
            soft_wrap=True,
        )


def say_word(
    word: WordArgument,
    kit: Annotated[
        Path | None, typer.Option("--kit", metavar="FILE", help="Take the kit's pronunciations.")
    ] = None,
    phones: PhonesOption = None,
    variant: Annotated[
        int, typer.Option("--variant", min=1, help="Which of the pronunciations to say.")
    ] = 1,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write a WAV file, do not play.")
    ] = None,
) -> None:
    """Say a word as the kit has it, so that the pronunciation can be heard."""
    from countersign.confirm import play_line
    from countersign.kit import demo_kit_path, read_kit
    from countersign.kit.edit import read_phones
    from countersign.kit.saying import write_speech
    from countersign.sound import open_source

    used = read_kit(settings.kit_path(kit) or demo_kit_path())
    spoken = _spoken(word, used)
    offered = [read_phones(phones)] if phones is not None else list(spoken.phones if spoken else ())
    if not offered:
        raise BadInput(f"Nobody knows how “{word}” is pronounced; give --phones.")
    if variant > len(offered):
        raise BadInput(f"“{word}” has {len(offered)} pronunciations; there is no {variant}.")
    console = screen()
    for number, one in enumerate(offered, start=1):
        said = "  <- said now" if number == variant else ""
        console.print(Text(f"{number}  {' '.join(one)}{said}"))
    if spoken is not None and phones is None:
        console.print(Text(f"From: {_FROM[spoken.origin.value].format(because=spoken.because)}."))
    if out is not None:
        write_speech(offered[variant - 1], out.expanduser())
        console.print(Text(f"Written to {out}."), soft_wrap=True)
        return
    with tempfile.TemporaryDirectory(prefix="countersign-") as folder:
        path = Path(folder) / "word.wav"
        write_speech(offered[variant - 1], path)
        try:
            play_line(str(path), 0.0, open_source(path).duration_s or 2.0)
        except BadInput as problem:
            raise BadInput(f"{problem} To write a sound file instead, give --out.") from None


def teach(
    file: FileArgument,
    word: WordArgument,
    recording: Annotated[
        list[Path] | None,
        typer.Option("--recording", metavar="FILE", help="The word said once; may be given twice."),
    ] = None,
    phones: PhonesOption = None,
    choose: Annotated[
        int | None, typer.Option("--choose", min=1, help="Take this one of the list, do not ask.")
    ] = None,
) -> None:
    """Choose how a word is pronounced, by recordings of it, and write it into the kit."""
    from countersign.kit import read_kit
    from countersign.kit.edit import read_phones, set_pronunciations

    kit = read_kit(file)
    if word not in _words_of(kit):
        raise BadInput(f"No spoken form of {file} uses the word “{word}”.")
    console = screen()
    spoken = _spoken(word, kit)
    offered: list[Phones] = [read_phones(phones)] if phones is not None else []
    offered += [one for one in (spoken.phones if spoken else ()) if one not in offered]
    fits = _fits(offered, recording) if recording and offered else None
    if fits is not None:
        console.print(_fits_table(fits))
        for number in fits.strange:
            console.print(
                Text(
                    f"Recording {number} sounds like none of the proposed ones: is it “{word}”, "
                    "said once and alone?"
                ),
                soft_wrap=True,
            )
        shown = [one.phones for one in fits.fits if _worth_showing(fits, one.phones)]
    else:
        shown = offered
        for number, one in enumerate(shown, start=1):
            console.print(Text(f"{number}  {' '.join(one)}"))
    if phones is not None:
        chosen = read_phones(phones)
    elif choose is not None:
        if choose > len(shown):
            raise BadInput(f"There is no number {choose} in the list.")
        chosen = shown[choose - 1]
    else:
        typed = (
            ask("Number to keep, or phones as they should be, or Enter for none: ") or ""
        ).strip()
        if not typed:
            console.print(Text("Nothing was changed."))
            return
        if typed.isdecimal() and not 1 <= int(typed) <= len(shown):
            raise BadInput(f"There is no number {typed} in the list; nothing was changed.")
        chosen = shown[int(typed) - 1] if typed.isdecimal() else read_phones(typed)
    set_pronunciations(file, word, [chosen])
    console.print(Text(f"{file} now says {word} = “{' '.join(chosen)}”."), soft_wrap=True)


def _words_of(kit: "Kit") -> list[str]:
    forms = [form for item in kit.items for form in item.spoken]
    forms += [form for medication in kit.medications for form in medication.spoken]
    return sorted({word for form in forms for word in form.split()})


def _spoken(word: str, kit: "Kit") -> "Spoken | None":
    from countersign.kit.pronounce import spoken_as

    return spoken_as(word.lower(), kit.pronunciations)


def _fits(offered: list["Phones"], recordings: list[Path]) -> "Fits":
    from countersign.sound import read_blocks
    from countersign.voice_check.fit import fit

    return fit(offered, [read_blocks(path) for path in recordings])


_SHOWN_HEARD = 2


def _worth_showing(fits: "Fits", phones: "Phones") -> bool:
    """All that were proposed, and the best few of those that were only heard."""
    heard = [one.phones for one in fits.fits if one.heard]
    return phones not in heard[_SHOWN_HEARD:]


def _fits_table(fits: "Fits") -> Table:
    table = Table(box=box.SIMPLE, pad_edge=False)
    table.add_column("", justify="right")
    table.add_column("pronunciation")
    table.add_column("fits", justify="right")
    table.add_column("cost", justify="right")
    table.add_column("")
    shown = [one for one in fits.fits if _worth_showing(fits, one.phones)]
    for number, one in enumerate(shown, start=1):
        note = "as the recording sounds" if one.heard else ""
        table.add_row(
            str(number), " ".join(one.phones), f"{one.share:.0%}", f"{one.cost:.1f}", note
        )
    return table
