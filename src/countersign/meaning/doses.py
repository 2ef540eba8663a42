"""Receipts, labels and draws: the events about medications and solutions."""

from collections.abc import Sequence

from countersign.hearing.utterance import TALK
from countersign.meaning import medication as meds
from countersign.meaning.clause import Scene, low_confidence, make_event
from countersign.meaning.event import Event, EventKind, QuestionCode
from countersign.meaning.numbers import is_number_word
from countersign.meaning.pieces import Piece
from countersign.meaning.sequence import ask
from countersign.meaning.words import BREAK, UNKNOWN


def reach_back(scene: Scene, pieces: Sequence[Piece], index: int) -> tuple[int, int]:
    """The first piece that belongs to a medication named at ``index`` and its position.

    A strength or volume may come before the name ("half percent bupivacaine"), and a cue
    before that.
    """
    name = pieces[index].start
    tokens = [token.lower_ for token in scene.doc]
    start = end = name
    for position in range(name - 1, max(-1, name - 12), -1):
        if tokens[position] in (BREAK, TALK, UNKNOWN):
            break
        taken = meds.strength_at(tokens, position) or meds.volume_at(tokens, position)
        if taken is None:
            continue
        if taken[1] == end and start < end:
            start = position  # the same, read from further back: "point two five percent"
            continue
        if taken[1] > start:
            continue
        if all(word in ("of", "the") for word in tokens[taken[1] : start]):
            start, end = position, taken[1]
    # a number that no amount takes up is asked about with the medication
    if (
        start < name
        and start
        and (tokens[start - 1] == "point" or is_number_word(tokens[start - 1]))
    ):
        start -= 1
    first = next(i for i, piece in enumerate(pieces) if piece.end > start)
    lead = pieces[first - 1] if first else None
    if lead is not None and lead.kind == "cue" and lead.label.startswith(("RECEIPT", "ADD")):
        first, start = first - 1, lead.start
    return first, start


def joined(scene: Scene, position: int) -> bool:
    """Whether "with" or "plus" stands shortly before a second medication."""
    words = [token.lower_ for token in scene.doc[max(0, position - 8) : position]]
    return "with" in words or "plus" in words


def _needs_no_strength(scene: Scene, medication: str | None) -> bool:
    """A diluent without stocked strengths, or whose one strength is part of its name."""
    if medication is None:
        return False
    entry = scene.kit.medication(medication)
    return not entry.strengths or (len(entry.strengths) == 1 and entry.strengths[0] in entry.label)


def _medication_label(scene: Scene, medication: str | None) -> str:
    return "the medication" if medication is None else scene.kit.medication(medication).label


def medication_event(
    scene: Scene,
    start: int,
    end: int,
    kind: EventKind,
    names: dict[int, tuple[str, int]],
    talk_before: str | None,
) -> Event | None:
    """The event of the tokens from ``start`` to ``end``, ``None`` if they were only a mention."""
    words = [token.lower_ for token in scene.doc[start:end]]
    shifted = {at - start: (name, stop - start) for at, (name, stop) in names.items()}
    got = meds.read_medication(words, shifted, scene.today)
    detail = got.detail
    questions = list(got.questions)
    known = _needs_no_strength(scene, detail.name)
    if kind is EventKind.LABEL:
        if detail.name is None and detail.container is None and detail.strength is None:
            return None
        questions += meds.label_questions(detail, diluent_known=known)
    elif kind is EventKind.DRAW:
        if detail.volume_ml is None and detail.name is None:
            return None
        if detail.volume_ml is None:
            questions.append(ask(QuestionCode.NO_QUANTITY, "A draw was heard, but no volume."))
        if detail.name is None:
            questions.append(
                ask(QuestionCode.NO_ITEM, "A draw was heard, but not of which medication.")
            )
    else:
        said_more = detail.strength or detail.expiry or detail.additive or detail.lot
        cued = any(s.label_ == "RECEIPT" for s in scene.doc.spans["cues"] if s.start >= start)
        measured = detail.volume_ml is not None and talk_before is None
        amount = detail.volume_ml is not None or detail.strength is not None
        if not said_more and not measured and not cued and not amount:
            return None
        if talk_before == "stranger" and not (detail.strength and detail.expiry) and not cued:
            if not amount:
                return None
            # an amount of a medication is never passed over without a question
            questions.append(
                ask(
                    QuestionCode.OTHER_READING,
                    f"{_medication_label(scene, detail.name)[:1].upper()}"
                    f"{_medication_label(scene, detail.name)[1:]} was heard amid other talk; "
                    "it may not be a receipt.",
                )
            )
        if detail.strength is None and not known:
            questions.append(
                ask(
                    QuestionCode.STRENGTH_MISSING,
                    f"No strength was heard for {_medication_label(scene, detail.name)}.",
                )
            )
        if detail.additive is not None and detail.additive_strength is None:
            questions.append(
                ask(
                    QuestionCode.STRENGTH_MISSING,
                    f"No strength was heard for {_medication_label(scene, detail.additive)}.",
                )
            )
    matter = [start + position for position in got.positions]
    # the event ends with the last word that said something
    last = max([*matter, start]) + 1
    while last < end and words[last - start] not in (BREAK, TALK, UNKNOWN):
        last += 1
    return make_event(
        scene,
        start,
        last,
        kind=kind,
        item=detail.name,
        quantity=detail.volume_ml,
        unit="mL" if detail.volume_ml is not None else None,
        medication=detail,
        questions=[*questions, *low_confidence(scene, matter)],
        matter=matter or range(start, last),
    )
