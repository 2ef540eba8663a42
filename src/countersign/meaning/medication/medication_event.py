"""Receipts, labels, draws and their corrections: the events about medications and solutions."""

from collections.abc import Collection, Sequence
from decimal import Decimal

from countersign.hearing.utterance import TALK
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Question,
    QuestionCode,
)
from countersign.meaning.medication.amounts import strength_at, volume_at
from countersign.meaning.medication.detail import Said, loose_number, read_medication
from countersign.meaning.medication.label import label_questions
from countersign.meaning.medication.solutions import needs_no_strength
from countersign.meaning.medication.talk import (
    is_led_by_talk,
    unplaced_number,
    volume_unit_alone,
    word_of_talk,
)
from countersign.meaning.numbers import TEENS, is_number_word
from countersign.meaning.pieces import Piece
from countersign.meaning.questions import ask, doubt
from countersign.meaning.scene import (
    Scene,
    is_seconded,
    low_confidence,
    make_event,
    two_or_ten,
)
from countersign.meaning.words import BREAK, UNKNOWN
from countersign.number_words import spell

LEADS = ("RECEIPT", "ADD", "HANDS", "READ_BACK")
"""Cues that may stand before a medication."""


def reach_back(
    scene: Scene, pieces: Sequence[Piece], index: int, floor: int = 0
) -> tuple[int, int]:
    """The first piece that belongs to a medication named at ``index`` and its position.

    A strength or volume may come before the name ("half percent bupivacaine"), and cues before
    that. Nothing before the token ``floor`` is taken.
    """
    name = pieces[index].start
    tokens = [token.lower_ for token in scene.doc]
    start = end = name
    for position in range(name - 1, max(floor - 1, name - 12), -1):
        if tokens[position] in (BREAK, TALK, UNKNOWN):
            break
        taken = strength_at(tokens, position) or volume_at(tokens, position)
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
        and start > floor
        and (tokens[start - 1] == "point" or is_number_word(tokens[start - 1]))
    ):
        start -= 1
    first = next(i for i, piece in enumerate(pieces) if piece.end > start)
    while (
        first
        and pieces[first - 1].start >= floor
        and pieces[first - 1].kind == "cue"
        and pieces[first - 1].label.startswith(LEADS)
    ):
        first -= 1
        start = pieces[first].start
    return first, start


def joined(scene: Scene, start: int, position: int) -> bool:
    """Whether a second medication at ``position`` goes with the one whose name ends at ``start``.

    "With", "plus", "in" or the like stands between them, with nothing but amounts after it.
    """
    words = [token.lower_ for token in scene.doc[start:position]]
    joints = [at for at, word in enumerate(words) if word in _JOINTS]
    if not joints:
        return False
    at = joints[-1] + 1
    while at < len(words):
        amount = strength_at(words, at) or volume_at(words, at)
        if amount is not None:
            at = amount[1]
        elif words[at] in _BETWEEN:
            at += 1
        else:
            return False
    return True


_JOINTS = frozenset({"with", "plus", "in", "into", "diluted", "to"})
_BETWEEN = frozenset({"of", "a", "an", "the", "some", "up", BREAK})


