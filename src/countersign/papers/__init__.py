"""The papers room: a case as PDF for people (extra ``papers``), and whether one still holds."""

from countersign.exchange import Finding
from countersign.papers.printing import Printing, Size, printing, printing_of
from countersign.papers.verifying import verify
from countersign.papers.writing import FORMS, write_papers

__all__ = [
    "FORMS",
    "Finding",
    "Printing",
    "Size",
    "printing",
    "printing_of",
    "verify",
    "write_papers",
]
