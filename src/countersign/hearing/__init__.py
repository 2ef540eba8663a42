"""Hearing: blocks of sound in, utterances of words out."""

from typing import TYPE_CHECKING

from countersign.hearing.utterance import (
    TALK,
    Alternative,
    Partial,
    Silence,
    Utterance,
    Word,
    written,
)

if TYPE_CHECKING:
    from countersign.hearing.ears import Ears, OnPartial, hear, hear_with_silences, open_ears
else:

    def __getattr__(name: str) -> object:
        # Vosk is loaded when it is first asked for: other rooms only need the values above.
        if name in ("Ears", "OnPartial", "hear", "hear_with_silences", "open_ears"):
            from countersign.hearing import ears

            return getattr(ears, name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


__all__ = [
    "TALK",
    "Alternative",
    "Ears",
    "OnPartial",
    "Partial",
    "Silence",
    "Utterance",
    "Word",
    "hear",
    "hear_with_silences",
    "open_ears",
    "written",
]
