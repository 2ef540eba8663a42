"""Confirming: a person goes through the lines of a case, and each decision is kept."""

from countersign.confirm.person import Person
from countersign.confirm.playing import play_line
from countersign.confirm.searching import discrepancy_view, search
from countersign.confirm.walk import line_view, walk, who

__all__ = [
    "Person",
    "discrepancy_view",
    "line_view",
    "play_line",
    "search",
    "walk",
    "who",
]
