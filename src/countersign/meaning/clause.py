"""One count while it is put together, and the event that it becomes."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from spacy.tokens import Doc

from countersign.kit.model import Item, Kit
from countersign.meaning.event import Event, EventKind, Phase, Question, QuestionCode, Spoken
from countersign.meaning.numbers import HOMOPHONES, spell, split_run
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.sequence import Counted, ask, check, said, total_disagrees
from countersign.meaning.words import BREAK, Token

LOW_CONFIDENCE = 0.6
"""Below this posterior a number or item word is asked about. Tuned on recordings."""

AT_ONCE_S = 0.6
"""Talk this soon after a number may hide the next one. Numbers counted aloud while items are parted
follow each other within about a second (to be tuned on recordings)."""

_NEEDS_NO_NUMBER = (EventKind.SET_UP, EventKind.CORRECTION)

SHORTEST_SEQUENCE = 3
"""A run from one without an item is taken for a count from this length on."""

BLADE_SIZES = frozenset({10, 11, 12, 15, 20, 21, 22, 23})
"""Numbers that name scalpel blades (common practice, no source)."""


@dataclass
class Scene:
    """What a clause is judged by: the document, the kit, and the count under way."""

    doc: Doc
    kit: Kit
    phase: Phase | None
    today: date | None

    @property
    def heard(self) -> tuple[Token, ...]:
        """The tokens of the document."""
        heard: tuple[Token, ...] = self.doc._.heard
        return heard


@dataclass
class Clause:
    """The count being put together."""

    start: int
    carry: int
    """The first token to keep while the clause is open."""
    kind: EventKind = EventKind.COUNT
    item: Piece | None = None
    inherited: str | None = None
    """The item of the count that a correction without an item is about."""
    entries: list[Piece] = field(default_factory=list)
    number_first: bool = False
    total_next: bool = False
    verb: bool = False
    outside: EventKind | None = None
    """The kind, where the verb that gave it stands before another clause."""
    soft: bool = False
    """The item came after a phase: no number is needed."""
    place: str | None = None
    before: str | None = None
    after: str | None = None
    talked: bool = False
    tried: bool = False
    """A number followed after talk: it was not taken, but the item was being counted."""
    cut_off: bool = False
    """Talk followed the last number at once."""
    questions: list[Question] = field(default_factory=list)
    displaced: "Clause | None" = None
    """The count before, as long as it is not sure that this item ended it."""
    end: int = 0

    @property
    def has_numbers(self) -> bool:
        """Whether any number was said."""
        return any(entry.kind in ("run", "pack") for entry in self.entries)


def label(scene: Scene, piece: Piece) -> str:
    """The label of an item piece."""
    return scene.kit.item(piece.label).label


def clause_numbers(scene: Scene, clause: Clause | None) -> list[tuple[int, int, int, Piece]]:
    """The numbers of a clause: value, first and last token, and the piece they came from.

    Totals are left out. A number never spans a pause or talk.
    """
    if clause is None:
        return []
    words: list[str | None] = []
    sources: list[tuple[int, Piece]] = []
    fixed: dict[int, tuple[int, Piece]] = {}
    for entry in clause.entries:
        if entry.kind == "run" and entry.label != "total":
            for position in range(entry.start, entry.end):
                words.append(scene.doc[position]._.number)
                sources.append((position, entry))
            # two runs with only fillers between them are two numbers
            words.append(None)
            sources.append((entry.end, entry))
        elif entry.kind == "pack":
            value = int(entry.label.split()[1])
            fixed[len(words)] = (value, entry)
            words.append(str(value))
            sources.append((entry.start, entry))
            words.append(None)
            sources.append((entry.end, entry))
        else:
            words.append(None)
            sources.append((entry.start, entry))
    found = []
    for value, start, end in split_run(words):
        first, piece = sources[start]
        if start in fixed:
            found.append((value, piece.start, piece.end, piece))
        else:
            found.append((value, first, sources[end - 1][0] + 1, piece))
    return found


def follows_at_once(scene: Scene, clause: Clause, piece: Piece) -> bool:
    """Whether a piece stands directly behind the last number of a clause, also in time."""
    if not clause.has_numbers or clause.number_first or clause.end != piece.start:
        return False
    return scene.heard[piece.start].start_s - scene.heard[clause.end - 1].end_s <= AT_ONCE_S


def count_event(scene: Scene, clause: Clause) -> Event | None:
    """The event of a clause, ``None`` where it was no count but something said in passing."""
    numbers = clause_numbers(scene, clause)
    totals = [entry for entry in clause.entries if entry.label == "total"]
    if clause.total_next and not numbers and not totals and clause.item is None:
        return None
    counted: Counted | None = None
    values = [value for value, _, _, _ in numbers]
    if values:
        counted = check(values, restart=_restart_at(clause, numbers))
    if not _plausible(scene, clause, values, bool(totals), counted):
        return None
    questions = list(clause.questions)
    quantity: int | None = None
    spoken: Spoken | None = None
    sequence: tuple[int, ...] = ()
    matter: list[int] = []
    if clause.item is not None:
        matter += range(clause.item.start, clause.item.end)
    if counted is not None:
        quantity = counted.quantity
        spoken = Spoken.SEQUENCE if len(counted.numbers) > 1 else Spoken.TOTAL
        if clause.kind is EventKind.CORRECTION:
            questions += [
                question
                for question in counted.questions
                if question.code is not QuestionCode.SEQUENCE_START
            ]
        else:
            questions += counted.questions
        sequence = counted.numbers if spoken is Spoken.SEQUENCE else ()
        last = numbers[-1]
        if counted.questions:
            for _, start, end, _ in numbers:
                matter += range(start, end)
        else:
            matter += range(last[1], last[2])
        if last[3].kind == "pack" and len(numbers) == 1:
            quantity, spoken, more = _pack(scene, clause, last[3])
            questions += more
    if clause.cut_off and sequence and not totals:
        questions.append(
            ask(
                QuestionCode.SEQUENCE_CUT_OFF,
                f"{said(sequence[-1])} was followed at once by talk; a number may be missing.",
            )
        )
    for entry in totals:
        said_total = numbers_of(scene.doc, entry)
        matter += range(entry.start, entry.end)
        if not said_total:
            continue
        total = said_total[-1]
        if quantity is None:
            quantity, spoken = total, Spoken.TOTAL
        elif total != quantity:
            questions.append(total_disagrees(quantity, total))
    for position in matter:
        token = scene.doc[position]
        if token._.unproven:
            questions.append(
                ask(
                    QuestionCode.OTHER_READING,
                    f"“{token.text}” was heard and taken for {spell(HOMOPHONES[token.lower_])}.",
                )
            )
    if (
        clause.item is not None
        and quantity is None
        and not clause.soft
        and clause.kind not in _NEEDS_NO_NUMBER
    ):
        questions.append(
            ask(
                QuestionCode.NO_QUANTITY,
                f"{label(scene, clause.item)} was heard, but no number.",
            )
        )
    if clause.item is None and clause.kind is not EventKind.CORRECTION:
        questions.append(
            ask(
                QuestionCode.NO_ITEM,
                f"{said(quantity or 0)} was heard, but not of what."
                if quantity is not None
                else "A number was heard, but not of what.",
            )
        )
    if clause.before == "talk" and clause.number_first and len(values) == 1:
        questions.append(
            ask(
                QuestionCode.OTHER_READING,
                f"{said(quantity or 0)} was heard amid other talk; it may not be a count.",
            )
        )
    if counted is not None and clause.item is not None:
        questions += _number_in_name(scene, clause, counted)
    questions += low_confidence(scene, matter)
    end = max([clause.end, *(position + 1 for position in matter)])
    start = clause.start
    return make_event(
        scene,
        start,
        end,
        kind=clause.kind,
        item=clause.item.label if clause.item else clause.inherited,
        quantity=quantity,
        unit="each" if quantity is not None else None,
        spoken=spoken,
        sequence=sequence,
        place=clause.place,
        matter=matter or range(start, end),
        questions=questions,
    )


def _restart_at(clause: Clause, numbers: Sequence[tuple[int, int, int, Piece]]) -> int | None:
    """The first number after the last "start over"."""
    restarts = [entry.start for entry in clause.entries if entry.kind == "restart"]
    if not restarts:
        return None
    return next((i for i, number in enumerate(numbers) if number[1] > restarts[-1]), None)


def _plausible(
    scene: Scene, clause: Clause, values: list[int], totalled: bool, counted: Counted | None
) -> bool:
    """Whether a clause is a count and not something said in passing."""
    ordinary = (clause.before, clause.after)
    from_one = bool(values) and values[0] == 1 and len(values) >= SHORTEST_SEQUENCE
    if clause.kind is EventKind.CORRECTION:
        return bool(values) or clause.item is not None
    if clause.item is None:
        if totalled:
            return True
        if not from_one or clause.kind is not EventKind.COUNT:
            return False
        if counted is None or counted.numbers[0] != 1:
            return False
        return not (len(values) == SHORTEST_SEQUENCE and "stranger" in ordinary)
    if clause.kind is EventKind.SET_UP:
        return "stranger" not in ordinary
    if not values and not totalled:
        return _attempted(scene, clause)
    if from_one or totalled:
        return True
    if clause.verb and clause.before != "stranger":
        # "passing off five laps now doctor": the verb carries it
        return True
    if clause.before == "stranger":
        return False
    if clause.after == "stranger":
        return len(values) > 1 or (
            not clause.number_first and scene.phase is not None and plural(scene, clause.item)
        )
    return True


def _attempted(scene: Scene, clause: Clause) -> bool:
    """Whether an item without a number was a try at counting it."""
    assert clause.item is not None
    if clause.soft or "stranger" in (clause.before, clause.after):
        return False
    if clause.kind in (EventKind.ADDITION, EventKind.REMOVAL):
        return plural(scene, clause.item)
    if clause.tried and clause.before is None and plural(scene, clause.item):
        return True
    if clause.kind is EventKind.COUNT and "talk" in (clause.before, clause.after):
        return scene.phase is not None and clause.before is None
    return scene.phase is not None or plural(scene, clause.item)


def plural(scene: Scene, item: Piece) -> bool:
    """Whether the item was said in the plural."""
    form = " ".join(words_of(scene.doc, item))
    spoken = {s.lower().replace("-", " ") for s in scene.kit.item(item.label).spoken}
    if form.endswith(("scissors", "forceps")):
        return False  # one instrument, though it sounds like several
    return form.endswith("s") and (form[:-1] in spoken or form[:-2] in spoken)


def _pack(scene: Scene, clause: Clause, piece: Piece) -> tuple[int, Spoken, list[Question]]:
    """The quantity of a pack said without being counted out."""
    how, number = piece.label.split()
    value = int(number)
    item: Item | None = scene.kit.item(clause.item.label) if clause.item else None
    if how == "pack":
        return value, Spoken.PACK, []
    if how == "one":
        return value, Spoken.TOTAL, []
    if how == "pair":
        words = words_of(scene.doc, clause.item) if clause.item else []
        label = item.label.lower() if item else ""
        if item and any(w in label or w in words for w in ("scissors", "forceps")):
            return (
                value,
                Spoken.TOTAL,
                [
                    ask(
                        QuestionCode.OTHER_READING,
                        f"A pair of {item.label} may be one instrument or two.",
                    )
                ],
            )
        return value, Spoken.TOTAL, []
    size = item.pack if item else None
    if how == "sized":
        if size == value:
            return value, Spoken.PACK, []
        other = f"; it could be {spell(value * size)}" if size else ""
        return (
            value,
            Spoken.PACK,
            [
                ask(
                    QuestionCode.OTHER_READING,
                    f"A pack of {spell(value)} or {spell(value)} packs was heard{other}.",
                )
            ],
        )
    packs = "A pack was" if value == 1 else f"{said(value)} packs were"
    if size is None:
        return (
            value,
            Spoken.PACK,
            [ask(QuestionCode.NO_QUANTITY, f"{packs} heard, but not how many are in one.")],
        )
    return (
        value * size,
        Spoken.PACK,
        [
            ask(
                QuestionCode.NO_QUANTITY,
                f"{packs} heard, but not how many are in one; the kit says {spell(size)}.",
            )
        ],
    )


def _number_in_name(scene: Scene, clause: Clause, counted: Counted) -> list[Question]:
    """ "eight nine ten blades": the number may be the last of the count or part of a name."""
    assert clause.item is not None
    words = words_of(scene.doc, clause.item)
    if words[-1] == "blade" and clause.number_first and counted.quantity in BLADE_SIZES:
        return [
            ask(
                QuestionCode.OTHER_READING,
                f"{said(counted.quantity)} may be the blade's size and not how many there are.",
            )
        ]
    values = [value for value, _, _ in split_run([words[0]])]
    if clause.number_first and len(counted.numbers) > 1 and values == [counted.quantity + 1]:
        return [
            ask(
                QuestionCode.OTHER_READING,
                f"Heard {spell(counted.quantity)}; it could be {spell(values[0])}.",
            )
        ]
    return []


def low_confidence(scene: Scene, matter: Sequence[int]) -> list[Question]:
    """A question for each word at these positions that was not heard clearly."""
    weak = [
        scene.heard[position]
        for position in matter
        if scene.heard[position].confidence < LOW_CONFIDENCE
    ]
    return [
        ask(QuestionCode.LOW_CONFIDENCE, f"“{token.text}” was not heard clearly.")
        for token in dict.fromkeys(weak)
    ]


def make_event(scene: Scene, start: int, end: int, **values: object) -> Event:
    """The event of some tokens; ``matter`` are the positions whose confidence counts."""
    matter = values.pop("matter", ())
    positions = list(matter) if isinstance(matter, Sequence) else []
    span = scene.heard[start:end]
    said_words = [t.heard for t in span if t.heard is not None and t.text != BREAK]
    real = [t for t in span if t.text != BREAK] or list(span)
    speakers = {t.speaker for t in real}
    questions = values.pop("questions", ())
    asked = tuple(dict.fromkeys(questions)) if isinstance(questions, list) else ()
    return Event.model_validate(
        {
            **values,
            "words": " ".join(said_words),
            "start_s": min(t.start_s for t in real),
            "end_s": max(t.end_s for t in real),
            "speaker": speakers.pop() if len(speakers) == 1 else None,
            "confidence": min((scene.heard[p].confidence for p in positions), default=1.0),
            "questions": asked,
        }
    )
