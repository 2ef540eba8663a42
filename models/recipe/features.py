"""High-resolution MFCC as Kaldi computes them, in torch, with frequency warping and masks.

40 coefficients from 40 mel filters between 20 and 7600 Hz, 25 ms povey windows every 10 ms at
16 kHz, no energy, cepstral lifter 22, on audio in the int16 range.
"""

from __future__ import annotations

import math

import torch

RATE = 16_000
WINDOW = 400
HOP = 160
FFT = 512
FILTERS = 40
LOW_HZ, HIGH_HZ = 20.0, 7600.0
FLOOR = 1.1920929e-07


def mel_filters(warp: float = 1.0) -> torch.Tensor:
    """Triangular mel filters [FILTERS, FFT / 2 + 1]; ``warp`` scales the frequency axis.

    A warp above 1 reads each filter from higher frequencies, as if the vocal tract were shorter.
    """

    def mel(hertz: float) -> float:
        return 1127.0 * math.log(1.0 + hertz / 700.0)

    low, high = mel(LOW_HZ), mel(HIGH_HZ)
    step = (high - low) / (FILTERS + 1)
    hertz = torch.arange(FFT // 2, dtype=torch.float64) * RATE / FFT / warp
    scale = 1127.0 * torch.log(1.0 + hertz / 700.0)
    bank = torch.zeros(FILTERS, FFT // 2 + 1, dtype=torch.float64)
    for k in range(FILTERS):
        left, centre, right = low + k * step, low + (k + 1) * step, low + (k + 2) * step
        rise, fall = (scale - left) / (centre - left), (right - scale) / (right - centre)
        bank[k, : FFT // 2] = torch.minimum(rise, fall).clamp(min=0.0)
    return bank.float()


class Mfcc:
    """Computes MFCC of a batch; keeps its constant tables on one device."""

    WARPS = tuple(0.84 + 0.02 * k for k in range(17))  # 0.84 .. 1.16, index 8 is 1.0
    NEUTRAL = 8

    def __init__(self, device: str = "cpu") -> None:
        """Build the tables on ``device``."""
        n = torch.arange(WINDOW, dtype=torch.float64)
        hann = 0.5 - 0.5 * torch.cos(2 * math.pi * n / (WINDOW - 1))
        self.window = (hann**0.85).float().to(device)
        self.banks = torch.stack([mel_filters(w) for w in self.WARPS]).to(device)
        k = torch.arange(FILTERS, dtype=torch.float64)
        rows = [torch.full((FILTERS,), math.sqrt(1 / FILTERS), dtype=torch.float64)]
        for i in range(1, FILTERS):
            rows.append(math.sqrt(2 / FILTERS) * torch.cos(math.pi / FILTERS * (k + 0.5) * i))
        lifter = 1 + 11.0 * torch.sin(math.pi * k / 22)
        self.cosines = (torch.stack(rows) * lifter[:, None]).float().to(device)

    def log_mel(
        self, audio: torch.Tensor, dither: float = 1.0, warps: torch.Tensor | None = None
    ) -> torch.Tensor:
        """Log filter energies [batch, frames, FILTERS] of ``audio`` [batch, samples], int16 range.

        ``warps`` are indices into ``WARPS``, one for each utterance; None means no warping.
        """
        frames = audio.unfold(1, WINDOW, HOP)
        if dither:
            frames = frames + dither * torch.randn_like(frames)
        frames = frames - frames.mean(-1, keepdim=True)
        first = frames[..., :1] * (1 - 0.97)
        frames = torch.cat([first, frames[..., 1:] - 0.97 * frames[..., :-1]], -1) * self.window
        power = torch.fft.rfft(frames, FFT).abs() ** 2
        if warps is None:
            energies = power @ self.banks[self.NEUTRAL].T
        else:
            energies = torch.bmm(power, self.banks[warps].transpose(1, 2))
        return torch.log(energies.clamp(min=FLOOR))

    def cepstra(self, log_mel: torch.Tensor) -> torch.Tensor:
        """MFCC from log filter energies."""
        return log_mel @ self.cosines.T

    def __call__(self, audio: torch.Tensor, dither: float = 1.0) -> torch.Tensor:
        """MFCC [batch, frames, FILTERS] of ``audio`` in the int16 range."""
        return self.cepstra(self.log_mel(audio, dither))


def frame_count(samples: torch.Tensor) -> torch.Tensor:
    """Number of feature frames for a number of samples (only whole windows)."""
    return 1 + (samples - WINDOW).clamp(min=0) // HOP
