"""Files that cannot be used: one sentence each, and nothing but BadInput for any bytes."""

import os
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from countersign.problems import BadInput
from countersign.sound import LevelMeter, open_source, read_blocks

needs_ffmpeg = pytest.mark.skipif(
    shutil.which("ffmpeg") is None, reason="the program ffmpeg is not installed"
)


@pytest.fixture
def without_ffmpeg(monkeypatch, tmp_path_factory):
    monkeypatch.setenv("PATH", str(tmp_path_factory.mktemp("empty")))


def refusal(path) -> str:
    sentences = []
    for attempt in (open_source, read_blocks):
        with pytest.raises(BadInput) as caught:
            attempt(path)  # at the call, before a block is asked for
        sentences.append(str(caught.value))
    assert sentences[0] == sentences[1]
    sentence = sentences[0]
    assert sentence.endswith(".") and "\n" not in sentence and str(path) in sentence
    return sentence


def noise(path: Path, rate: int = 16000, length_s: float = 2.0, **options) -> Path:
    data = np.random.default_rng(1).normal(0, 0.1, round(rate * length_s))
    soundfile.write(path, data, rate, **options)
    return path


def read_all(path: Path) -> tuple[int, tuple[str, ...]]:
    meter = LevelMeter()
    count = sum(len(block.samples) for block in read_blocks(path, meter=meter))
    return count, tuple(warning.code for warning in meter.warnings())


