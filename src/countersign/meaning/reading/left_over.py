"""Numbers that no line took: a number said beside an item, a count group or a count is never
dropped without a question.

Everything before has its reasons to take a number for talk. Here the rest is looked at once more,
utterance by utterance. A sentence of other talk ("can I have two laps please") has several words
that mean nothing to a count; with one at most ("two laps returned", "laps plus five"), none at
all, or only a place where nothing is counted ("needles five under the drape"), something was said
to the count that was not understood, and a person is asked.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, Question, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.breakage import number_in
from countersign.meaning.reading.clause import MOVED
from countersign.meaning.reading.count_event import SORRY_S
from countersign.meaning.reading.count_place import OFF_FIELD, WOUND
from countersign.meaning.reading.groups import name_of_group
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.state import (
    ENDS_A_COUNT,
    Carried,
    Read,
    State,
    begins_a_count,
    insert,
    item_before,
    no_item_named,
)
from countersign.meaning.scene import label, low_confidence, make_event, plural

MOST_STRANGERS = 1
"""A sentence with more unknown words than this is talk, whatever number and item are in it."""

_NAMES = ("item", "part", "group")
_COUNTS = ("PHASE", "VERDICT")
_MOVES = ("ADD", "REMOVE", "MORE", "PACK", "BAG", "PLACE wound", "PLACE off_field")
"""Cues that make a number alone a matter of the count, whether one is under way or not."""
_PASSED_OVER = ("PLACE", "RESTART", "TOTAL")
"""Cues that may stand beside a number alone while a count is under way."""
_TELLING = frozenset({"missing", "short", "over", "extra", "plus", "minus", "less"})
"""Unknown words that say something of how many there are."""
_WAYS = frozenset({"in", "inside", "out", "back", "taking"})
"""Unknown words that say where something went, as "brought five laps in" does."""
_SORTS = frozenset(
    "curved straight curve long large small big medium regular tens fives pairs by".split()
)
"""Unknown words that only tell of what sort they are, or how they were counted: "kellys curved
four straight two"."""
_LIES = frozenset(
    """
    under underneath beneath below behind beside between inside within near around above over
    against in on by at next
    """.split()
)
"""Words that lead to where something lies."""
_WHEN = frozenset("minute minutes second seconds hour hours moment time times while".split())
"""Words of time, to which they lead too."""
_MOST_OF_A_PLACE = 3
"""Unknown words after the one that leads to a place: "under her left arm"."""
_ASKS = frozenset({"can", "could", "would", "will", "shall", "should", "did", "do", "does"})
"""Words that make a request or a question of a sentence, unless the speakers ask it of themselves
("can we")."""


@dataclass(frozen=True)
class _Said:
    """One utterance: its pieces, whether it was said in a count that was announced, and what of its
    beginning is no longer kept.
    """

    pieces: tuple[Piece, ...]
    counting: bool
    strangers: int = 0
    named: bool = False
    sorry: bool = False

    @property
    def in_talk(self) -> bool:
        """Whether other talk was heard in it."""
        return any(piece.kind == "talk" for piece in self.pieces)

    def beside(self, one: Piece, other: Piece) -> bool:
        """Whether nothing stands between two of the pieces."""
        return abs(self.pieces.index(one) - self.pieces.index(other)) == 1


def ask_about_numbers_left(state: State, heard: Sequence[Piece], *, ended: bool) -> None:
    """Add an event with a question for every utterance in which a number was left over.

    ``heard`` are the pieces before any was found to be talk. ``ended`` if nothing more is said:
    then what waited for more words has taken none.
    """
    taken = set(state.taken)
    if not ended:
        taken |= state.waiting
    said = _utterances(state, heard)
    state.done[:] = [_with_beginning(state, reading, said) for reading in state.done]
    for utterance in said:
        found = _left(state, utterance, taken)
        if found is not None:
            insert(state, found)


