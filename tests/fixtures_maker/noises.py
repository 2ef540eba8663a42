"""Background sound of an operating room, made from nothing, and mixing at a stated ratio."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

RATE = 16_000
Samples = npt.NDArray[np.float32]


def _coloured(length: int, tilt: float, rng: np.random.Generator) -> Samples:
    """Noise whose amplitude falls with frequency as ``f ** -tilt`` (0 white, 1 brown)."""
    spectrum = np.fft.rfft(rng.standard_normal(length))
    frequency = np.maximum(np.fft.rfftfreq(length, 1 / RATE), 20.0)
    return np.asarray(np.fft.irfft(spectrum * frequency**-tilt, length), dtype=np.float32)


def _band(samples: Samples, low: float, high: float) -> Samples:
    spectrum = np.fft.rfft(samples)
    frequency = np.fft.rfftfreq(len(samples), 1 / RATE)
    shape = 1 / (1 + (low / np.maximum(frequency, 1)) ** 4) / (1 + (frequency / high) ** 4)
    return np.asarray(np.fft.irfft(spectrum * shape, len(samples)), dtype=np.float32)


def suction(length: int, rng: np.random.Generator) -> Samples:
    """Hissing air with slow swells and gurgles."""
    hiss = _band(_coloured(length, 0.2, rng), 900, 5500)
    hiss /= np.abs(hiss).max()
    gurgle = _band(_coloured(length, 0.5, rng), 150, 900)
    gurgle /= np.abs(gurgle).max()
    time = np.arange(length) / RATE
    swell = 0.7 + 0.3 * np.sin(2 * np.pi * 0.4 * time + rng.uniform(0, 6))
    bubbling = np.clip(np.sin(2 * np.pi * 7 * time + 2 * np.sin(2 * np.pi * 1.3 * time)), 0, 1)
    return np.asarray(hiss * swell + 0.6 * gurgle * bubbling, dtype=np.float32)


def monitor(length: int, rng: np.random.Generator) -> Samples:
    """Pulse beeps at about 72 a minute over a faint fan."""
    out = 0.03 * _coloured(length, 0.5, rng) / 0.1
    out = out / (np.abs(out).max() + 1e-9) * 0.05
    time = np.arange(int(0.11 * RATE)) / RATE
    tone = np.sin(2 * np.pi * 880 * time) + 0.3 * np.sin(2 * np.pi * 1760 * time)
    tone *= np.minimum(1, np.minimum(time, time[::-1]) / 0.008)
    start = int(rng.uniform(0.05, 0.5) * RATE)
    while start + len(tone) < length:
        out[start : start + len(tone)] += tone
        start += int(RATE * 60 / 72 * rng.uniform(0.98, 1.02))
    return np.asarray(out, dtype=np.float32)


def ventilation(length: int, rng: np.random.Generator) -> Samples:
    """Low rumble of moving air with a mains hum."""
    air = _band(_coloured(length, 0.8, rng), 40, 1200)
    time = np.arange(length) / RATE
    hum = np.sin(2 * np.pi * 60 * time) + 0.5 * np.sin(2 * np.pi * 120 * time)
    return np.asarray(air / np.abs(air).max() + 0.05 * hum, dtype=np.float32)


def clatter(length: int, rng: np.random.Generator) -> Samples:
    """Instruments laid down on metal: short rings at random moments over a faint fan."""
    out = _coloured(length, 0.5, rng)
    out = out / np.abs(out).max() * 0.05
    for _ in range(max(3, int(length / RATE * 1.6))):
        ring_length = int(rng.uniform(0.05, 0.25) * RATE)
        time = np.arange(ring_length) / RATE
        ring = np.zeros(ring_length)
        for _ in range(5):
            ring += rng.uniform(0.3, 1) * np.sin(
                2 * np.pi * rng.uniform(1500, 7000) * time + rng.uniform(0, 6)
            )
        ring *= np.exp(-time / rng.uniform(0.01, 0.06)) * rng.uniform(0.3, 1)
        start = int(rng.integers(0, max(1, length - ring_length)))
        out[start : start + ring_length] += ring[: length - start]
    return np.asarray(out, dtype=np.float32)


def babble(length: int, rng: np.random.Generator, talkers: Sequence[Samples]) -> Samples:
    """Several people talking at once: ``talkers`` (each mono 16 kHz) repeated and overlaid."""
    out = np.zeros(length, dtype=np.float32)
    for talker in talkers:
        repeated = np.resize(np.concatenate([talker, np.zeros(RATE // 4, np.float32)]), length)
        out += np.roll(repeated, int(rng.integers(0, length)))
    return out


def room(samples: Samples, rng: np.random.Generator, decay_s: float = 0.25) -> Samples:
    """``samples`` as heard two metres away: an exponentially decaying tail behind the sound."""
    length = int(decay_s * 1.5 * RATE)
    tail = rng.standard_normal(length) * np.exp(-6.9 * np.arange(length) / RATE / decay_s)
    tail /= np.sqrt(np.sum(tail**2))
    response = 0.45 * tail
    response[0] += 1.0
    size = len(samples) + length
    wet = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(response, size), size)
    return np.asarray(wet[: len(samples)], dtype=np.float32)


def mix(speech: Samples, noise: Samples, snr_db: float) -> Samples:
    """``speech`` with ``noise`` scaled so that the ratio of their powers is ``snr_db``.

    The power of speech is taken where it is spoken (frames within 30 dB of the loudest), so that
    pauses do not make the ratio look worse than it sounds.
    """
    gain = np.sqrt(spoken_power(speech) / np.mean(noise**2) / 10 ** (snr_db / 10))
    return np.asarray(speech + gain * noise, dtype=np.float32)


def spoken_power(speech: Samples) -> float:
    """Mean power of the 20 ms frames within 30 dB of the loudest one."""
    frame = RATE // 50
    power = np.mean(speech[: len(speech) // frame * frame].reshape(-1, frame) ** 2, axis=1)
    return float(np.mean(power[power > power.max() / 1000]))
