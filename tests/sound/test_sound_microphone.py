"""The live path: through a recording played as a microphone, and through a stand-in library.

The stand-in has the calls of sounddevice 0.5 that are used (query_devices, check_input_settings,
InputStream with its callback's four arguments), because a test machine has no microphone.
"""

import math
import sys
import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from countersign.problems import BadInput
from countersign.sound import LevelMeter, microphone, read_blocks


def joined(blocks):
    return np.concatenate([block.samples for block in blocks])


def recording(path, rate=44100, channels=1, length_s=3.0):
    data = np.random.default_rng(1).normal(0, 0.1, (round(rate * length_s), channels))
    soundfile.write(path, data, rate)
    return path


@pytest.mark.parametrize("rate", [16000, 44100, 48000])
def test_a_file_as_microphone_gives_the_same_samples(tmp_path, rate):
    path = recording(tmp_path / "x.wav", rate)
    live = list(microphone.file_as_microphone(path, math.inf, seconds=0.1))
    assert all(len(block.samples) == 1600 for block in live[:-1])
    assert [block.start_s for block in live[:3]] == [0.0, 0.1, 0.2]
    assert np.array_equal(joined(live), joined(read_blocks(path)))


@pytest.mark.parametrize("pace", [1.0, 4.0])
def test_the_pace_follows_the_clock(tmp_path, pace):
    path = recording(tmp_path / "x.wav")
    now = [100.0]
    waits = []

    def sleep(seconds):
        waits.append(seconds)
        now[0] += seconds

    blocks = microphone.file_as_microphone(path, pace, clock=lambda: now[0], sleep=sleep)
    assert len(joined(blocks)) == 48000
    assert now[0] - 100 == pytest.approx(3.0 / pace, abs=1e-6)
    assert max(waits) <= microphone.PIECE_S / pace + 1e-9


def test_real_time_is_real_time(tmp_path):
    path = recording(tmp_path / "x.wav", length_s=0.5)
    began = time.monotonic()
    arrivals = [time.monotonic() - began for _ in microphone.file_as_microphone(path, seconds=0.1)]
    assert all(at >= 0.1 * (place + 1) - 0.001 for place, at in enumerate(arrivals))
    assert arrivals[-1] < 2.0


def test_warnings_come_through_the_live_path(tmp_path):
    path = recording(tmp_path / "x.wav", 8000)
    path.write_bytes(path.read_bytes()[:-9000])
    meter = LevelMeter()
    list(microphone.file_as_microphone(path, math.inf, meter=meter))
    assert [warning.code for warning in meter.warnings()] == ["ends_early", "narrow_band"]


def test_stopping_early_ends_the_player(tmp_path):
    path = recording(tmp_path / "x.wav", length_s=60)
    before = threading.active_count()
    blocks = microphone.file_as_microphone(path, math.inf)
    next(blocks)
    blocks.close()
    assert threading.active_count() == before
    stop = threading.Event()
    count = 0
    for _ in microphone.file_as_microphone(path, math.inf, stop=stop):
        count += 1
        stop.set()
    assert count < 100


def test_bad_files_are_refused_at_the_call(tmp_path):
    with pytest.raises(BadInput, match="does not exist"):
        microphone.file_as_microphone(tmp_path / "none.wav")
    with pytest.raises(ValueError, match="pace"):
        microphone.file_as_microphone(recording(tmp_path / "x.wav"), 0)


def test_lost_sound_is_told_and_keeps_the_times_true():
    meter = LevelMeter()
    inbox = microphone.Inbox(16000, meter, waiting_s=0.1)  # room for two pieces
    piece = np.full((800, 1), 0.1, dtype=np.float32)
    for _ in range(5):
        inbox.put(piece)
    frames = inbox.frames()
    first = [next(frames), next(frames)]
    inbox.put(piece * 2)
    inbox.end()
    rest = np.concatenate(list(frames))
    assert all(np.array_equal(got, piece) for got in first)
    assert not rest[:2400].any() and np.array_equal(rest[2400:], piece * 2)
    (warning,) = meter.warnings()
    assert warning.code == "gap" and (
        "0.1 s of sound" in warning.sentence or "0.2 s of sound" in warning.sentence
    )


