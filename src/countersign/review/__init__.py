"""The review room: recordings of practice counts, measured, scored and looked back at.

Nothing here is a count record: an attempt is practice, and nobody confirms it.
"""

from countersign.review.analysis import analyse
from countersign.review.attempt import Attempt, Gap, Moment, Sequence, Shown
from countersign.review.checklist import Checklist, Point, common_checklist_path, read_checklist
from countersign.review.entries import Entry, EntryKind, Verdict
from countersign.review.scoring import PointScore, Score, score
from countersign.review.store import Store, is_learner

__all__ = [
    "Attempt",
    "Checklist",
    "Entry",
    "EntryKind",
    "Gap",
    "Moment",
    "Point",
    "PointScore",
    "Score",
    "Sequence",
    "Shown",
    "Store",
    "Verdict",
    "analyse",
    "common_checklist_path",
    "is_learner",
    "read_checklist",
    "score",
]
