"""Makes each training utterance sound different every time it is used; runs on the accelerator.

In order: random cut and resampling (speaker size and rate), silence before and after (often none),
colouring (masks, far or muffled microphones), room, noise (broadband suction, ventilation, monitor
beeps, metal, chords, other voices), level and clipping, telephone band, mu-law, rounding to 16 bit.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

import torch
import torch.nn.functional as F

RATE = 16_000
BANK_ROWS, BANK_PART, BANK_SIZE = 1536, 64, 14 * RATE
"""Noises kept ready, how many are made at once, and samples of each."""


@dataclass
class AugmentSettings:
    """Probabilities and ranges; decibels and seconds where not said otherwise."""

    resample: tuple[float, float] = (0.84, 1.2)
    resample_share: float = 0.75
    tight_share: float = 0.5  # no silence around the words
    overcut: float = 0.04  # most that a tight cut removes at each end
    tempo: tuple[float, float] = (0.8, 1.5)  # rate without change of pitch, in the features
    tempo_share: float = 0.4
    padding: float = 0.6  # longest silence at each end
    fill_share: float = 0.0  # silence at both ends up to the longest of the batch
    colour_share: float = 0.5
    room_share: float = 0.3
    clean_share: float = 0.3
    snr: tuple[float, float] = (0.0, 30.0)
    narrow_share: float = 0.45  # telephone band
    hiss_share: float = 0.3  # a floor of white noise, 12 to 35 dB below the speech
    quietest: float = -36.0  # lowest peak level
    mulaw_share: float = 0.4  # of the narrow ones
    clip_share: float = 0.05
    warp_share: float = 0.6
    time_masks: int = 2
    time_mask_frames: int = 14
    filter_masks: int = 2
    filter_mask_width: int = 7


@dataclass
class Batch:
    """``audio`` [batch, samples] and, for each utterance: used ``samples``, and where its sound
    came from (sample p of it is sample ``start + (p - pad) * factor`` of the corpus).
    """

    audio: torch.Tensor
    samples: torch.Tensor
    start: torch.Tensor
    length: torch.Tensor
    factor: torch.Tensor
    pad: torch.Tensor

    def source(self, sample: torch.Tensor) -> torch.Tensor:
        """Corpus samples of ``sample`` [batch, any]; -1 where there was silence."""
        place = ((sample - self.pad[:, None]) * self.factor[:, None]).long()
        inside = (place >= 0) & (place < self.length[:, None])
        return torch.where(inside, place + self.start[:, None], -1)


class Augmenter:
    """Turns segments of one long int16 tensor into a batch of altered audio in -1..1."""

    def __init__(self, audio: torch.Tensor, settings: AugmentSettings, seed: int) -> None:
        """Work on ``audio`` (int16, one dimension) on its device."""
        self.audio, self.settings, self.device = audio, settings, audio.device
        self.rng = random.Random(seed)
        self.bank = torch.empty(0)

    def fill_bank(self) -> None:
        """Make the noises that batches draw from anew; other voices come from the speech."""
        parts = []
        for _ in range(BANK_ROWS // BANK_PART):
            start = torch.randint(len(self.audio) - BANK_SIZE, (BANK_PART, 1), device=self.device)
            speech = self.audio[start + torch.arange(BANK_SIZE, device=self.device)] / 32768.0
            parts.append(self._noise(speech).half())
        self.bank = torch.cat(parts)

    def _some(
        self, share: float, x: torch.Tensor, change: Callable[[torch.Tensor], torch.Tensor]
    ) -> torch.Tensor:
        """``x`` with ``share`` of its rows changed. How many is fixed: Fourier transforms keep a
        plan for each shape.
        """
        rows = torch.randperm(len(x), device=self.device)[: round(share * len(x))]
        return x.index_copy(0, rows, change(x[rows])) if len(rows) else x

    def _drawn_noise(self, n: int, size: int) -> torch.Tensor:
        """Stretches of the bank [n, size]."""
        row = torch.randint(len(self.bank), (n, 1), device=self.device)
        start = torch.randint(BANK_SIZE, (n, 1), device=self.device)
        place = (start + torch.arange(size, device=self.device)) % BANK_SIZE
        return self.bank[row, place].float()

    def _uniform(self, low: float, high: float, *shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=self.device) * (high - low) + low

    def _chance(self, share: float, batch: int) -> torch.Tensor:
        return torch.rand(batch, 1, device=self.device) < share

    def batch(self, starts: list[int], lengths: list[int]) -> Batch:
        """Altered audio of the segments that begin at ``starts`` and have ``lengths`` samples."""
        s, dev, n = self.settings, self.device, len(starts)
        start = torch.tensor(starts, device=dev)
        length = torch.tensor(lengths, device=dev)
        tight = self._chance(s.tight_share, n)[:, 0]
        cut = (self._uniform(0, s.overcut, n, 2) * RATE).long() * tight[:, None]
        # At most an eighth of a short word at each end.
        cut = torch.minimum(cut, (length // 8)[:, None])
        start, length = start + cut[:, 0], length - cut.sum(1)
        # Resampling changes pitch, formants and rate together.
        factor = torch.exp(self._uniform(*(math.log(v) for v in s.resample), n))
        factor = torch.where(
            self._chance(s.resample_share, n)[:, 0], factor, torch.ones(n, device=dev)
        )
        spoken = (length / factor).long()
        pad = (self._uniform(0, 1, n, 2) ** 2 * s.padding * RATE).long()
        pad = torch.where(tight[:, None], (self._uniform(0, 0.01, n, 2) * RATE).long(), pad)
        # Stretches cut out of long utterances leave room: they are heard amid nobody speaking.
        room = (spoken + pad.sum(1)).max() - spoken - pad.sum(1)
        room = room * self._chance(s.fill_share, n)[:, 0]
        part = self._uniform(0, 1, n, 2)
        part = torch.stack([part[:, 0], part[:, 1] * (1 - part[:, 0])], 1)
        pad = pad + (room[:, None] * part).long()
        total = (spoken + pad.sum(1)).clamp(min=RATE // 8)
        # Lengths with small prime factors, few of them: the transforms keep a plan for each.
        size = -(-int(total.max()) // 3200) * 3200
        t = torch.arange(size, device=dev)
        place = (t - pad[:, :1]).float() * factor[:, None]
        inside = (place >= 0) & (place < length[:, None] - 1)
        place = torch.where(inside, place, torch.zeros_like(place))
        index = place.long()
        fraction = place - index
        index = (index + start[:, None]).clamp(max=len(self.audio) - 2)
        x = self.audio[index].float() * (1 - fraction) + self.audio[index + 1].float() * fraction
        x = x / 32768.0 * inside
        x = x / x.abs().amax(1, keepdim=True).clamp(min=1e-3)
        x = self._some(s.colour_share, x, self._colour)
        x = self._some(s.room_share, x, self._room)
        power = (x**2).sum(1, keepdim=True) / spoken[:, None]
        if not len(self.bank):
            self.fill_bank()
        noise = self._drawn_noise(n, size)
        low, high = s.snr
        snr = low + (high - low) * torch.rand(n, 1, device=dev) ** 0.8
        gain = power.sqrt() * 10 ** (-snr / 20)
        x = x + noise * gain * ~self._chance(s.clean_share, n)
        floor = power.sqrt() * 10 ** (-self._uniform(12, 35, n, 1) / 20)
        x = x + torch.randn_like(x) * floor * self._chance(s.hiss_share, n)
        return Batch(self._channel(x), total, start, length, factor, pad[:, 0])

    def _colour(self, x: torch.Tensor) -> torch.Tensor:
        """Smooth random equaliser, mask-like or far low-pass, high-pass."""
        n, size = x.shape
        f = torch.linspace(0, RATE / 2, size // 2 + 1, device=self.device)
        curve = F.interpolate(
            torch.randn(n, 1, 10, device=self.device) * self._uniform(0, 4.5, n, 1, 1),
            size=len(f),
            mode="linear",
            align_corners=True,
        )[:, 0]
        tilt = self._uniform(-7, 4, n, 1) * torch.log2((f + 200) / 1000)
        curve = torch.where(self._chance(0.3, n), curve + tilt, curve)
        knee = self._uniform(1500, 5000, n, 1)
        muffle = -self._uniform(3, 14, n, 1) * torch.log2((f / knee).clamp(min=1))
        curve = torch.where(self._chance(0.3, n), curve + muffle, curve)
        bass = -self._uniform(3, 18, n, 1) * torch.log2(
            (self._uniform(80, 400, n, 1) / (f + 1)).clamp(min=1)
        )
        curve = torch.where(self._chance(0.3, n), curve + bass, curve)
        # Close to the microphone: strong below about 300 to 600 Hz.
        close = self._uniform(2, 6, n, 1) * torch.log2(
            (self._uniform(250, 700, n, 1) / (f + 60)).clamp(min=1)
        )
        curve = torch.where(self._chance(0.3, n), curve + close, curve)
        return torch.fft.irfft(torch.fft.rfft(x) * 10 ** (curve.clamp(-60, 30) / 20), size)

    def _room(self, x: torch.Tensor) -> torch.Tensor:
        """Exponentially decaying reverberation (reverberation time about 0.1 to 0.6 s)."""
        n, size = x.shape
        taps = 6400
        k = torch.arange(taps, device=self.device)
        decay = self._uniform(0.015, 0.09, n, 1) * RATE
        h = torch.randn(n, taps, device=self.device) * torch.exp(-k / decay)
        h = h / h.square().sum(1, keepdim=True).sqrt()
        ratio = 10 ** (self._uniform(-4, 14, n, 1) / 20)  # direct to reverberant
        h[:, :1] = h[:, :1] + ratio
        wet = torch.fft.irfft(
            torch.fft.rfft(x, size + taps) * torch.fft.rfft(h, size + taps), size + taps
        )[:, :size]
        return wet / wet.abs().amax(1, keepdim=True).clamp(min=1e-3)

    def _noise(self, x: torch.Tensor) -> torch.Tensor:
        """One kind (or a blend of two) of noise for each utterance, at unit power."""
        n, size = x.shape
        t = torch.arange(size, device=self.device) / RATE
        f = torch.linspace(0, RATE / 2, size // 2 + 1, device=self.device)

        def shaped(gain: torch.Tensor) -> torch.Tensor:
            return torch.fft.irfft(
                torch.fft.rfft(torch.randn(n, size, device=self.device)) * gain, size
            )

        broad = shaped((f + 20) ** -self._uniform(0, 1.1, n, 1))
        peak = torch.zeros(n, len(f), device=self.device)
        for _ in range(3):
            centre = self._uniform(300, 6500, n, 1)
            peak = peak + torch.exp(-(((f - centre) / self._uniform(100, 900, n, 1)) ** 2))
        suction = shaped(peak + 0.2)
        swing = self._uniform(0.2, 9, n, 1)
        suction = suction * (
            1 + 0.8 * torch.sin(2 * math.pi * swing * t + self._uniform(0, 6, n, 1))
        )
        hum = torch.zeros(n, size, device=self.device)
        base = self._uniform(48, 130, n, 1)
        for k in range(1, 5):
            hum = hum + torch.sin(2 * math.pi * base * k * t + self._uniform(0, 6, n, 1)) / k
        vent = shaped((f + 30) ** -1.2)
        vent = vent / vent.std(1, keepdim=True).clamp(min=1e-6) + 0.4 * hum
        on = ((t / self._uniform(0.08, 0.4, n, 1) + self._uniform(0, 4, n, 1)).long() % 4) == 0
        tone = self._uniform(350, 2800, n, 1)
        beep = torch.sin(2 * math.pi * tone * t) + 0.4 * torch.sin(6 * math.pi * tone * t)
        beep = beep * on
        clatter = torch.zeros(n, size, device=self.device)
        for _ in range(max(4, size // RATE)):
            since = t - self._uniform(0, size / RATE, n, 1)
            ring = torch.randn(n, size, device=self.device) * 0.4
            for _ in range(3):
                ring = ring + torch.sin(2 * math.pi * self._uniform(1500, 7500, n, 1) * t)
            hit = torch.exp(-since.clamp(min=0) / self._uniform(0.01, 0.12, n, 1)) * (since > 0)
            clatter = clatter + ring * hit
        chord = torch.zeros(n, size, device=self.device)
        root = self._uniform(80, 400, n, 1)
        length = self._uniform(0.25, 1.2, n, 1)
        note = (t / length).long()
        for step in (0, 4, 7, 12):
            move = torch.remainder(note * 5 + step, 12) + step / 3
            pitch = root * 2 ** (move / 12)
            chord = (
                chord
                + torch.sin(2 * math.pi * pitch * t)
                + 0.5 * torch.sin(4 * math.pi * pitch * t)
            )
        chord = chord * torch.exp(-torch.remainder(t, length) / length)
        babble = torch.zeros_like(x)
        for k in range(1, 4):
            level = self._uniform(0.1, 1, n, 1)
            babble = babble + level * torch.roll(torch.roll(x, k, 0), self.rng.randrange(size), 1)
        kinds = torch.stack([broad, suction, vent, beep, clatter, chord, babble], 1)
        kinds = kinds / kinds.square().mean(2, keepdim=True).sqrt().clamp(min=1e-4)
        likely = torch.tensor([0.22, 0.18, 0.12, 0.1, 0.12, 0.08, 0.18], device=self.device)
        one = torch.multinomial(likely, n, replacement=True)
        two = torch.multinomial(likely, n, replacement=True)
        rows = torch.arange(n, device=self.device)
        share = torch.where(self._chance(0.4, n), self._uniform(0, 0.8, n, 1), 0.0)
        noise = kinds[rows, one] + share * kinds[rows, two] + 0.1 * kinds[rows, 0]
        return noise / noise.square().mean(1, keepdim=True).sqrt().clamp(min=1e-4)

    def _channel(self, x: torch.Tensor) -> torch.Tensor:
        """Level, clipping, telephone band with or without mu-law, 16-bit rounding."""
        s, n = self.settings, len(x)
        x = x / x.abs().amax(1, keepdim=True).clamp(min=1e-3)
        drive = torch.where(self._chance(s.clip_share, n), self._uniform(1, 4, n, 1), 1.0)
        x = (x * drive).clamp(-1, 1)
        x = self._some(s.narrow_share, x, self._telephone)
        x = x * 10 ** (self._uniform(s.quietest, -0.2, n, 1) / 20)
        return torch.round(x * 32767) / 32767

    def _telephone(self, x: torch.Tensor) -> torch.Tensor:
        """8 kHz sampling, so nothing at all above 4 kHz, with or without mu-law."""
        s = self.settings
        n, size = x.shape
        spectrum = torch.fft.rfft(x)
        f = torch.linspace(0, RATE / 2, spectrum.shape[1], device=self.device)
        top = self._uniform(3300, 4000, n, 1)
        bottom = torch.where(self._chance(0.4, n), self._uniform(50, 320, n, 1), 0.0)
        soft = torch.sigmoid((top - f) / self._uniform(5, 120, n, 1)) * (f < 4000)
        soft = soft * torch.sigmoid((f - bottom) / 25 + 4 * (bottom == 0))
        half = size // 4 + 1
        narrow8 = torch.fft.irfft((spectrum * soft)[:, :half], (half - 1) * 2)
        narrow8 = narrow8 / narrow8.abs().amax(1, keepdim=True).clamp(min=1e-4)
        loud = narrow8 * 10 ** (self._uniform(-20, 0, n, 1) / 20)
        code = torch.sign(loud) * torch.log1p(255 * loud.abs()) / math.log(256)
        code = torch.round(code * 127) / 127
        law = torch.sign(code) * (256 ** code.abs() - 1) / 255
        narrow8 = torch.where(self._chance(s.mulaw_share, n), law, narrow8)
        narrow8 = torch.where(self._chance(0.7, n), torch.round(narrow8 * 8000) / 8000, narrow8)
        back = torch.fft.rfft(narrow8)
        back = F.pad(back, (0, spectrum.shape[1] - half))
        narrow = torch.fft.irfft(back, size)
        return narrow / narrow.abs().amax(1, keepdim=True).clamp(min=1e-4)


def mask(log_mel: torch.Tensor, frames: torch.Tensor, settings: AugmentSettings) -> torch.Tensor:
    """Masks time spans and mel filters of ``log_mel`` with the utterance's mean (SpecAugment)."""
    n, size, filters = log_mel.shape
    device = log_mel.device
    mean = log_mel.mean((1, 2), keepdim=True)
    k = torch.arange(size, device=device)
    hidden = torch.zeros(n, size, 1, dtype=torch.bool, device=device)
    for _ in range(settings.time_masks):
        # Short utterances get short masks: at most a tenth of their length.
        width = torch.rand(n, 1, device=device) * (frames[:, None] * 0.1).clamp(
            max=settings.time_mask_frames
        )
        at = torch.rand(n, 1, device=device) * frames[:, None]
        hidden |= ((k >= at) & (k < at + width))[..., None]
    band = torch.arange(filters, device=device)
    lost = torch.zeros(n, 1, filters, dtype=torch.bool, device=device)
    for _ in range(settings.filter_masks):
        width = torch.rand(n, 1, device=device) * settings.filter_mask_width
        at = torch.rand(n, 1, device=device) * filters
        lost |= ((band >= at) & (band < at + width))[:, None]
    return torch.where(hidden | lost, mean, log_mel)


