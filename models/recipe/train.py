"""Fine-tune the network with CTC on shards of speech.

    python train.py --base final.mdl --data DIR [DIR ...] --valid DIR --out acoustic.pt

The learning rate of the pretrained layers rises over ``--warm`` steps and falls along a cosine to
the end of the time or of the steps; the new output layer learns alone for the first
``--head-steps``. An exponential moving average of the weights is what is checked and saved. With
``--watch`` new shards that appear in the data folders are picked up while training runs. With
``--align`` the cross-entropy of each frame's phone is added for speech whose phone times are known;
with ``--crf`` what else could have been said is held against what was (``crf.py``).
"""

from __future__ import annotations

import argparse
import copy
import itertools
import json
import math
import random
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from augment import Augmenter, AugmentSettings, Batch, mask, tempo
from corpus import Utterance, read_shard
from crf import Denominator, trigram
from features import HOP, RATE, WINDOW, Mfcc, frame_count
from network import OUTPUTS, STEP, Network, read_components
from pronounce import words_of
from score import phone_errors, word_hits
from texts import ONES, TEENS, TENS

# Share of the batches.
SOURCE_WEIGHT = {"kokoro": 0.5, "people": 0.22, "espeak": 0.12, "flite": 0.1, "festival": 0.06}
BUCKETS = 16
CUT_SHARE = 0.5  # of the utterances with known word times: only some of their words are used
NUMBERS = {"zero", "oh", "none", "hundred", *ONES, *TEENS, *TENS}