def _utterances(state: State, heard: Sequence[Piece]) -> list[_Said]:
    found: list[list[Piece]] = [[]]
    for piece in heard:
        if piece.kind == "pause":
            found.append([])
        else:
            found[-1].append(piece)
    utterances, counting = [], state.before.counting
    before = state.before.carried
    for pieces in found:
        labels = [piece.label for piece in pieces if piece.kind == "cue"]
        counting = counting or begins_a_count(labels)
        utterances.append(
            _Said(tuple(pieces), counting, before.strangers, before.named, before.sorry)
        )
        before = Carried()
        counting = counting and ENDS_A_COUNT not in labels
    return utterances


def _with_beginning(state: State, reading: Read, said: Sequence[_Said]) -> Read:
    """An open reading with what stands in its utterance before the words that are kept."""
    if not reading.open:
        return reading
    for utterance in said:
        pieces = utterance.pieces
        if not pieces or not pieces[0].start <= reading.carry_from < pieces[-1].end:
            continue
        before = [piece for piece in pieces if piece.start < reading.carry_from]
        strangers = utterance.strangers + sum(_strangeness(state, piece) for piece in before)
        named = _names_what_counts(before[-1]) if before else utterance.named
        sorry = _is_sorry(state, before) if before else utterance.sorry
        carried = replace(reading.carried, strangers=strangers, named=named, sorry=sorry)
        return replace(reading, carried=carried)
    return reading


def _names_what_counts(piece: Piece) -> bool:
    return piece.kind in _NAMES or (piece.kind == "cue" and piece.label.startswith(_COUNTS))


def _strangeness(state: State, piece: Piece) -> int:
    """How many unknown words a piece is, or is as good as."""
    (word, *_) = words = words_of(state.doc, piece)
    if piece.label.startswith(("ALONE", "BREAK", "LOOSE")):
        return 0  # a phrase of the count, though it means nothing here
    if piece.kind != "stranger" or len(words) > 1:
        return int(piece.kind == "stranger")
    if word in _ASKS:
        after = state.doc[piece.end].lower_ if piece.end < len(state.doc) else ""
        return 0 if after == "we" else MOST_STRANGERS + 1
    return int(word not in _TELLING | _WAYS | _SORTS)


def _left(state: State, said: _Said, taken: set[int]) -> Read | None:
    """The event for the numbers of an utterance that no line took, if they were for the count."""
    runs = [
        piece
        for piece in said.pieces
        if (piece.kind == "run" or (piece.kind == "cue" and piece.label == "PIECES"))
        and not taken.intersection(range(piece.start, piece.end))
    ]
    strangers = said.strangers + sum(_strangeness(state, piece) for piece in said.pieces)
    if not runs:
        return None
    elsewhere = _elsewhere(state, said, runs)
    if elsewhere is not None:
        item = next(piece for piece in said.pieces if piece.kind == "item")
        return _read(state, said, runs, runs[0], item, elsewhere)
    if strangers > MOST_STRANGERS:
        return None
    if any(piece.kind in ("medication", "amount") for piece in said.pieces):
        return None
    name = _name(said, runs)
    if name is None:
        pieces = next((run for run in runs if run.kind == "cue"), None)
        if pieces is not None and any(_is_broken(piece) for piece in said.pieces):
            return _read(state, said, runs, pieces, None)  # "broken <talk> three pieces"
        runs = [piece for piece in runs if piece.kind == "run"]
        if not runs or not _is_of_a_count(state, said, runs, strangers):
            return None
        return _read(state, said, runs, runs[0], None)
    if name.kind == "item" and _is_only_named(state, said, runs, name):
        return None
    return _read(state, said, runs, min(runs, key=lambda run: _far(run, name)), name)


def _elsewhere(state: State, said: _Said, runs: list[Piece]) -> str | None:
    """The words after an item and its number, where they are only of a place where nothing is
    counted: "needles five under the drape", "one lap behind the liver".
    """
    kinds = [piece.kind for piece in said.pieces]
    rest = said.pieces[2:]
    if said.strangers or sorted(kinds[:2]) != ["item", "run"] or set(kinds[2:]) != {"stranger"}:
        return None
    (leads, *place) = [" ".join(words_of(state.doc, piece)) for piece in rest]
    if leads not in _LIES or not 1 <= len(place) <= _MOST_OF_A_PLACE or _WHEN & set(place):
        return None
    if not any(piece in runs for piece in said.pieces[:2]):
        return None  # its number stands in a line
    span = state.doc[rest[0].start : rest[-1].end]
    return " ".join(token.lower_ for token in span)


