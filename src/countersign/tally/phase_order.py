"""Whether the counts of a case were announced in an order in which they are made.

Names of counts sound alike ("closing the skin", "closing the peritoneum"), and a wrong one puts
every line after it under the wrong count. Initial, cavity, closing of the wound, skin: AORN and AST
guidance (from memory). A relief, and a count that somebody asks for, come at any time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from countersign.meaning.event import EventKind, Phase, QuestionCode
from countersign.tally import sentences
from countersign.tally.drafts import Draft

ORDER = (Phase.INITIAL, Phase.CLOSING_CAVITY, Phase.CLOSING, Phase.FINAL)
"""The counts that follow each other."""


@dataclass
class _Announced:
    """A count that was announced, and what was counted until the next one was."""

    draft: Draft
    phase: Phase
    items: set[str] = field(default_factory=set)


def ask_about_phases(drafts: Sequence[Draft]) -> None:
    """Ask about every announced count that does not fit those before it."""
    gone: list[_Announced] = []
    begun = False
    for draft in drafts:
        if draft.heard.kind is EventKind.PHASE and draft.live and draft.phase is not None:
            misfit = _misfit(gone, draft.phase, begun=begun)
            if misfit is not None:
                draft.ask(QuestionCode.NOT_EXPECTED, misfit)
            gone.append(_Announced(draft, draft.phase))
            begun = True
        elif draft.counts and draft.step is not None and draft.step.kind is EventKind.COUNT:
            begun = True
            if gone and draft.phase is gone[-1].phase:
                gone[-1].items.add(draft.step.item)
    for at, each in enumerate(gone):
        earlier = _made_before(gone[:at], each)
        if earlier is not None:
            sentence = sentences.phase_again(each.phase, earlier.draft.number)
            each.draft.ask(QuestionCode.NOT_EXPECTED, sentence)


def _misfit(gone: Sequence[_Announced], phase: Phase, *, begun: bool) -> str | None:
    """What to ask of a count that is announced after those that are gone."""
    if phase not in ORDER:
        return None
    later = [each for each in gone if each.phase in ORDER[ORDER.index(phase) + 1 :]]
    if later:
        before = later[-1]
        return sentences.phase_too_late(phase, before.phase, before.draft.number)
    of_wound = any(each.phase in (Phase.CLOSING, Phase.FINAL) for each in gone)
    if phase is Phase.FINAL and begun and not of_wound:
        return sentences.no_closing_before()
    return None


def _made_before(gone: Sequence[_Announced], now: _Announced) -> _Announced | None:
    """The same count made before, where something that it counted is counted again in this one.

    Cavities of other names are other counts: the uterus, then the peritoneum.
    """
    if now.phase not in ORDER:
        return None
    same = [each for each in gone if each.phase is now.phase]
    if now.phase is Phase.CLOSING_CAVITY:
        same = [each for each in same if _words(each) == _words(now)]
    return next((each for each in reversed(same) if each.items & now.items), None)


def _words(announced: _Announced) -> str:
    return announced.draft.event.words.lower()
