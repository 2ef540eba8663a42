"""Words of counting of which the rest was heard as other talk: "<talk> are correct", "i have <talk>
cautery blade". Something of the count was said there, so that a line asks what.

While people count they say little else between one line and the next, and who speaks of a thing
goes on after its name ("where did that blade go"). So a few words of talk beside a phrase that ends
the utterance ask while a count is going on, and a sentence with talk on both sides of a name does
not. The verb of a removal, or of an addition with a pack, asks at any time: "handed off <talk>".
"""

from dataclasses import replace

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, QuestionCode
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.amid import utterance_of
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.count_place import LAID_OUT
from countersign.meaning.reading.groups import name_of_group
from countersign.meaning.reading.state import State, cue_at, rewrite_utterances
from countersign.meaning.reading.talk import hear_talk

MOST_TALK = 3
"""More words of talk than this are a sentence of their own."""

_PLACES = ("PLACE field", *(f"PLACE {place}" for place in LAID_OUT))
_COUNTS = (("count",), ("counts",))
_LEADS = (("i", "have"), ("we", "have"))
_AND = (("and",),)


def settle_half_heard(state: State) -> None:
    """Put every utterance of an announced count of which only the head or the end was understood
    into one piece.
    """
    rewrite_utterances(state, _half_heard)


def _half_heard(state: State, start: int, end: int, counting: bool) -> list[Piece]:
    label = _moved(state, start, end) or _off(state, start, end)
    label = label or (_what(state, start, end) if counting else None)
    said = state.pieces[start:end]
    return said if label is None else [Piece("cue", f"PARTLY {label}", said[0].start, said[-1].end)]


def _moved(state: State, start: int, end: int) -> str | None:
    """What an utterance is that begins with the verb of a removal and goes on in a little talk
    ("handed off <talk>"), or with that of an addition, a pack, and talk ("opening a pack of <talk>
    umbilical tapes"). A request ("take off …") is mostly talk to somebody.
    """
    said = state.pieces[start:end]
    if not said or not words_of(state.doc, said[0])[0].endswith(("ing", "ed")):
        return None
    labels, kinds = [piece.label for piece in said], [piece.kind for piece in said]
    if labels[0] == "REMOVE verb":
        kind, rest = "removal", said[1:]
    elif labels[0] == "ADD verb" and cue_at(state, start + 1, "PACK") and kinds[2:3] == ["talk"]:
        item = labels[-1] if kinds[-1] == "item" else ""
        kind, rest = f"addition {item}", said[2:-1] if item else said[2:]
    else:
        return None
    # a remark begins its utterance; behind a verb the word is talk that sounds like it
    talk = all(piece.kind == "talk" or piece.label == "NOTE" for piece in rest)
    return kind if talk and 1 <= len(rest) <= MOST_TALK else None


def _off(state: State, start: int, end: int) -> str | None:
    """The verdict of which "count" was not understood: "the sharps <talk> is off". A group is not
    taken off the field.
    """
    said = state.pieces[start:end]
    if len(said) < 2 or said[0].kind != "group" or said[-1].label != "REMOVE after":
        return None
    between = {piece.kind for piece in said[1:-1]}
    off = _words(state, said[-1]) == ("off",)
    if not off or len(said) - 2 > MOST_TALK or not between <= {"talk", "stranger"}:
        return None
    return f"verdict not_correct {said[0].label}"


def _what(state: State, start: int, end: int) -> str | None:
    """What an utterance of a little talk and something of the count is."""
    said = state.pieces[start:end]
    rest = [piece for piece in said if piece.kind != "talk"]
    talk = len(said) - len(rest)
    if not 1 <= talk <= MOST_TALK:
        return None
    ends = bool(rest) and said[-1] is rest[-1]
    kinds = [piece.kind for piece in rest]
    if not rest:
        before, after = _fillers(state, said)
        leads = before in _LEADS or (before in _AND and talk == 1)
        return "lead" if leads and not after else None
    label = rest[0].label
    if kinds == ["cue"] and label in _PLACES and (ends or said[0] is rest[0]):
        # "<talk> on the mayo stand", "on the field <talk>"
        return f"place {label.partition(' ')[2]}"
    if not ends:
        return None
    if kinds == ["cue"] and label.startswith("BARE ") and "correct" in _words(state, rest[0]):
        return f"verdict {label.partition(' ')[2]}"
    if kinds == ["group", "cue"] and said[0] is rest[0] and talk == 1:
        what = rest[1].label
        if what.startswith("BARE ") and "correct" in _words(state, rest[1]):
            # "sponge counts <talk> are correct"
            return f"verdict {what.partition(' ')[2]} {label}"
    if kinds == ["group"] and _fillers(state, said)[1] in _COUNTS:
        return f"phase {label}"
    if kinds == ["group", "cue"] and rest[1].label in _PLACES:
        return f"group {label} {rest[1].label.partition(' ')[2]}"
    return None