class StandIn(SimpleNamespace):
    """A sound library whose device plays prepared frames from a thread of its own."""

    class PortAudioError(Exception):
        pass

    def __init__(self, frames, rate=48000, inputs=2, rates=(48000,), overflow=False):
        super().__init__(
            frames=frames, rate=rate, inputs=inputs, rates=rates, overflow=overflow, opened=0
        )

    def query_devices(self, device=None, kind=None):
        if self.inputs is None:
            raise self.PortAudioError("Error querying device -1")
        if device == "nowhere":
            raise ValueError("No input device matching 'nowhere'")
        assert kind == "input"
        return {
            "name": "Stand-in",
            "max_input_channels": self.inputs,
            "default_samplerate": float(self.rate),
        }

    def check_input_settings(
        self, device=None, channels=None, dtype=None, extra_settings=None, samplerate=None
    ):
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate")

    def InputStream(self, *, callback, finished_callback, blocksize, samplerate, channels, **_):
        assert samplerate in self.rates and channels == self.frames.shape[1]
        library = self

        class Stream:
            def __enter__(self):
                library.opened += 1
                self.player = threading.Thread(target=self.play)
                self.player.start()
                return self

            def play(self):
                reused = np.empty((blocksize, channels), np.float32)  # as PortAudio reuses memory
                for start in range(0, len(library.frames), blocksize):
                    piece = library.frames[start : start + blocksize]
                    reused[: len(piece)] = piece
                    status = SimpleNamespace(input_overflow=library.overflow)
                    callback(reused[: len(piece)], len(piece), None, status)
                finished_callback()

            def __exit__(self, *_):
                self.player.join()
                library.opened -= 1

        return Stream()


def install(monkeypatch, library):
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    return library


def tone(rate, channels):
    wave = 0.3 * np.sin(2 * np.pi * 440 * np.arange(2 * rate) / rate)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


@pytest.mark.parametrize(("rate", "inputs"), [(16000, 1), (48000, 2), (44100, 2)])
def test_a_device_is_listened_to(monkeypatch, rate, inputs):
    library = install(monkeypatch, StandIn(tone(rate, inputs), rate, inputs, (rate,)))
    meter = LevelMeter()
    samples = joined(microphone.blocks(meter=meter))
    assert library.opened == 0
    expected = 32768 * tone(16000, 1)[:, 0]
    assert np.abs(samples[1000:-1000] - expected[1000:-1000]).max() <= 2
    # Nobody asked it to stop, so the device did.
    assert [warning.code for warning in meter.warnings()] == ["ends_early"]


def test_a_device_that_can_give_16_khz_is_asked_for_it(monkeypatch):
    install(monkeypatch, StandIn(tone(16000, 2), 48000, 8, (16000, 48000)))
    assert len(joined(microphone.blocks())) == 32000


def test_closing_stops_the_device(monkeypatch):
    library = install(monkeypatch, StandIn(tone(48000, 2)))
    blocks = microphone.blocks()
    next(blocks)
    assert library.opened == 1
    blocks.close()
    assert library.opened == 0


def test_a_device_that_loses_sound_is_told(monkeypatch):
    install(monkeypatch, StandIn(tone(48000, 2), overflow=True))
    meter = LevelMeter()
    list(microphone.blocks(meter=meter))
    assert "gap" in [warning.code for warning in meter.warnings()]


def test_no_microphone(monkeypatch):
    install(monkeypatch, StandIn(tone(48000, 2), inputs=None))
    with pytest.raises(BadInput, match="No microphone was found"):
        microphone.blocks()
    install(monkeypatch, StandIn(tone(48000, 2)))
    with pytest.raises(BadInput, match="nowhere"):
        microphone.blocks("nowhere")
    install(monkeypatch, StandIn(tone(48000, 2), inputs=0))
    with pytest.raises(BadInput, match="no input"):
        microphone.blocks()


def test_missing_package(monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(BadInput, match="countersign\\[live\\]"):
        microphone.blocks()


def test_the_package_is_only_loaded_when_it_is_used():
    assert "sounddevice" not in sys.modules or sys.modules["sounddevice"] is not None


def test_the_real_library_without_a_device():
    try:
        sounddevice = pytest.importorskip("sounddevice")
    except OSError:
        pytest.skip("the PortAudio library is not installed")
    if any(device["max_input_channels"] for device in sounddevice.query_devices()):
        pytest.skip("this machine has a microphone")
    with pytest.raises(BadInput, match="No microphone was found"):
        microphone.blocks()