def tempo(
    log_mel: torch.Tensor, frames: torch.Tensor, least: torch.Tensor, settings: AugmentSettings
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Read the frames of [batch, frames, filters] faster or slower, without change of pitch.

    ``frames`` are the used frames of each utterance, ``least`` what must be left of them. Returns
    the new features and counts, and how many old frames each new one steps over.
    """
    n, size, filters = log_mel.shape
    device = log_mel.device
    low, high = (math.log(v) for v in settings.tempo)
    factor = torch.exp(torch.rand(n, device=device) * (high - low) + low)
    factor = torch.where(torch.rand(n, device=device) < settings.tempo_share, factor, 1.0)
    factor = torch.minimum(factor, (frames / least).clamp(min=1.0))
    count = (frames / factor).long().clamp(min=1)
    longest = int(count.max())
    place = torch.arange(longest, device=device) * factor[:, None]
    place = torch.minimum(place, (frames[:, None] - 1).float())
    first = place.long()
    share = (place - first)[..., None]
    wide = first[..., None].expand(-1, -1, filters)
    after = (wide + 1).clamp(max=size - 1)
    a, b = torch.gather(log_mel, 1, wide), torch.gather(log_mel, 1, after)
    # A blend of two frames is smoother than a frame, so blends move towards the nearer one.
    share = share * share * (3 - 2 * share)
    return a * (1 - share) + b * share, count, factor