class Corpus:
    """All training audio in one int16 tensor on the device, with length buckets for batches."""

    def __init__(
        self,
        folders: list[Path],
        device: str,
        seed: int,
        shares: dict[str, float],
        voices: int = 10**6,
        hours: float = 1e6,
    ) -> None:
        """Read from ``folders``; ``shares`` are shares of the batches by source.

        ``voices`` and ``hours`` limit Kokoro's speech (for the comparisons).
        """
        self.folders, self.device, self.voices, self.most = folders, device, voices, hours
        self.shares = shares
        self.used_hours = 0.0
        self.rng = random.Random(seed)
        self.seen: set[Path] = set()
        self.audio = torch.zeros(RATE, dtype=torch.int16, device=device)
        # Phone of every 10 ms of audio: 0 for none, -1 where it is not known.
        self.labels = torch.full((RATE // HOP,), -1, dtype=torch.int8, device=device)
        self.lines: list[Utterance] = []
        self.buckets: list[list[int]] = []

    def refresh(self) -> bool:
        """Read shards that appeared since the last call; True when there were any."""
        parts, offset, labels = [self.audio], len(self.audio), [self.labels]
        for folder in self.folders:
            for index in sorted(folder.glob("*.jsonl")):
                if index in self.seen:
                    continue
                self.seen.add(index)
                audio, lines = read_shard(index)
                audio = np.pad(audio, (0, -len(audio) % HOP))
                parts.append(torch.from_numpy(audio).to(self.device))
                labels.append(torch.from_numpy(frame_labels(lines, len(audio))).to(self.device))
                for u in lines:
                    if u.set != "train" or not self._allowed(u):
                        continue
                    # A CTC target needs an output frame a phone, and one more between equals.
                    if u.length / HOP / STEP < 0.9 * len(u.phones) or not u.phones:
                        continue
                    u.start += offset
                    self.lines.append(u)
                offset += len(audio)
        if len(parts) == 1:
            return False
        self.audio, self.labels = torch.cat(parts), torch.cat(labels)
        self._bucket()
        return True

    def _allowed(self, u: Utterance) -> bool:
        if u.source != "kokoro":
            return True
        if int(u.voice.rsplit("-", 1)[1]) >= self.voices or self.used_hours >= self.most:
            return False
        self.used_hours += u.length / RATE / 3600
        return True

    def _bucket(self) -> None:
        hours: dict[str, float] = {}
        for u in self.lines:
            hours[u.source] = hours.get(u.source, 0.0) + u.length / RATE / 3600
        self.hours = hours
        share = {s: self.shares[s] / h for s, h in hours.items()}
        order = sorted(range(len(self.lines)), key=lambda i: self.lines[i].length)
        # Short utterances count for at least a second, so that single words are seen often.
        self.weight = [share[u.source] * max(u.length / RATE, 1.0) ** 0.5 for u in self.lines]
        size = max(1, len(order) // BUCKETS)
        self.buckets = [order[k : k + size] for k in range(0, len(order), size)]
        self.inside = [list(itertools.accumulate(self.weight[i] for i in b)) for b in self.buckets]

    def draw(self, seconds: float, largest: int) -> tuple[list[int], list[int], list[list[int]]]:
        """A batch: start and length in samples, and phone targets."""
        r = self.rng
        chosen = r.choices(range(len(self.buckets)), [c[-1] for c in self.inside])[0]
        bucket = self.buckets[chosen]
        longest = self.lines[bucket[-1]].length / RATE + 0.5
        count = max(16, min(largest, int(seconds / longest)))
        starts, lengths, targets = [], [], []
        for i in r.choices(bucket, cum_weights=self.inside[chosen], k=count):
            u = self.lines[i]
            start, length, phones = u.start, u.length, u.phones
            if u.words and r.random() < CUT_SHARE:
                first = r.randrange(len(u.words))
                numbers = [k for k, w in enumerate(words_of(u.text)) if w in NUMBERS]
                if numbers and r.random() < 0.6:
                    first = r.choice(numbers)
                last = min(len(u.words) - 1, first + r.choice([0, 0, 0, 1, 1, 2, 3]))
                begin, end = u.words[first][0], u.words[last][1]
                if end - begin > 0.1 * RATE:
                    start, length = u.start + begin, end - begin
                    phones = [p for w in u.words[first : last + 1] for p in w[2]]
            starts.append(start)
            lengths.append(length)
            targets.append(phones)
        return starts, lengths, targets


def frame_labels(lines: list[Utterance], samples: int) -> np.ndarray:
    """The phone of every 10 ms of a shard of ``samples``; see ``Corpus.labels``."""
    out = np.full(samples // HOP, -1, np.int8)
    for u in lines:
        if u.times:
            out[u.start // HOP : (u.start + u.length) // HOP + 1] = 0
            for phone, (first, last) in zip(u.phones, u.times, strict=True):
                begin, end = ((u.start + edge + HOP // 2) // HOP for edge in (first, last))
                out[begin:end] = phone
    return out


def features(
    mfcc: Mfcc, batch: Batch, least: torch.Tensor, settings: AugmentSettings
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Warped, hurried and masked MFCC, the number of frames of each utterance, and the corpus
    sample of each third frame (-1 for silence). ``least`` frames are left of each utterance.
    """
    audio, samples = batch.audio, batch.samples
    n = len(audio)
    device = audio.device
    warps = torch.randint(0, len(Mfcc.WARPS), (n,), device=device)
    plain = torch.rand(n, device=device) > settings.warp_share
    warps = torch.where(plain, torch.full_like(warps, Mfcc.NEUTRAL), warps)
    log_mel = mfcc.log_mel(audio * 32767, dither=random.choice([0.0, 1.0, 1.0]), warps=warps)
    frames = frame_count(samples).clamp(max=log_mel.shape[1])
    log_mel, frames, step = tempo(log_mel, frames, least, settings)
    at = torch.arange(0, log_mel.shape[1], STEP, device=device) * step[:, None]
    source = batch.source(at * HOP + WINDOW // 2)
    k = torch.arange(log_mel.shape[1], device=device)
    last = torch.minimum(k, frames[:, None] - 1)
    log_mel = mask(log_mel, frames, settings)
    log_mel = torch.gather(log_mel, 1, last[..., None].expand(-1, -1, log_mel.shape[2]))
    return mfcc.cepstra(log_mel), frames, source


def alignment_loss(
    log: torch.Tensor, source: torch.Tensor, frames: torch.Tensor, labels: torch.Tensor
) -> torch.Tensor:
    """Mean negative log probability of the phone that is being said, where that is known.

    ``log`` [batch, frames, outputs], ``source`` [batch, frames] samples of the corpus.
    """
    wanted = labels[(source // HOP).clamp(min=0)].long()
    known = labels[(source.amax(1) // HOP).clamp(min=0)][:, None] >= 0
    wanted = torch.where(source < 0, torch.where(known, 0, -1), wanted)
    inside = torch.arange(log.shape[1], device=log.device) < frames[:, None]
    wanted = torch.where(inside, wanted, -1)
    return F.nll_loss(log.flatten(0, 1), wanted.flatten(), ignore_index=-1)


def sequence_loss(
    log: torch.Tensor,
    targets: list[list[int]],
    frames: torch.Tensor,
    everything: Denominator | None,
    plain: float,
) -> torch.Tensor:
    """CTC loss a phone, the score of ``everything`` taken off, and ``plain`` times CTC as it is.

    ``log`` [batch, frames, outputs]; utterances whose phones do not fit are left out.
    """
    sizes = torch.tensor([len(t) for t in targets])
    flat = torch.tensor([p for t in targets for p in t], device=log.device)
    right = F.ctc_loss(
        log.transpose(0, 1), flat, frames.cpu(), sizes, reduction="none", zero_infinity=True
    )
    a_phone = (right > 0) / sizes.to(log.device) / len(targets)
    if everything is None:
        return (right * a_phone).sum()
    return (((1 + plain) * right + everything(log, frames)) * a_phone).sum()


def validate(network: Network, mfcc: Mfcc, folder: Path, limit: int) -> dict[str, float]:
    """Phone errors and single words right, in percent, of each voice of the validation shards."""
    out: dict[str, float] = {}
    for index in sorted(folder.glob("*.jsonl")):
        audio, lines = read_shard(index)
        out |= phone_errors(network, mfcc, audio, lines, limit)
        out |= word_hits(network, mfcc, audio, lines)
    return out


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", required=True, help="nnet3 final.mdl with the starting weights")
    parser.add_argument("--start", help="continue from this checkpoint")
    parser.add_argument("--data", nargs="+", type=Path, required=True)
    parser.add_argument("--valid", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after this time")
    parser.add_argument("--steps", type=int, default=10**9, help="or after this many steps")
    parser.add_argument("--lr", type=float, default=1e-3, help="output layer")
    parser.add_argument("--body", type=float, default=0.3, help="pretrained layers, share of --lr")
    parser.add_argument("--floor", type=float, default=0.02, help="last share of the rate")
    parser.add_argument("--head-steps", type=int, default=400)
    parser.add_argument("--warm", type=int, default=600)
    parser.add_argument("--batch-seconds", type=float, default=400)
    parser.add_argument("--batch-largest", type=int, default=192)
    parser.add_argument("--average", type=float, default=0.998)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--watch", action="store_true")
    parser.add_argument("--check-every", type=float, default=120, help="seconds")
    parser.add_argument("--share", nargs="*", default=[], help="SOURCE=SHARE of the batches")
    parser.add_argument("--kokoro-voices", type=int, default=10**6)
    parser.add_argument("--kokoro-hours", type=float, default=1e6)
    parser.add_argument("--extra", type=int, default=0, help="layers on top of the network")
    parser.add_argument("--widen", type=int, default=0, help="channels added to the bottlenecks")
    parser.add_argument("--align", type=float, default=0.0, help="weight of the cross-entropy")
    parser.add_argument("--crf", action="store_true", help="hold other phone sequences against")
    parser.add_argument("--plain", type=float, default=0.2, help="with --crf: weight of CTC alone")
    parser.add_argument("--raw", type=Path, help="write the weights that are not averaged")
    parser.add_argument("--set", nargs="*", default=[], help="NAME=VALUE of AugmentSettings")
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    parser.add_argument("--compile", action="store_true", help="let PyTorch fuse the network")
    parser.add_argument("--bank-steps", type=int, default=1500, help="then make new noises")
    parser.add_argument("--name", default="")
    a = parser.parse_args()
    begin = time.monotonic()
    random.seed(a.seed)
    torch.manual_seed(a.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    settings = AugmentSettings(**{k: json.loads(v) for k, v in (s.split("=") for s in a.set)})
    shares = SOURCE_WEIGHT | {k: float(v) for k, v in (s.split("=") for s in a.share)}
    corpus = Corpus(a.data, a.device, a.seed, shares, a.kokoro_voices, a.kokoro_hours)
    while not corpus.refresh() or not corpus.lines:
        time.sleep(2)
    network = Network(read_components(a.base), a.extra, a.widen).to(a.device)
    if a.start:
        network.load_state_dict(torch.load(a.start, map_location=a.device))
    network.dropout = 0.1
    mfcc = Mfcc(a.device)
    head = list(network.out.parameters())
    body = [p for n, p in network.named_parameters() if p.requires_grad and "out." not in n]
    optimizer = torch.optim.AdamW(
        [{"params": body}, {"params": head}], weight_decay=1e-3, fused=a.device == "cuda"
    )
    mean = copy.deepcopy(network).eval()
    fast = torch.compile(network, dynamic=True) if a.compile else network
    augmenter = Augmenter(corpus.audio, settings, a.seed)
    everything = None
    if a.crf:
        everything = Denominator(trigram((u.phones for u in corpus.lines), OUTPUTS), a.device)
    step, losses, next_check, next_look = 0, [], a.check_every, 20.0
    say = {k: round(v, 2) for k, v in corpus.hours.items()}
    print(a.name, "hours", say, "utterances", len(corpus.lines), flush=True)
    while (spent := time.monotonic() - begin) < a.seconds and step < a.steps:
        if a.watch and spent > next_look:
            next_look = spent + 30
            if corpus.refresh():
                augmenter.audio = corpus.audio
        done = max(spent / a.seconds, step / a.steps)
        fall = 0.5 + 0.5 * math.cos(math.pi * min(1.0, done))
        rate = a.lr * min(1.0, step / a.warm) * (a.floor + (1 - a.floor) * fall)
        optimizer.param_groups[0]["lr"] = rate * a.body * (step >= a.head_steps or bool(a.start))
        optimizer.param_groups[1]["lr"] = rate
        if step % a.bank_steps == 0:
            augmenter.fill_bank()
        starts, lengths, targets = corpus.draw(a.batch_seconds, a.batch_largest)
        sizes = torch.tensor([len(t) for t in targets])
        with torch.no_grad():
            batch = augmenter.batch(starts, lengths)
            least = (STEP * (1.25 * sizes + 1)).to(a.device)
            x, frames, source = features(mfcc, batch, least, settings)
        with torch.autocast(a.device, torch.bfloat16, enabled=a.device == "cuda"):
            scores = fast(x)
        log = scores.float().log_softmax(-1)
        out_frames = ((frames + STEP - 1) // STEP).clamp(max=log.shape[1])
        loss = sequence_loss(log, targets, out_frames, everything, a.plain)
        if a.align:
            loss = loss + a.align * alignment_loss(log, source, out_frames, corpus.labels)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        optimizer.step()
        step += 1
        with torch.no_grad():
            decay = min(a.average, (1 + step) / (20 + step))
            pairs = zip(mean.parameters(), network.parameters(), strict=True)
            old, new = zip(*((m, p) for m, p in pairs if p.requires_grad), strict=True)
            torch._foreach_lerp_(list(old), list(new), 1 - decay)
        if step % 20 == 0:
            losses.append(loss.item())
        if spent > next_check:
            next_check = spent + a.check_every
            torch.save(mean.state_dict(), a.out)
            result = validate(mean, mfcc, a.valid, 24)
            recent = sum(losses[-25:]) / max(1, len(losses[-25:]))
            print(
                a.name,
                f"step {step} {spent:.0f}s loss {recent:.3f}",
                json.dumps(result),
                flush=True,
            )
    torch.save(mean.state_dict(), a.out)
    if a.raw:
        torch.save(network.state_dict(), a.raw)
    print(
        a.name, f"final step {step}", json.dumps(validate(mean, mfcc, a.valid, 10**6)), flush=True
    )
    say = {k: round(v, 2) for k, v in corpus.hours.items()}
    print(a.name, "hours", say, "voices", len({u.voice for u in corpus.lines}), flush=True)


if __name__ == "__main__":
    main()