def cut(path: Path, share: float) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def wav_header(rate: int, channels: int, data: bytes, coding: int = 1, bits: int = 16) -> bytes:
    """A WAV by hand, after the Microsoft multimedia specification 1.0."""
    width = channels * bits // 8
    described = struct.pack(
        "<HHIIHH", coding, channels, rate, rate * width & 0xFFFFFFFF, width & 0xFFFF, bits
    )
    body = b"WAVEfmt " + struct.pack("<I", 16) + described + b"data"
    body += struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def test_missing_folder_empty(tmp_path):
    assert "does not exist" in refusal(tmp_path / "nothing.wav")
    assert "is a folder" in refusal(tmp_path)
    (tmp_path / "empty.wav").touch()
    assert "is empty" in refusal(tmp_path / "empty.wav")
    assert "does not exist" in refusal(tmp_path / "empty.wav" / "below.wav")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_refused_without_waiting_for_it(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "is not a file" in refusal(tmp_path / "pipe")


def test_missing_permission(tmp_path, monkeypatch):
    path = noise(tmp_path / "closed.wav")
    path.chmod(0)
    if os.access(path, os.R_OK):  # an administrator may read everything
        real = Path.open

        def refuse(self, *arguments, **options):
            if self == path:
                raise PermissionError(13, "Permission denied")
            return real(self, *arguments, **options)

        monkeypatch.setattr(Path, "open", refuse)
    assert "permission" in refusal(path)


@pytest.mark.parametrize("name", ["x.wav", "x.mp3", "x.flac", "x.ogg", "x.raw", "x.vox", "x.gsm",
                                  "x.au", "x.snd", "x.txt", "x.m4a", "x"])  # fmt: skip
@pytest.mark.parametrize("kind", ["text", "random", "zeros", "program"])
def test_junk_is_refused_whatever_its_name(tmp_path, without_ffmpeg, name, kind):
    path = tmp_path / name
    data = {
        "text": b"Ten laps, ten raytec, two knife blades.\n" * 500,
        "random": np.random.default_rng(7).bytes(50_000),
        "zeros": bytes(50_000),
        "program": b"\x7fELF" + np.random.default_rng(8).bytes(20_000),
    }[kind]
    path.write_bytes(data)
    assert "not a sound file" in refusal(path)


@needs_ffmpeg
@pytest.mark.parametrize("kind", ["text", "random", "play list", "remote list"])
def test_junk_is_refused_by_ffmpeg_too(tmp_path, kind):
    sound = noise(tmp_path / "sound.flac")
    path = tmp_path / "x"
    data = {
        "text": b"Ten laps, ten raytec, two knife blades.\n" * 500,
        "random": np.random.default_rng(7).bytes(200_000),
        # A play list would let one file open others, or the network.
        "play list": f"ffconcat version 1.0\nfile {sound.name}\n".encode(),
        "remote list": b"#EXTM3U\n#EXTINF:10,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    }[kind]
    path.write_bytes(data)
    assert "not a sound file" in refusal(path)


@pytest.mark.parametrize(
    ("head", "name"),
    [
        (b"\0\0\0\x20ftypM4A " + bytes(200), "M4A"),
        (b"\x1a\x45\xdf\xa3" + bytes(200), "WebM"),
        (b"\xff\xf1\x50\x80\x02\x1f\xfc" + bytes(200), "AAC"),
        (b"#!AMR\n" + bytes(200), "AMR"),
    ],
)
def test_what_needs_ffmpeg_says_so(tmp_path, without_ffmpeg, head, name):
    path = tmp_path / "x.bin"
    path.write_bytes(head)
    sentence = refusal(path)
    assert name in sentence and "ffmpeg" in sentence


@needs_ffmpeg
def test_a_film_without_sound(tmp_path):
    path = tmp_path / "mute.mp4"
    subprocess.run(
        ["ffmpeg", "-nostdin", "-loglevel", "error", "-f", "lavfi", "-i",
         "color=size=16x16:duration=0.2", "-c:v", "mpeg4", path],
        check=True,
    )  # fmt: skip
    assert "no sound" in refusal(path)


@pytest.mark.parametrize("container", ["WAV", "AIFF", "AU", "CAF"])
def test_no_samples(tmp_path, container):
    path = tmp_path / "nothing"
    soundfile.write(path, np.zeros(0), 16000, format=container, subtype="PCM_16")
    assert "no sound" in refusal(path)


def test_header_only(tmp_path, without_ffmpeg):
    path = tmp_path / "x.wav"
    path.write_bytes(wav_header(16000, 1, bytes(32000))[:44])
    assert "cut off" in refusal(path)
    path.write_bytes(wav_header(16000, 1, b""))
    assert "no samples" in refusal(path)
    path.write_bytes(b"RIFF\x24\0\0\0WAVE")
    assert refusal(path)


@pytest.mark.parametrize(("container", "share"), [("FLAC", 0.02), ("OGG", 0.02), ("MP3", 0.01),
                                                  ("WAV", 0.01)])  # fmt: skip
def test_truncated_beyond_use(tmp_path, without_ffmpeg, container, share):
    path = cut(noise(tmp_path / "x", format=container), share)
    assert refusal(path)


@pytest.mark.parametrize("rate", [0, 1, 3999, 768_001, 2**31, 2**32 - 1])
def test_absurd_rates(tmp_path, without_ffmpeg, rate):
    path = tmp_path / "x.wav"
    path.write_bytes(wav_header(rate, 1, bytes(32000)))
    assert refusal(path)


@pytest.mark.parametrize("channels", [0, 65, 1024, 65535])
def test_absurd_channel_counts(tmp_path, without_ffmpeg, channels):
    path = tmp_path / "x.wav"
    path.write_bytes(wav_header(16000, channels, bytes(200_000)))
    assert refusal(path)


@pytest.mark.parametrize(
    ("container", "coding"),
    [("WAV", "PCM_16"), ("WAV", "PCM_24"), ("RF64", "PCM_16"), ("W64", "PCM_16"), ("AU", "PCM_16"),
     ("AIFF", "PCM_16"), ("FLAC", "PCM_16"), ("OGG", "VORBIS"), ("OGG", "OPUS"),
     ("MP3", "MPEG_LAYER_III")],
)  # fmt: skip
def test_truncated_files_are_read_as_far_as_they_go(tmp_path, without_ffmpeg, container, coding):
    path = noise(tmp_path / "x", length_s=8, format=container, subtype=coding)
    whole, codes = read_all(path)
    assert abs(whole - 128_000) < 3000 and not codes
    before = next(iter(read_blocks(path, seconds=1.0))).samples
    count, codes = read_all(cut(path, 0.5))
    assert 0.3 < count / whole < 0.6
    assert codes == ("ends_early",)
    after = next(iter(read_blocks(path, seconds=1.0))).samples
    assert np.array_equal(before, after)


@needs_ffmpeg
@pytest.mark.parametrize("name", ["x.m4a", "x.mka"])
def test_truncated_files_through_ffmpeg(tmp_path, name):
    plain = noise(tmp_path / "plain.wav", length_s=6)
    path = tmp_path / name
    subprocess.run(
        ["ffmpeg", "-nostdin", "-loglevel", "error", "-i", plain, "-c:a", "aac",
         *(("-movflags", "+faststart") if name == "x.m4a" else ()), path],
        check=True,
    )  # fmt: skip
    assert read_all(path)[1] == ()
    count, codes = read_all(cut(path, 0.6))
    assert 16000 < count < 5 * 16000
    assert codes == ("ends_early",)


@needs_ffmpeg
def test_m4a_whose_index_is_lost(tmp_path):
    plain = noise(tmp_path / "plain.wav")
    path = tmp_path / "x.m4a"
    subprocess.run(["ffmpeg", "-nostdin", "-loglevel", "error", "-i", plain, path], check=True)
    assert "index" in refusal(cut(path, 0.7))


def test_a_recorder_that_lost_power_before_writing_the_length(tmp_path):
    path = noise(tmp_path / "x.wav")
    data = bytearray(path.read_bytes())
    data[40:44] = bytes(4)
    path.write_bytes(data)
    assert read_all(path) == (32000, ("ends_early",))
    assert path.read_bytes() == data  # the recording itself is never touched


def test_damage_on_the_way_is_told(tmp_path, without_ffmpeg):
    for container, coding, least_s, expected in (
        ("OGG", "VORBIS", 17, ("damaged",)),
        ("FLAC", "PCM_16", 19.9, ("damaged",)),
    ):
        path = noise(tmp_path / container, length_s=20, format=container, subtype=coding)
        data = bytearray(path.read_bytes())
        middle = len(data) // 2
        data[middle : middle + 100] = np.random.default_rng(2).bytes(100)
        path.write_bytes(data)
        count, codes = read_all(path)
        assert count > least_s * 16000
        assert codes == expected


def test_a_file_that_vanishes_while_it_is_read(tmp_path):
    path = noise(tmp_path / "x.wav")
    blocks = read_blocks(path)
    path.unlink()
    with pytest.raises(BadInput, match="no longer"):
        next(blocks)
    path.write_bytes(b"RIFF")
    with pytest.raises(BadInput):
        next(read_blocks(path))


@needs_ffmpeg
def test_a_reading_that_is_given_up_ends_ffmpeg(tmp_path, monkeypatch):
    plain = noise(tmp_path / "plain.wav", length_s=60)
    path = tmp_path / "x.m4a"
    subprocess.run(["ffmpeg", "-nostdin", "-loglevel", "error", "-i", plain, path], check=True)
    started = []
    real = subprocess.Popen

    def watched(*arguments, **options):
        started.append(real(*arguments, **options))
        return started[-1]

    blocks = read_blocks(path)
    monkeypatch.setattr(subprocess, "Popen", watched)
    next(blocks)
    (process,) = started
    assert process.poll() is None
    blocks.close()
    assert process.returncode is not None


def test_samples_that_are_no_numbers(tmp_path):
    path = tmp_path / "x.wav"
    samples = np.full(16000, 0.1, dtype=np.float32)
    samples[100:110] = np.nan
    samples[200] = np.inf
    soundfile.write(path, samples, 16000, subtype="FLOAT")
    blocks = [block.samples for block in read_blocks(path)]
    joined = np.concatenate(blocks)
    assert not joined[100:110].any() and joined[200] == 0 and joined[300] == round(0.1 * 32768)
    assert "damaged" in read_all(path)[1]


def only_bad_input_or_blocks(path: Path) -> None:
    try:
        source = open_source(path)
        total = 0
        for block in read_blocks(path):
            assert block.samples.dtype == np.int16 and block.samples.ndim == 1
            assert 0 < len(block.samples) <= 3200
            assert block.start_s == pytest.approx(total / 16000)
            total += len(block.samples)
        assert total > 0 and source.channels >= 1
    except BadInput as problem:
        assert str(problem).endswith(".") and "\n" not in str(problem)


HEADS = [
    *(b"", b"RIFF\xff\0\0\0WAVE", b"RIFF\xff\0\0\0WAVEfmt \x10\0\0\0", b"fLaC\0\0\0\x22"),
    *(b"OggS", b"\xff\xfb\x90\x64", b"ID3\4\0\0\0\0\0\x0a", b"FORM\0\0\1\0AIFF", b".snd"),
    *(b"caff", b"RF64\xff\xff\xff\xffWAVE", b"NIST_1A", b"Creative Voice File\x1a"),
]
relaxed = settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@relaxed
@given(head=st.sampled_from(HEADS), rest=st.binary(max_size=4000))
def test_any_bytes_give_bad_input_or_blocks(tmp_path, without_ffmpeg, head, rest):
    path = tmp_path / "x"
    path.write_bytes(head + rest)
    only_bad_input_or_blocks(path)


@settings(relaxed, max_examples=8)
@given(head=st.sampled_from([b"\0\0\0\x20ftypM4A ", b"\x1a\x45\xdf\xa3", b""]),
       rest=st.binary(max_size=4000))  # fmt: skip
@needs_ffmpeg
def test_any_bytes_through_ffmpeg(tmp_path, head, rest):
    path = tmp_path / "x"
    path.write_bytes(head + rest)
    only_bad_input_or_blocks(path)


@relaxed
@given(
    container=st.sampled_from(["WAV", "FLAC", "OGG", "AIFF", "AU", "CAF", "W64", "RF64", "MP3"]),
    where=st.integers(0, 10_000),
    put=st.binary(min_size=1, max_size=16),
    share=st.floats(0.01, 1),
)
def test_real_files_with_bytes_changed(tmp_path, without_ffmpeg, container, where, put, share):
    path = tmp_path / container
    if not path.exists():
        noise(path, length_s=0.5, format=container)
    whole = path.read_bytes()
    changed = bytearray(whole[: max(1, int(len(whole) * share))])
    place = where % len(changed)
    changed[place : place + len(put)] = put
    broken = tmp_path / "broken"
    broken.write_bytes(changed)
    only_bad_input_or_blocks(broken)
