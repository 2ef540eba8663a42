"""Recordings and microphones as 16 kHz mono blocks, with warnings about the sound itself.

``read_blocks`` gives the blocks, and a ``LevelMeter`` given to it collects the warnings.
"""

from countersign.sound import microphone
from countersign.sound.blocks import SAMPLE_RATE, Block, blocks_from_frames, read_blocks
from countersign.sound.clip import write_clip
from countersign.sound.levels import LevelMeter, SoundWarning, WarningCode
from countersign.sound.source import Source, open_source

__all__ = [
    "SAMPLE_RATE",
    "Block",
    "LevelMeter",
    "SoundWarning",
    "Source",
    "WarningCode",
    "blocks_from_frames",
    "microphone",
    "open_source",
    "read_blocks",
    "write_clip",
]
