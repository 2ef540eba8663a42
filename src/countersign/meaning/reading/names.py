"""Names beside talk: was the name longer, or named in passing?"""

from functools import lru_cache
from itertools import combinations

from countersign.hearing.utterance import TALK
from countersign.kit.model import Item
from countersign.kit.phone_distance import nearness
from countersign.kit.pronounce import readings_of
from countersign.meaning.cues import FILLERS
from countersign.meaning.event import Question, QuestionCode
from countersign.meaning.numbers import is_number_word
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.scene import Scene, is_seconded, label
from countersign.meaning.words import BREAK, UNKNOWN, pieces
from countersign.number_words import spell

TOUCHING_S = 0.1
"""Talk this soon after a name may be a part of it."""

LEADING_S = 0.6
"""Talk this soon before the last word of a longer name may be the words before it: the talk that a
recogniser makes of half a name ends early ("<talk> blades" for "cautery blades", 0.15 s apart)."""

SHORT = 5
"""Of longer names enough is left, where one sound is taken for another, to tell them apart."""

MOSTLY_TALK = 0.5
"""A count in an utterance of which a larger part (by time) is talk may be part of that talk."""


@lru_cache(maxsize=16)
def _longer(items: tuple[Item, ...]) -> tuple[dict[str, str], dict[str, str]]:
    """For each form, an item whose name goes on before it ("cautery blade"), or after it."""
    forms = {
        " ".join(piece for word in form.split() for piece in pieces(word)): item
        for item in items
        for form in item.spoken
    }
    before: dict[str, str] = {}
    after: dict[str, str] = {}
    for form, item in forms.items():
        for other, owner in forms.items():
            if owner.id == item.id:
                continue
            if other.endswith(f" {form}"):
                before[form] = owner.label
            if other.startswith(f"{form} "):
                after[form] = owner.label
    return before, after


def sound_alike(scene: Scene, item: Piece) -> list[Question]:
    """A question where a short name was heard that sounds like that of another item: "mesh" for
    "metz". None of written words, nor where the open decoding is sure of the name."""
    within = range(item.start, item.end)
    if not scene.heard[item.start].is_sound:
        return []
    other, most_s = _SURELY_HEARD_FOR.get(" ".join(words_of(scene.doc, item)), ("", 0.0))
    short = scene.heard[item.end - 1].end_s - scene.heard[item.start].start_s <= most_s
    if short and any(other in each.spoken for each in scene.kit.items):
        return [doubt(f"Heard {label(scene, item)}, which sounds like “{other}”.")]
    if is_seconded(scene, within):
        return []
    own = tuple((word, *said) for word, said in scene.kit.pronunciations.items())
    alike = _alike(scene.kit.items, own).get(" ".join(words_of(scene.doc, item)))
    if alike is None:
        return []
    return [doubt(f"Heard {label(scene, item)}, which sounds like “{alike}”.")]


_SURELY_HEARD_FOR = {"aseptos": ("dissectors", 0.52)}
"""Names that the bundled model hears for another in both decodings, and how long, in seconds, they
last at most where they do: three of 843 "dissectors", and ten that were less sure."""


@lru_cache(maxsize=16)
def _alike(items: tuple[Item, ...], own: tuple[tuple[str, ...], ...]) -> dict[str, str]:
    """For each form of one word, a form of one word of another item that sounds like it."""
    pronunciations = {word: said for word, *said in own}
    forms = [
        (form, item.id, readings_of(form, pronunciations))
        for item in items
        for form in item.spoken
        if " " not in form and len(form) <= SHORT
    ]
    found: dict[str, str] = {}
    for (one, owner, said), (other, another, heard) in combinations(forms, 2):
        if owner != another and nearness(said, heard) is not None:
            found.setdefault(one, other)
            found.setdefault(other, one)
    return found