def _is_broken(piece: Piece) -> bool:
    return piece.kind == "cue" and piece.label.startswith("BROKEN")


def _name(said: _Said, runs: list[Piece]) -> Piece | None:
    """The name nearest to the numbers; where talk was heard, only one that touches them."""
    names = [piece for piece in said.pieces if piece.kind in _NAMES]
    if said.in_talk:
        names = [name for name in names if any(said.beside(name, run) for run in runs)]
    return min(names, key=lambda name: min(_far(run, name) for run in runs), default=None)


def _far(one: Piece, other: Piece) -> int:
    return max(other.start - one.end, one.start - other.end)


def _is_only_named(state: State, said: _Said, runs: list[Piece], name: Piece) -> bool:
    """Whether an item is asked about ("are laps five"), or numbered ("needle two is bent")."""
    if is_asked(state, name):
        return True
    at = said.pieces.index(name)
    after = said.pieces[at + 1 : at + 3]
    if len(after) < 2 or after[0] not in runs or not _strangeness(state, after[1]):
        return False
    if after[1].label:
        return False  # a phrase of the count that stands beside it: "raytec two, we're closing"
    return numbers_of(state.doc, after[0]) != [1] and not plural(state.scene, name)


def _is_of_a_count(state: State, said: _Said, runs: list[Piece], strangers: int) -> bool:
    """Whether numbers without a name were said to a count."""
    cues = [piece for piece in said.pieces if piece.kind == "cue"]
    first = said.pieces[0] in runs
    if said.named and (first or not said.in_talk):
        return True
    if said.sorry and len(said.pieces) == 1:
        return True
    counts = [cue for cue in cues if cue.label.startswith(_COUNTS)]
    if said.in_talk:
        # "kellys three", "on the Mayo, kellys three" of which the name was not understood, or only
        # its last word: "two <talk> sponges"
        alone = all(
            piece.kind in ("talk", "run", "group") or piece.label.startswith(("PLACE", "MEAN firm"))
            for piece in said.pieces
        )
        if alone and said.counting:
            return True
        if _is_taken_out(state, said.pieces) or _is_led_by_a_verb(said.pieces):
            return True
        if said.pieces[-1] in runs and _is_sorry(state, said.pieces[:-1]):
            return True
        if _is_half_of_a_line([piece.kind for piece in said.pieces], said.pieces[-1]):
            return True
        return any(said.beside(cue, run) for cue in counts for run in runs)
    if counts:
        return True
    if any(cue.label.startswith("MEAN") for cue in cues):
        return False
    if strangers:
        # "laps five | wait, four"
        return said.counting and len(said.pieces) == 2 and said.pieces[1] in runs
    telling = any(_TELLING.intersection(words_of(state.doc, piece)) for piece in said.pieces)
    if any(cue.label.startswith(_MOVES) for cue in cues) or telling:
        return True
    return said.counting and all(
        piece.kind == "run" or (piece.kind == "cue" and piece.label.startswith(_PASSED_OVER))
        for piece in said.pieces
    )


def _is_half_of_a_line(kinds: Sequence[str], last: Piece) -> bool:
    """Whether only the name was not understood: "two <talk> to the field", "one <talk> bulb"."""
    ends = last.kind == "part" or (
        last.kind == "cue" and last.label.startswith(("ADD after", "REMOVE after"))
    )
    return ends and kinds[0] == "run" and _is_a_little_talk(kinds[1:-1])


def _is_a_little_talk(kinds: Sequence[str]) -> bool:
    return 1 <= len(kinds) <= 2 and set(kinds) == {"talk"}


