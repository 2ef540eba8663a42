"""The set-up room: what belongs on stand, table and tray, and what is there."""

from countersign.set_up.placing import Placed, PlaceList, SetUp, Stands, set_up
from countersign.set_up.tray import Tallies, Tray, TrayItem, tray

__all__ = [
    "PlaceList",
    "Placed",
    "SetUp",
    "Stands",
    "Tallies",
    "Tray",
    "TrayItem",
    "set_up",
    "tray",
]
