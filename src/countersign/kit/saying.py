"""A pronunciation as sound, through the synthesiser espeak-ng where it is installed.

It is given phones, not spelling, so that what is heard is the pronunciation and nothing else.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

from countersign.kit.phones import MANNER, Phones
from countersign.problems import BadInput

PROGRAM = "espeak-ng"
VOICE = "en-us"
_WORDS_A_MINUTE = 130

_MNEMONICS = dict(
    pair.split("=")
    for pair in (
        "AA=A: AE=a AH=V AO=O: AW=aU AY=aI B=b CH=tS D=d DH=D EH=E ER=3: EY=eI F=f G=g HH=h IH=I "
        "IY=i: JH=dZ K=k L=l M=m N=n NG=N OW=oU OY=OI P=p R=r S=s SH=S T=t TH=T UH=U UW=u: V=v W=w "
        "Y=j Z=z ZH=Z"
    ).split()
)
"""Each phone in the mnemonics of espeak-ng (its phoneme table for American English)."""


_WEAK = {"AH": "@", "ER": "3"}
_BEFORE_R = {"AA": "A@", "AO": "o@", "EH": "e@", "IH": "i@3", "UH": "U@"}
"""Vowels that espeak-ng writes together with an *r* that closes the syllable."""


def mnemonics(phones: Phones) -> str:
    """The phones as espeak-ng reads them.

    Stress is not known: the first vowel gets it, and neutral vowels elsewhere are weak.
    """
    written: list[str] = []
    stressed = False
    for at, phone in enumerate(phones):
        before, after = phones[at - 1] if at else "", phones[at + 1] if at + 1 < len(phones) else ""
        closes = phone == "R" and not (after and MANNER[after] == "vowel")
        if closes and before in _BEFORE_R:
            written[-1] = written[-1].replace(_MNEMONICS[before], _BEFORE_R[before])
            continue
        sign = _MNEMONICS[phone]
        if MANNER[phone] == "vowel":
            sign = _WEAK.get(phone, sign) if stressed else f"'{sign}"
            stressed = True
        written.append(sign)
    return "|".join(written)


def write_speech(phones: Phones, out: Path) -> None:
    """Say the phones into a WAV file, replacing what is there; ``BadInput`` if that fails."""
    program = shutil.which(PROGRAM)
    if program is None:
        raise BadInput(
            f"To hear a pronunciation, install the synthesiser {PROGRAM} (on Debian: apt install "
            f"{PROGRAM})."
        )
    with tempfile.TemporaryDirectory(prefix="countersign-") as folder:
        part = Path(folder) / "said.wav"
        text = f"[[{mnemonics(phones)}]]"
        command = [program, "-v", VOICE, "-s", str(_WORDS_A_MINUTE), "-w", str(part), "--", text]
        try:
            done = subprocess.run(command, capture_output=True, timeout=30, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise BadInput(f"{PROGRAM} could not speak ({error}).") from None
        if done.returncode != 0 or not part.is_file():
            raise BadInput(f"{PROGRAM} could not speak.")
        try:
            shutil.copyfile(part, out)
        except OSError as error:
            raise BadInput(f"{out} cannot be written: {error.strerror}.") from None