def _is_taken_out(state: State, pieces: Sequence[Piece]) -> bool:
    """Whether what was taken, and from where, was not understood: "taking four <talk>"."""
    kinds = [piece.kind for piece in pieces]
    return kinds == ["stranger", "run", "talk"] and words_of(state.doc, pieces[0]) == ["taking"]


def _is_led_by_a_verb(pieces: Sequence[Piece]) -> bool:
    """Whether only the name between a verb and its number was not understood: "adding <talk>
    three".
    """
    verb, *talk, last = pieces
    leads = verb.label in ("ADD verb", "REMOVE verb") and last.kind == "run"
    return leads and _is_a_little_talk([piece.kind for piece in talk])


def _is_sorry(state: State, before: Sequence[Piece]) -> bool:
    """Whether only a short word of talk stands before a number, right after a line about an item.

    "<talk> one" is what is left of "sorry, one".
    """
    if [piece.kind for piece in before] != ["talk"]:
        return False
    talk = state.scene.heard[before[0].start : before[0].end]
    short = talk[-1].end_s - talk[0].start_s <= SORRY_S
    return short and item_before(state, before[0].start) is not None


def _read(
    state: State,
    said: _Said,
    runs: list[Piece],
    run: Piece,
    name: Piece | None,
    elsewhere: str | None = None,
) -> Read:
    start = min(piece.start for piece in (*runs, *([name] if name else [])))
    end = max(piece.end for piece in (*runs, *([name] if name else [])))
    kind, place, start, end = _what(state, said.pieces, start, end)
    span = state.doc[said.pieces[0].start : said.pieces[-1].end]
    heard = " ".join(token.lower_ for token in span)
    questions: list[Question] = []
    if run.kind == "run":
        numbers = numbers_of(state.doc, run)
        quantity = numbers[-1] if numbers else None
    else:
        kind, quantity = EventKind.BREAKAGE, number_in(state, run)
    item = group = None
    if name is not None and name.kind == "item":
        item = name.label
        questions.append(
            doubt(f"“{elsewhere}” is no place that things are counted at; is “{heard}” a count?")
            if elsewhere is not None
            else doubt(
                f"“{heard}” was heard; what it says of {label(state.scene, name)} is not sure."
            )
        )
    elif name is not None and name.kind == "group":
        group = name.label
        sentence = f"“{heard}” was heard: {name_of_group(Group(group))}, but not of which item."
        questions.append(ask(QuestionCode.NO_ITEM, sentence))
    elif kind in MOVED and (before := item_before(state, said.pieces[0].start)) is not None:
        item = before  # "laps five | two more"
        questions.append(no_item_named(state, before))
    else:
        questions.append(ask(QuestionCode.NO_ITEM, f"“{heard}” was heard, but not of what."))
    matter = [at for piece in runs for at in range(piece.start, piece.end)]
    questions += low_confidence(state.scene, matter)
    event = make_event(
        state.scene,
        start,
        end,
        kind=kind,
        item=item,
        group=group,
        quantity=quantity,
        unit="each" if quantity is not None else None,
        spoken=Spoken.TOTAL if quantity is not None else None,
        place=place,
        matter=matter,
        questions=questions,
    )
    return Read(event, False, start)


def _what(
    state: State, pieces: Sequence[Piece], start: int, end: int
) -> tuple[EventKind, str | None, int, int]:
    """The kind and place that the cues of an utterance say, and the words with them."""
    kind, place = EventKind.COUNT, None
    for piece in pieces:
        if piece.kind != "cue":
            continue
        name, _, what = piece.label.partition(" ")
        if name in ("ADD", "MORE"):
            kind = EventKind.ADDITION
        elif name == "REMOVE":
            kind = EventKind.REMOVAL
            bagged = words_of(state.doc, piece)[0].startswith("bag")
            place = WOUND if what == "wound" else OFF_FIELD if bagged else place
        elif name == "PLACE":
            place = what
        else:
            continue
        start, end = min(start, piece.start), max(end, piece.end)
    return kind, place, start, end