def several_of_one(scene: Scene, item: Piece, quantity: int) -> list[Question]:
    """A question where "six" follows a name in the singular: "adson six" is what "adsons eight" is
    easily heard as.

    None where the open decoding is sure of both, nor of a name that ends in an s of its own.
    Before other numbers, "seven" among them, and after a number ("six mosquito clamp") the lost s
    says nothing of how many there are.
    """
    follows = scene.heard[item.end].text if item.end < len(scene.heard) else ""
    form = " ".join(words_of(scene.doc, item))
    if not follows.startswith("six") or form.endswith("s"):
        return []
    if is_seconded(scene, range(item.start, item.end + 1)):
        return []
    plurals = {f"{form}s", f"{form}es", f"{form[:-1]}ies"}
    forms = {
        " ".join(piece for word in spoken.split() for piece in pieces(word))
        for spoken in scene.kit.item(item.label).spoken
    }
    if quantity < 2 or not plurals & forms:
        return []
    return [doubt(f"Heard “{form}”, which is one, and {spell(quantity)}.")]


def cut_name(scene: Scene, item: Piece) -> list[Question]:
    """A question where talk touches a name that is the end or the beginning of a longer one."""
    form = " ".join(words_of(scene.doc, item))
    before, after = _longer(scene.kit.items)
    longer = None
    # "<talk> count needle" for "hypo needle"
    filler = item.start > 1 and scene.heard[item.start - 1].text in FILLERS
    first = item.start - filler
    if _talk_touches(scene, first - 1, first, LEADING_S):
        longer = before.get(form)
    if longer is None and _talk_touches(scene, item.end, item.end - 1, TOUCHING_S):
        longer = after.get(form)
    if longer is None:
        return []
    return [doubt(f"Heard {label(scene, item)}; it could be {longer}.")]


def after_another_name(scene: Scene, item: Piece) -> list[Question]:
    """A question where only talk stands between a name and another one: "hypo <talk> metz one two"
    may be one name of which half was not understood.
    """
    at = item.start
    while at > 0 and scene.heard[at - 1].text in (TALK, UNKNOWN):
        at -= 1
    if at == item.start:
        return []
    others = [
        span.id_
        for span in scene.doc.spans["kit"]
        if span.label_ == "ITEM" and span.end == at and span.id_ != item.label
    ]
    return [
        doubt(f"Heard {label(scene, item)}; before it {scene.kit.item(other).label} was named.")
        for other in others
    ]


def before_a_bare_name(scene: Scene, end: int, last: str) -> list[Question]:
    """A question where the numbers of a count run into another name that has no number: "one two
    raytec okay" was "one two three".

    ``end`` is behind the number ``last`` in words. None of written words.
    """
    if not scene.heard[end - 1].is_sound:
        return []
    names = [s for s in scene.doc.spans["kit"] if s.label_ == "ITEM" and s.start == end]
    if not names:
        return []
    name = max(names, key=len)
    follows = [token.text for token in scene.heard[name.end : name.end + 2] if token.text != BREAK]
    if any(map(is_number_word, follows[:1])):
        return []
    sentence = f"{last} was followed at once by “{name.text}”; a number may be missing."
    return [ask(QuestionCode.SEQUENCE_CUT_OFF, sentence)]


def _talk_touches(scene: Scene, talk: int, word: int, within_s: float) -> bool:
    if not 0 <= talk < len(scene.heard) or scene.heard[talk].text not in (TALK, UNKNOWN):
        return False
    first, second = sorted((talk, word))
    return scene.heard[second].start_s - scene.heard[first].end_s < within_s


def amid_much_talk(scene: Scene, clause: Clause) -> list[Question]:
    """A question where the utterance of an item is mostly talk."""
    if clause.item is None:
        return []
    heard = scene.heard
    start, end = clause.item.start, clause.item.end
    while start > 0 and heard[start - 1].text != BREAK:
        start -= 1
    while end < len(heard) and heard[end].text != BREAK:
        end += 1
    whole = heard[end - 1].end_s - heard[start].start_s
    talk = sum(t.end_s - t.start_s for t in heard[start:end] if t.text in (TALK, UNKNOWN))
    if whole <= 0 or talk / whole <= MOSTLY_TALK:
        return []
    return [doubt(f"{label(scene, clause.item)} was heard amid much other talk.")]
