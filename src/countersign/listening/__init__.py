"""A case while it is being listened to: its sound and words are kept as they come."""

from countersign.listening.kept_sound import KeptSound
from countersign.listening.kept_words import KeptWords
from countersign.listening.listener import Listener

__all__ = ["KeptSound", "KeptWords", "Listener"]
