"""The made voices: which exist, and which are kept out of training.

A training voice is one setting of a synthesiser that sounds like one speaker. The voices listed in
``held_out_voices`` never enter training in any mixture; they are for choosing checkpoints and for
reporting.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

Engine = Literal["espeak", "flite", "festival", "kokoro", "piper"]

# The voices of kokoro-js 1.2.1: first letter the language (a American, b British, e Spanish,
# f French, h Hindi, i Italian, j Japanese, p Portuguese, z Chinese), second letter the sex.
KOKORO_ENGLISH = tuple(
    """af_heart am_michael bf_emma bm_george af_bella am_fenrir bf_isabella bm_fable af_nicole
    am_puck bf_alice bm_lewis af_aoede am_adam bf_lily bm_daniel af_kore am_echo af_sarah am_eric
    af_nova am_liam af_sky am_onyx af_alloy am_santa af_jessica af_river""".split()
)
KOKORO_OTHER = tuple(
    """ff_siwis em_alex if_sara im_nicola hf_alpha hm_omega pf_dora pm_alex ef_dora em_santa hf_beta
    hm_psi jf_alpha jm_kumo jf_gongitsune jf_nezumi pm_santa zf_xiaobei zm_yunjian zf_xiaoni
    zm_yunxi zf_xiaoxiao zm_yunxia zf_xiaoyi zm_yunyang""".split()
)
KOKORO_TRAIN = KOKORO_ENGLISH + KOKORO_OTHER
KOKORO_HELD_OUT = "jf_tebukuro"
KOKORO_VOICES = 900

ESPEAK_ACCENTS = ("en-us", "en-gb", "en-gb-x-rp", "en-029", "en-gb-x-gbcwmd", "en-gb-x-gbclan")
# Variants that sound like a person (robot and whisper variants are left out).
ESPEAK_VARIANTS = tuple(
    """Alex Alicia Andrea Andy Annie Denis Diogo Gene Gene2 Henrique Hugo Jacky Lee Marco Mario
    Michael Mike adam anika antonio aunty belinda benjamin boris caleb david ed edward edward2
    f1 f2 f3 f4 grandma grandpa iven iven2 iven3 john klatt klatt2 klatt3 klatt4 linda m1 m2 m3
    m4 m5 m6 m7 marcelo max michel miguel norbert pablo paul pedro quincy rob robert sandro
    shelby steph steph2 travis victor zac""".split()
)
ESPEAK_HELD_OUT_ACCENT = "en-gb-scotland"
ESPEAK_HELD_OUT_VARIANTS = ("f5", "m8")
FLITE_TRAIN = ("awb", "kal")
FLITE_HELD_OUT = ("slt", "rms")
FESTIVAL_HELD_OUT = ("cmu_us_slt_arctic_hts", "ked_diphone")
FESTIVAL_TRAIN = ("kal_diphone",)


@dataclass(frozen=True)
class Voice:
    """One made speaker.

    ``setting`` is the engine's own name of the voice. ``shift`` scales pitch and formants together
    (by resampling; 1 is unchanged, below 1 is a larger speaker) and ``pitch`` is espeak-ng's own
    setting (0..99). ``mixture`` weights the Kokoro training vectors, ``style`` is added to them.
    """

    name: str
    engine: Engine
    setting: str = ""
    shift: float = 1.0
    pitch: int = 50
    mixture: tuple[float, ...] = ()
    style: tuple[float, ...] = field(default=(), repr=False)


def _kokoro_voices() -> list[Voice]:
    """First every training vector as it is, English first, then mixtures of two or three (some
    extrapolated), with a small fixed random offset and another size of the speaker.
    """
    size = len(KOKORO_TRAIN)
    out = []
    for k in range(KOKORO_VOICES):
        g = np.random.default_rng(70_000 + k)
        weights = np.zeros(size)
        offset, shift = np.zeros(256), 1.0
        if k < size:
            weights[k] = 1.0
        else:
            odds = np.array([3.0] * len(KOKORO_ENGLISH) + [1.0] * len(KOKORO_OTHER))
            count = int(g.integers(2, 4))
            chosen = g.choice(size, count, replace=False, p=odds / odds.sum())
            share = g.dirichlet([0.8] * count)
            if k % 3 == 0:  # extrapolate away from the mean of the chosen
                share = 1 / count + 1.3 * (share - 1 / count)
            weights[chosen] = share
            offset = g.standard_normal(256) * g.uniform(0.0, 0.06)
            shift = float(g.uniform(0.82, 1.18))
        out.append(
            Voice(
                f"kokoro-{k:03d}",
                "kokoro",
                shift=round(shift, 3),
                mixture=tuple(float(w) for w in weights),
                style=tuple(float(v) for v in offset),
            )
        )
    return out


def _espeak_voices() -> list[Voice]:
    r = random.Random(71_000)
    out = []
    for accent in ESPEAK_ACCENTS:
        for variant in ESPEAK_VARIANTS:
            out.append(
                Voice(
                    f"espeak-{accent}-{variant}",
                    "espeak",
                    setting=f"{accent}+{variant}",
                    pitch=r.randint(30, 70),
                    shift=round(r.uniform(0.9, 1.1), 3),
                )
            )
    return out


def _shifted(engine: Engine, names: tuple[str, ...]) -> list[Voice]:
    """Each named voice in five sizes."""
    return [
        Voice(f"{engine}-{name}-{shift}", engine, setting=name, shift=shift)
        for name in names
        for shift in (0.84, 0.92, 1.0, 1.08, 1.16)
    ]


def training_voices(engine: Engine) -> list[Voice]:
    """All voices of ``engine`` that may be used for training."""
    if engine == "kokoro":
        return _kokoro_voices()
    if engine == "espeak":
        return _espeak_voices()
    named = {"flite": FLITE_TRAIN, "festival": FESTIVAL_TRAIN}
    return _shifted(engine, named.get(engine, ()))


def held_out_voices(engine: Engine) -> list[Voice]:
    """All voices of ``engine`` that are kept for validation, as the engine makes them."""
    if engine == "kokoro":
        return [Voice("kokoro-tebukuro", "kokoro", setting=KOKORO_HELD_OUT)]
    if engine == "flite":
        return [Voice(f"flite-{name}", "flite", setting=name) for name in FLITE_HELD_OUT]
    if engine == "festival":
        return [
            Voice("festival-slt-hts", "festival", setting=FESTIVAL_HELD_OUT[0]),
            Voice("festival-ked", "festival", setting=FESTIVAL_HELD_OUT[1]),
        ]
    if engine == "piper":
        return [Voice("piper-joe", "piper", setting="joe")]
    return [
        Voice("espeak-scotland", "espeak", setting=ESPEAK_HELD_OUT_ACCENT),
        Voice("espeak-us-f5", "espeak", setting=f"en-us+{ESPEAK_HELD_OUT_VARIANTS[0]}"),
        Voice("espeak-gb-m8", "espeak", setting=f"en-gb+{ESPEAK_HELD_OUT_VARIANTS[1]}"),
    ]