def medication_event(
    scene: Scene,
    start: int,
    end: int,
    kind: EventKind,
    names: dict[int, tuple[str, int]],
    talk_before: str | None,
) -> Event | None:
    """The event of the tokens from ``start`` to ``end``, ``None`` if they were only a mention.

    ``names`` gives, by the position where it begins, the medication id heard and where it ends.
    """
    words = [token.lower_ for token in scene.doc[start:end]]
    shifted = {at - start: (name, stop - start) for at, (name, stop) in names.items()}
    drawn = kind is EventKind.DRAW
    said = read_medication(words, shifted, scene.today, scene.kit, drawn=drawn)
    cues = [span for span in scene.doc.spans["cues"] if start <= span.start < end]
    starts = [stop for _, stop in shifted.values()]
    starts += [cue.end - start for cue in cues if cue.label_ == "DRAW"]
    loose = loose_number(words, starts, said)
    covered = {at - start for cue in cues for at in range(cue.start, cue.end)}
    if loose is None:
        loose = unplaced_number(words, said.known | covered)
    read_back = any(cue.label_ == "READ_BACK" for cue in cues)
    cued = any(cue.label_ == "RECEIPT" for cue in cues)
    detail = said.detail.model_copy(update={"read_back": True}) if read_back else said.detail
    match kind:
        case EventKind.LABEL:
            asked = _about_label(scene, detail, loose)
        case EventKind.DRAW:
            asked = _about_draw(detail, loose)
        case EventKind.CORRECTION:
            asked = _about_correction(detail, loose)
        case _:
            asked = _about_receipt(scene, detail, loose, cued=cued, talk_before=talk_before)
    if asked is None:
        return None
    if kind is EventKind.RECEIPT and detail.received_by is None:
        asked += [
            doubt(f"“{word}” was heard; was it received, or given to the patient?")
            for word in words
            if word in _GIVEN
        ]
    if read_back and any(cue.label_ == "READ_BACK" and cue.start == start for cue in cues):
        asked = [q for q in asked if q.code not in _ASKED_ALREADY]
    if _in_order(said, cued=cued):
        asked += [_beside(scene, detail, TALK)] * is_led_by_talk(words, said.known)
        if detail.volume_ml is None and TALK in words and not asked:
            asked = [ask(QuestionCode.NO_QUANTITY, "Talk was heard where its volume may be.")]
    else:
        told = words
        if kind is EventKind.LABEL:
            told = _after_container(detail, words, min(shifted, default=0))
        asked += _about_talk(scene, detail, told, said.known | covered, talk_before)
    if (
        loose is None
        and detail.volume_ml is None
        and volume_unit_alone(words, said.known | covered)
    ):
        asked = [*asked, ask(QuestionCode.NO_QUANTITY, "An amount was heard, but not how much.")]
    matter = [start + position for position in said.positions]
    # the event ends with the last word that said something
    last = max([*matter, start, *(cue.end - 1 for cue in cues if cue.label_ == "READ_BACK")]) + 1
    while last < end and words[last - start] not in (BREAK, TALK, UNKNOWN):
        last += 1
    volume = detail.volume_ml
    return make_event(
        scene,
        start,
        last,
        kind=kind,
        item=detail.name,
        quantity=volume,
        unit="mL" if volume is not None else None,
        medication=detail,
        questions=[
            *said.questions,
            *asked,
            *low_confidence(scene, matter),
            *two_or_ten(scene, range(start, last)),
            *_teens(scene, range(start, last)),
            *_bare_hundreds(scene, range(start, last)),
            *_cut_year(scene, last, detail),
        ],
        matter=matter or range(start, last),
    )


_GIVEN = frozenset({"given", "gave", "injected", "infiltrated", "administered", "used", "wasted"})
"""Words that say what became of it, which is no receipt."""
_ASKED_ALREADY = (QuestionCode.STRENGTH_MISSING, QuestionCode.LABEL_INCOMPLETE)
"""What was asked about the line that a read-back repeats."""


# What has to be asked about each kind; ``None`` where it is no event


def _about_label(
    scene: Scene, detail: MedicationDetail, loose: Decimal | None
) -> list[Question] | None:
    if detail.name is None and detail.container is None and detail.strength is None:
        return None
    asked = label_questions(detail, diluent_known=needs_no_strength(scene.kit, detail.name))
    return asked if loose is None else [*asked, _unit_missing(loose)]


def _about_draw(detail: MedicationDetail, loose: Decimal | None) -> list[Question] | None:
    if detail.volume_ml is None and detail.name is None and loose is None:
        return None
    asked = []
    if loose is not None:
        asked.append(_unit_missing(loose))
    elif detail.volume_ml is None:
        asked.append(ask(QuestionCode.NO_QUANTITY, "A draw was heard, but no volume."))
    if detail.name is None:
        sentence = "A draw was heard, but not of which medication."
        asked.append(ask(QuestionCode.NO_ITEM, sentence))
    return asked


def _about_correction(detail: MedicationDetail, loose: Decimal | None) -> list[Question] | None:
    asked = []
    if loose is not None:
        asked.append(_unit_missing(loose))
    elif detail == MedicationDetail():
        return None
    amount = detail.volume_ml is not None or detail.strength is not None
    if detail.name is not None and not amount:
        sentence = "Another medication was named; it is not clear whether the rest stays."
        asked.append(ask(QuestionCode.UNCLEAR_CORRECTION, sentence))
    return asked


def _about_receipt(
    scene: Scene,
    detail: MedicationDetail,
    loose: Decimal | None,
    *,
    cued: bool,
    talk_before: str | None,
) -> list[Question] | None:
    amount = detail.volume_ml is not None or detail.strength is not None
    said_more = detail.expiry or detail.additive or detail.lot or detail.expiry_time
    if not (amount or said_more or cued or loose is not None):
        return None
    sure = cued or (detail.strength and detail.expiry)
    if talk_before == "stranger" and not sure and not amount:
        return None  # an amount of a medication is never passed over without a question
    asked = []
    if loose is not None:
        asked.append(_unit_missing(loose))
    if detail.name is None:
        sentence = "The amounts of a medication were heard, but not its name."
        asked.append(ask(QuestionCode.NO_ITEM, sentence))
    lacking = []
    if (
        detail.name is not None
        and detail.strength is None
        and not needs_no_strength(scene.kit, detail.name)
    ):
        lacking.append(detail.name)
    if detail.additive is not None and detail.additive_strength is None:
        lacking.append(detail.additive)
    for name in lacking:
        sentence = f"No strength was heard for {_medication_label(scene, name)}."
        asked.append(ask(QuestionCode.STRENGTH_MISSING, sentence))
    return asked


