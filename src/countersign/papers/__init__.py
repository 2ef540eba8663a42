"""The papers room: a case as PDF for people (extra ``papers``), and whether one still holds."""

from countersign.exchange import Finding
from countersign.papers.practice import Practice, practice_of
from countersign.papers.printing import Printing, Size, printing, printing_of
from countersign.papers.verifying import is_practice, verify, verify_practice
from countersign.papers.writing import FORMS, write_papers, write_practice

__all__ = [
    "FORMS",
    "Finding",
    "Practice",
    "Printing",
    "Size",
    "is_practice",
    "practice_of",
    "printing",
    "printing_of",
    "verify",
    "verify_practice",
    "write_papers",
    "write_practice",
]