def _words(state: State, piece: Piece) -> tuple[str, ...]:
    return tuple(words_of(state.doc, piece))


def _fillers(state: State, said: list[Piece]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The words of an utterance that are no pieces, before the first piece and after the last."""
    begin, over = _whole(state, said[0], said[-1])
    before = tuple(token.lower_ for token in state.doc[begin : said[0].start])
    return before, tuple(token.lower_ for token in state.doc[said[-1].end : over])


def _whole(state: State, first: Piece, last: Piece) -> tuple[int, int]:
    """The tokens of an utterance from its first piece to its last, with those around them."""
    at = state.pieces.index(first)
    begin = state.pieces[at - 1].end if at else 0
    at = state.pieces.index(last) + 1
    return begin, state.pieces[at].start if at < len(state.pieces) else len(state.doc)


def on_half_heard(state: State, index: int) -> int:
    """A line that asks; talk where no count is going on, unless something was moved."""
    piece = state.pieces[index]
    _, what, *names = piece.label.split()
    counting = state.scene.phase is not None if what == "phase" else state.scene.counting
    if not counting and what not in ("addition", "removal"):
        hear_talk(state, replace(piece, kind="talk"))
        return index + 1
    start, end = _whole(state, piece, piece)
    heard = " ".join(token.lower_ for token in state.doc[start:end])
    item = state.last_item
    close(state)
    values: dict[str, object] = {"kind": EventKind.COUNT}
    if what == "removal":
        values = {"kind": EventKind.REMOVAL}
        question = ask(QuestionCode.NO_ITEM, f"“{heard}” was heard, but not what was removed.")
    elif what == "addition":
        values = {"kind": EventKind.ADDITION, "item": names[0] if names else None}
        question = ask(QuestionCode.NO_QUANTITY, f"“{heard}” was heard, but not how many.")
    elif what == "verdict":
        values = {"kind": EventKind.VERDICT, "verdict": names[0]}
        question = ask(QuestionCode.NO_ITEM, f"“{heard}” was heard, but not of what.")
        if len(names) > 1:
            values["group"] = names[1]
            name = name_of_group(Group(names[1]))
            question = doubt(f"“{heard}” was heard; is that the verdict on the {name}?")
        elif item is not None:
            group = state.kit.item(item).group
            values["group"] = group.value
            sentence = f"“{heard}” was heard, but not of what; {name_of_group(group)} were taken."
            question = doubt(sentence)
    elif what == "phase":
        values = {"kind": EventKind.PHASE, "phase": state.scene.phase, "group": names[0]}
        name = name_of_group(Group(names[0]))
        question = doubt(f"“{heard}” was heard: a count of {name}, but not which.")
    else:
        sentence = f"“{heard}” was heard in the count, but not of what, or not how many."
        question = ask(QuestionCode.NO_ITEM, sentence)
        values["group"] = names[0] if what == "group" else None
        values["place"] = names[-1] if what in ("group", "place") else None
    emit(state, start, end, questions=[question], **values)
    return index + 1


def is_half_heard(state: State, index: int) -> bool:
    """Whether an item without a number and a little talk are an utterance of the count: "<talk>
    safety pin", "<talk> blades on the field", "<talk> on the field blades", "lap pads <talk>".

    Talk on both sides is a sentence about the item.
    """
    before, after = utterance_of(state, index, index)
    if len(before) == index and state.first_before is not None:
        return False  # what stood before it is no longer kept, and was looked at
    if before and len(after) == 1 and cue_at(state, index + 1, *_PLACES):
        after = []
    if len(before) > 1 and not after and cue_at(state, index - 1, *_PLACES):
        before = before[:-1]
    counting = state.scene.counting
    if before and after:
        return False
    if before and state.last_item == state.pieces[index].label:
        counting = True
    talk = before or after
    return counting and len(talk) <= MOST_TALK and {piece.kind for piece in talk} == {"talk"}
