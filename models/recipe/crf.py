"""All phone sequences weighed by how likely they are: the other half of a CTC-CRF loss.

CTC asks that what was said be likely at every frame; the decoder asks that it be likelier than
what else could have been said. So the score of all sequences, under a trigram of phones, is taken
off the score of the right one (Xiang and Ou, "CRF-based single-stage acoustic modeling with CTC
topology", ICASSP 2019). Phone 0 is the blank, and as history stands for the beginning.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import torch

# Shares of the trigram, the bigram, the phone by itself, and any phone at all.
MIXTURE = (0.5, 0.3, 0.15, 0.05)
EVERY = 4
"""Frames between two scalings of the states, which would become too small otherwise."""


def trigram(lines: Iterable[list[int]], phones: int) -> torch.Tensor:
    """Probability of a phone after two others: [last, one before it, phone].

    ``lines`` are sequences of phone numbers from 1; ``phones`` counts the blank too.
    """
    three = torch.zeros(phones, phones, phones, dtype=torch.float64)
    for line in lines:
        if not line:
            continue
        padded = torch.tensor([0, 0, *line])
        three.index_put_(
            (padded[1:-1], padded[:-2], padded[2:]),
            torch.ones(len(line), dtype=torch.float64),
            accumulate=True,
        )
    two = three.sum(1)
    # A cut stretch of speech begins with any phone, so the beginning knows no more than that.
    one = two.sum(0)
    two[0], three[0, 0] = one, one
    three[1:, 0] = two[1:]
    flat = torch.ones(phones, dtype=torch.float64)
    flat[0] = 0.0

    def share(counts: torch.Tensor) -> torch.Tensor:
        return counts / counts.sum(-1, keepdim=True).clamp(min=1.0)

    mixed = sum(
        weight * part
        for weight, part in zip(
            MIXTURE, (share(three), share(two)[:, None], share(one), share(flat)), strict=True
        )
    )
    return (mixed / mixed.sum(-1, keepdim=True)).float()


class Denominator:
    """Scores all phone sequences under a trigram from :func:`trigram`."""

    def __init__(self, model: torch.Tensor, device: str) -> None:
        """Keep the transitions of both kinds of states: in a phone, and in a blank after it."""
        phones = len(model)
        # The same phone twice in a row needs a blank between.
        apart = (1 - torch.eye(phones))[:, None]
        both = torch.cat([model * apart, model], 1)
        self.step = both.to(device).contiguous()  # [last, 2 * one before, next]
        self.back = self.step.transpose(1, 2).contiguous()

    def __call__(self, log: torch.Tensor, frames: torch.Tensor) -> torch.Tensor:
        """Log score of all sequences [batch] of log probabilities [batch, frames, phones]."""
        return _All.apply(log, frames, self.step, self.back)


class _All(torch.autograd.Function):
    """The forward algorithm; its gradient, the share of each phone, by the backward one."""

    @staticmethod
    def forward(
        ctx: Any, log: torch.Tensor, frames: torch.Tensor, step: torch.Tensor, back: torch.Tensor
    ) -> torch.Tensor:
        batch, length, phones = log.shape
        inside = torch.arange(length, device=log.device) < frames[:, None]
        only_blank = torch.zeros(phones, device=log.device)
        only_blank[0] = 1.0
        p = torch.where(inside[..., None], log.exp(), only_blank)
        p = p.permute(1, 2, 0).contiguous()  # [frames, phones, batch]
        # States [last, batch, one before], first those in a phone and then those in a blank.
        states = torch.zeros(length + 1, phones, batch, 2 * phones, device=log.device)
        states[0, 0, :, phones] = 1.0
        sums = {}
        for t in range(length):
            before, after = states[t], states[t + 1]
            held = before[..., :phones]
            entered = torch.bmm(before, step).permute(2, 1, 0)
            torch.mul(held + entered, p[t][..., None], out=after[..., :phones])
            torch.mul(held + before[..., phones:], p[t, 0][:, None], out=after[..., phones:])
            if t % EVERY == 0:
                sums[t] = after.sum((0, 2))
                after /= sums[t][:, None]
        last = states[length].sum((0, 2))
        follow = torch.empty_like(states)
        follow[length] = 1.0 / last[:, None]
        for t in range(length - 1, -1, -1):
            after, before = follow[t + 1], follow[t]
            if t in sums:
                after = after / sums[t][:, None]
            phone = after[..., :phones] * p[t][..., None]
            blank = after[..., phones:] * p[t, 0][:, None]
            torch.bmm(phone.permute(2, 1, 0), back, out=before)
            before[..., phones:] += blank
            before[..., :phones] += phone.add_(blank)
        weight = follow[1:].mul_(states[1:])
        shares = weight[..., :phones].sum(-1)
        shares[:, 0] = weight[..., phones:].sum((1, 3))
        ctx.save_for_backward(shares.permute(2, 0, 1) * inside[..., None])
        return last.log() + sum(s.log() for s in sums.values())

    @staticmethod
    def backward(ctx: Any, gradient: torch.Tensor) -> tuple[torch.Tensor, None, None, None]:
        (shares,) = ctx.saved_tensors
        return shares * gradient[:, None, None], None, None, None
