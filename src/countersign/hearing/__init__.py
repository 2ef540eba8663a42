"""Hearing: blocks of sound in, utterances of words out."""

from countersign.hearing.ears import Ears, hear, open_ears
from countersign.hearing.utterance import TALK, Alternative, Utterance, Word, written

__all__ = ["TALK", "Alternative", "Ears", "Utterance", "Word", "hear", "open_ears", "written"]
