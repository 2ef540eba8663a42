"""Every format, rate and channel count against an independent measure of the same sine.

The reference is the signal itself: a pure tone of known frequency and amplitude, generated here
and fitted by least squares on a cosine and a sine (the single-frequency discrete Fourier
transform). What the fit leaves over is distortion, noise and misplaced time.
"""

import shutil
import subprocess
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, LevelMeter, open_source, read_blocks
from countersign.sound.decoder import Undecodable
from countersign.sound.libsndfile import SoundFileDecoder
from countersign.sound.recognition import recognise

TONE_HZ = 440.0
AMPLITUDE = 0.3
LENGTH_S = 1.5


def tone(rate: int, channels: int = 1, length_s: float = LENGTH_S, hertz: float = TONE_HZ):
    times = np.arange(round(length_s * rate)) / rate
    return np.repeat(AMPLITUDE * np.sin(2 * np.pi * hertz * times)[:, None], channels, axis=1)


def heard(path: Path, meter: LevelMeter | None = None) -> np.ndarray:
    return np.concatenate([block.samples for block in read_blocks(path, meter=meter)])


def fit(samples: np.ndarray, hertz: float = TONE_HZ) -> tuple[float, float, float]:
    """Amplitude, phase (radians, as of a sine) and what is left over (rms), away from the ends."""
    times = np.arange(len(samples)) / SAMPLE_RATE
    inner = slice(1600, -1600)
    x = samples[inner] / 32768
    basis = np.stack([np.sin(2 * np.pi * hertz * times), np.cos(2 * np.pi * hertz * times)], 1)
    (a, b), *_ = np.linalg.lstsq(basis[inner], x, rcond=None)
    left = x - basis[inner] @ np.array([a, b])
    return float(np.hypot(a, b)), float(np.arctan2(b, a)), float(np.sqrt(np.mean(left**2)))


LOSSLESS = [
    *(("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("FLAC", "PCM_16")),
    *(("AIFF", "PCM_16"), ("CAF", "PCM_16"), ("AU", "PCM_16"), ("RF64", "PCM_16")),
]
LOSSY = [
    *(("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III")),
    *(("WAV", "ULAW"), ("WAV", "MS_ADPCM")),
]


@pytest.mark.parametrize("channels", [1, 2, 4])
@pytest.mark.parametrize(
    ("container", "coding", "rate"),
    [
        *((*form, rate) for form in LOSSLESS for rate in (16000, 44100)),
        *(("WAV", "PCM_16", rate) for rate in (8000, 11025, 22050, 48000, 96000)),
        *(("FLAC", "PCM_16", rate) for rate in (8000, 32000, 48000)),
    ],
)
def test_lossless_formats_keep_the_tone(tmp_path, container, coding, rate, channels):
    path = tmp_path / "tone"
    soundfile.write(path, tone(rate, channels), rate, format=container, subtype=coding)
    source = open_source(path)
    assert (source.sample_rate, source.channels) == (rate, channels)
    assert source.duration_s == pytest.approx(LENGTH_S, abs=1e-3)
    samples = heard(path)
    assert samples.dtype == np.int16
    assert abs(len(samples) - LENGTH_S * SAMPLE_RATE) <= 1
    amplitude, phase, left = fit(samples)
    assert amplitude == pytest.approx(AMPLITUDE, rel=2e-3)
    assert phase == pytest.approx(0, abs=2e-3)  # 2 mrad of 440 Hz is under a microsecond
    # Two roundings to 16 bits leave at most about a step each (a step is 3.05e-5).
    assert left < 4e-5


@pytest.mark.parametrize(
    ("container", "coding"),
    [("WAV", "IMA_ADPCM"), ("WAV", "MS_ADPCM"), ("WAV", "GSM610"), ("W64", "IMA_ADPCM"),
     ("AIFF", "IMA_ADPCM"), ("AU", "G721_32")],
)  # fmt: skip
def test_what_libsndfile_reads_unsafely_never_reaches_it(tmp_path, monkeypatch, container, coding):
    """CVE-2026-37555 and CVE-2022-33065: ADPCM readers of libsndfile up to 1.2.2."""
    path = tmp_path / "crafted"
    soundfile.write(path, tone(8000), 8000, format=container, subtype=coding)
    kind = recognise(path)
    assert kind is not None and (kind.decoder == "ffmpeg" or container == "AU")
    with pytest.raises(Undecodable, match="compression"):  # should a header hide what it is
        SoundFileDecoder(path, replace(kind, decoder="libsndfile"))
    assert open_source(path).format.startswith(("ADPCM", "GSM"))  # ffmpeg's names
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BadInput):
        open_source(path)


def test_an_au_header_that_libsndfile_would_add_up_wrongly_is_repaired(tmp_path):
    """CVE-2022-33065: where the sound begins and its length, added as signed 32-bit numbers."""
    path = tmp_path / "tone.au"
    soundfile.write(path, tone(16000), 16000, format="AU", subtype="PCM_16")
    data = bytearray(path.read_bytes())
    data[8:12] = (0x7FFFFFFF).to_bytes(4, "big")
    path.write_bytes(data)
    kind = recognise(path)
    assert kind is not None and kind.repairs == {8: b"\xff" * 4}
    assert fit(heard(path))[0] == pytest.approx(AMPLITUDE, rel=2e-3)


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("rate", [16000, 48000])
@pytest.mark.parametrize(("container", "coding"), LOSSY)
def test_lossy_formats_keep_the_tone(tmp_path, container, coding, rate, channels):
    path = tmp_path / "tone"
    soundfile.write(path, tone(rate, channels), rate, format=container, subtype=coding)
    samples = heard(path)
    # Codecs with blocks pad the last one: 1012 samples in MS ADPCM, 1152 in MP3.
    assert len(samples) == pytest.approx(LENGTH_S * SAMPLE_RATE, abs=SAMPLE_RATE * 0.07)
    amplitude, _, left = fit(samples)
    assert amplitude == pytest.approx(AMPLITUDE, rel=0.05)
    # At least 20 dB of signal over error: a garbled or wrongly paced decoding has far less.
    assert left < AMPLITUDE / np.sqrt(2) / 10


def test_16_khz_mono_16_bit_comes_through_unchanged(tmp_path):
    original = np.random.default_rng(5).integers(-32768, 32768, 16000).astype(np.int16)
    path = tmp_path / "plain.wav"
    with wave.open(str(path), "wb") as file:  # the standard library's writer, not ours
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)
        file.writeframes(original.astype("<i2").tobytes())
    assert np.array_equal(heard(path), original)