def _in_order(said: Said, *, cued: bool) -> bool:
    """Whether so much of a label was said that words around it do not make it talk."""
    detail = said.detail
    return cued or bool(detail.strength and detail.expiry)


def _after_container(detail: MedicationDetail, words: list[str], name: int) -> list[str]:
    """The words of a label without the talk right before its container, which can hide nothing of
    what is in it: "label <talk> pitcher sterile water one hundred milliliters".
    """
    if detail.name is None or detail.volume_ml is None or detail.container not in words:
        return words
    container = words.index(detail.container)
    if container > name:
        return words
    before = ["on" if word in (TALK, UNKNOWN) else word for word in words[:container]]
    return [*before, *words[container:]]


def _about_talk(
    scene: Scene,
    detail: MedicationDetail,
    words: Sequence[str],
    known: Collection[int],
    talk_before: str | None,
) -> list[Question]:
    """The question for an amount that stands in one utterance with words of other talk."""
    if talk_before is not None:
        heard = _named(scene, detail)
        return [doubt(f"{heard} was heard amid other talk; it may not be meant for the record.")]
    word = word_of_talk(words, known)
    return [] if word is None else [_beside(scene, detail, word)]


def _beside(scene: Scene, detail: MedicationDetail, word: str) -> Question:
    beside = "other talk" if word in (TALK, UNKNOWN) else f"“{word}”"
    sentence = f"was heard beside {beside}; it may not be meant for the record."
    return doubt(f"{_named(scene, detail)} {sentence}")


def _named(scene: Scene, detail: MedicationDetail) -> str:
    label = _medication_label(scene, detail.name)
    return label[:1].upper() + label[1:]


def _teens(scene: Scene, positions: range) -> list[Question]:
    """A question about "thirteen mils", which is what the bundled model hears for "thirty mils",
    surely and in both decodings. None of written words.

    Vials and ampoules hold thirty or fifty milliliters, hardly ever a number in the teens (common
    practice, no source), so that to ask about every volume in the teens asks little; where the open
    decoding is sure of it, none was a ten. The other way round only "fifty" is asked about, which a
    drawn "fifteen" was heard as, however sure both were: all tens would be every second vial. No
    bag or bottle holds "two hundred fifteen".
    """
    words = [token.lower_ for token in scene.doc]
    asked = []
    for at in positions:
        teen = words[at] in TEENS and not is_seconded(scene, (at,))
        fifty = words[at] == "fifty" and words[at - 1 : at] != ["hundred"]
        number = teen or fifty
        volume = volume_at(words, at) if number and scene.heard[at].is_sound else None
        if volume is not None and (volume[0] in range(13, 20) or volume[0] == 50):
            other = spell(15 if volume[0] == 50 else (int(volume[0]) - 10) * 10)
            sentence = f"Heard {words[at]}; it could be {other}."
            asked.append(ask(QuestionCode.TEEN_OR_TEN, sentence))
    return asked


def _bare_hundreds(scene: Scene, positions: range) -> list[Question]:
    """A question about a volume or a ratio of "hundred" alone, of sound: how many was not heard."""
    words = [token.lower_ for token in scene.doc]
    return [
        doubt("“Hundred” was heard, but not how many hundreds.")
        for at in positions
        if words[at] == "hundred"
        and scene.heard[at].is_sound
        and not (at and (words[at - 1] in ("a", "per") or is_number_word(words[at - 1])))
        and (volume_at(words, at) is not None or words[at + 1 : at + 2] == ["thousand"])
    ]


def _cut_year(scene: Scene, end: int, detail: MedicationDetail) -> list[Question]:
    """A question where talk touches a year that may go on: "expires may twenty thirty <talk>"."""
    if detail.expiry is None or end >= len(scene.heard) or scene.heard[end].text != TALK:
        return []
    year = [token.text for token in scene.heard[end - 2 : end]]
    gap = scene.heard[end].start_s - scene.heard[end - 1].end_s
    if year not in (["twenty", "twenty"], ["twenty", "thirty"]) or gap > YEAR_GOES_ON_S:
        return []
    sentence = "The year was followed at once by talk; its last number may be missing."
    return [ask(QuestionCode.EXPIRY_UNREADABLE, sentence)]


YEAR_GOES_ON_S = 0.3
"""The words of one year follow each other at once."""


def _unit_missing(number: Decimal) -> Question:
    sentence = f"The number {number} was heard, but not its unit."
    return ask(QuestionCode.NO_QUANTITY, sentence)


def _medication_label(scene: Scene, medication: str | None) -> str:
    return "the medication" if medication is None else scene.kit.medication(medication).label