@pytest.mark.parametrize("rate", [22050, 44100, 48000])
def test_what_16_khz_cannot_carry_is_filtered_not_folded(tmp_path, rate):
    """Nyquist-Shannon: a tone above 8 kHz must vanish, not come back as a lower one."""
    path = tmp_path / "high.wav"
    soundfile.write(path, tone(rate, hertz=10_000), rate, subtype="FLOAT")
    inner = heard(path)[1600:-1600] / 32768
    assert np.sqrt(np.mean(inner**2)) < AMPLITUDE * 10 ** (-80 / 20)


def test_the_extension_does_not_matter(tmp_path):
    for name in ("sound.raw", "sound.vox", "sound.txt", "sound"):
        path = tmp_path / name
        soundfile.write(path, tone(16000), 16000, format="FLAC")
        assert open_source(path).format == "FLAC"


@pytest.mark.parametrize("seconds", [0.01, 0.2, 0.33, 5.0])
def test_samples_do_not_depend_on_the_block_length(tmp_path, seconds):
    path = tmp_path / "noise.wav"
    noise = np.random.default_rng(3).normal(0, 0.1, (60_001, 2))
    soundfile.write(path, noise, 44100)
    blocks = list(read_blocks(path, seconds=seconds))
    size = round(seconds * SAMPLE_RATE)
    assert all(len(block.samples) == size for block in blocks[:-1])
    assert 0 < len(blocks[-1].samples) <= size
    assert [round(b.start_s * SAMPLE_RATE) for b in blocks] == [
        size * place for place in range(len(blocks))
    ]
    assert np.array_equal(np.concatenate([b.samples for b in blocks]), heard(path))


def test_digest_is_that_of_the_file(tmp_path):
    """SHA-256 against the example of FIPS 180-4 would test hashlib; against the file, our use."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, tone(16000), 16000)
    if shutil.which("sha256sum") is None:
        pytest.skip("the program sha256sum is not installed")
    told = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout
    assert open_source(path, digest=True).sha256 == told.split()[0]
    assert open_source(path).sha256 is None


needs_ffmpeg = pytest.mark.skipif(
    shutil.which("ffmpeg") is None, reason="the program ffmpeg is not installed"
)


def encode(source: Path, out: Path, *options: str) -> Path:
    subprocess.run(
        ["ffmpeg", "-nostdin", "-loglevel", "error", "-y", "-i", source, *options, out], check=True
    )
    return out


@needs_ffmpeg
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("rate", [16000, 44100])
@pytest.mark.parametrize(
    "name", ["t.m4a", "t.aac", "t.webm", "t.mka", "t.wma", "t.flac", "t.mp3", "t.opus", "t.ogg"]
)
def test_files_that_ffmpeg_made(tmp_path, name, rate, channels):
    plain = tmp_path / "plain.wav"
    soundfile.write(plain, tone(rate, channels), rate)
    options = ("-c:a", "libopus") if name in ("t.webm", "t.mka") else ()
    path = encode(plain, tmp_path / name, *options)
    meter = LevelMeter()
    samples = heard(path, meter)
    assert len(samples) == pytest.approx(LENGTH_S * SAMPLE_RATE, abs=SAMPLE_RATE * 0.15)
    amplitude, _, left = fit(samples)
    assert amplitude == pytest.approx(AMPLITUDE, rel=0.1)
    assert left < AMPLITUDE / np.sqrt(2) / 10
    assert not meter.warnings()


@needs_ffmpeg
@pytest.mark.parametrize("container", ["wav", "flac"])
def test_lengths_that_a_pipe_left_unknown_are_no_damage(tmp_path, container):
    plain = tmp_path / "plain.wav"
    soundfile.write(plain, tone(16000), 16000)
    path = tmp_path / f"piped.{container}"
    with path.open("wb") as out:
        subprocess.run(
            ["ffmpeg", "-nostdin", "-loglevel", "error", "-i", plain, "-f", container, "-"],
            stdout=out,
            check=True,
        )
    meter = LevelMeter()
    assert len(heard(path, meter)) == LENGTH_S * SAMPLE_RATE
    assert not meter.warnings()


@pytest.mark.skipif(shutil.which("sox") is None, reason="the program sox is not installed")
@pytest.mark.parametrize("name", ["t.wav", "t.flac", "t.aiff", "t.au"])
@pytest.mark.parametrize("rate", [8000, 32000])
def test_files_that_sox_made(tmp_path, name, rate):
    path = tmp_path / name
    subprocess.run(
        ["sox", "-n", "-r", str(rate), "-b", "16", "-D", path,
         *("synth", str(LENGTH_S), "sine", str(TONE_HZ), "vol", str(AMPLITUDE))],
        check=True,
    )  # fmt: skip
    amplitude, _, left = fit(heard(path))
    assert amplitude == pytest.approx(AMPLITUDE, rel=2e-3)
    assert left < 4e-5
