"""The spaCy pipeline: tags the words of the kit, the cues and the runs of number words.

The pipeline is a blank English one with three components of this project. A document is made from
:class:`~countersign.meaning.words.Token` values, which it keeps in ``doc._.heard``; each component
adds spans under its own key: ``kit`` (label ``ITEM``, ``MEDICATION`` or
``PART``, the id in ``span_id``),
``cues`` (label from :data:`~countersign.meaning.cues.RULES`) and ``runs``. Spans do not overlap.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

import spacy
from spacy.language import Language
from spacy.matcher import Matcher, PhraseMatcher
from spacy.tokens import Doc, Span
from spacy.tokens import Token as DocToken
from spacy.util import filter_spans

from countersign.kit.model import Item, Kit, Medication
from countersign.meaning.cues import RULES, patterns
from countersign.meaning.numbers import HOMOPHONES, cardinal, is_number_word
from countersign.meaning.words import BREAK, Token, pieces
from countersign.number_words import ZERO, spell

Doc.set_extension("heard", default=(), force=True)
DocToken.set_extension("number", default=None, force=True)
DocToken.set_extension("unproven", default=False, force=True)
Span.set_extension(
    "confidence",
    getter=lambda span: min(token.confidence for token in span.doc._.heard[span.start : span.end]),
    force=True,
)


class KitWords:
    """Marks the spoken forms of the kit; the longest form wins."""

    def __init__(
        self,
        nlp: Language,
        items: dict[str, list[str]],
        medications: dict[str, list[str]],
        parts: dict[str, list[str]],
    ) -> None:
        """``items``, ``medications`` and ``parts`` give the spoken forms of each id."""
        self.matcher = PhraseMatcher(nlp.vocab, attr="LOWER")
        self.labels: dict[int, tuple[str, str]] = {}
        for label, forms in (("ITEM", items), ("MEDICATION", medications), ("PART", parts)):
            for kit_id, spoken in forms.items():
                key = f"{label} {kit_id}"
                self.labels[nlp.vocab.strings.add(key)] = (label, kit_id)
                docs = []
                for form in spoken:
                    words = [piece for word in form.split() for piece in pieces(word)]
                    if words:
                        docs.append(Doc(nlp.vocab, words=words))
                self.matcher.add(key, docs)

    def __call__(self, doc: Doc) -> Doc:
        """Add the spans ``kit``."""
        found = []
        for key, start, end in self.matcher(doc):
            label, kit_id = self.labels[key]
            found.append(Span(doc, start, end, label=label, span_id=kit_id))
        doc.spans["kit"] = filter_spans(found)
        return doc


class Cues:
    """Marks the phrases of :data:`RULES`; the longest wins, also over a word of the kit."""

    def __init__(self, nlp: Language) -> None:
        """Compile the rules."""
        self.vocab = nlp.vocab
        self.matcher = Matcher(nlp.vocab)
        for label, rules in RULES.items():
            self.matcher.add(label, [patterns(rule) for rule in rules])
        self._found = lru_cache(maxsize=512)(self._match)

    def __call__(self, doc: Doc) -> Doc:
        """Add the spans ``cues`` and take away the words of the kit that they cover."""
        kit = list(doc.spans["kit"])
        # "x-ray sponge count is correct" has no "sponge count" in it
        inside = {at for span in kit for at in range(span.start + 1, span.end)}
        cues = [
            Span(doc, start, end, label=label)
            for label, start, end in self._phrases(doc)
            if start not in inside
        ]
        kept = filter_spans(kit + cues)
        words = {(span.start, span.end, span.label_) for span in kit}
        doc.spans["kit"] = [s for s in kept if (s.start, s.end, s.label_) in words]
        doc.spans["cues"] = [s for s in kept if (s.start, s.end, s.label_) not in words]
        return doc

    def _phrases(self, doc: Doc) -> Iterator[tuple[str, int, int]]:
        """Utterance by utterance: no rule spans a pause, and what is open is looked at often."""
        words = [token.lower_ for token in doc]
        begin = 0
        for at in (*(i for i, word in enumerate(words) if word == BREAK), len(words)):
            for label, start, end in self._found(tuple(words[begin:at])):
                yield label, begin + start, begin + end
            begin = at + 1

    def _match(self, words: tuple[str, ...]) -> tuple[tuple[str, int, int], ...]:
        found = self.matcher(Doc(self.vocab, words=list(words))) if words else ()
        return tuple((self.vocab.strings[key], start, end) for key, start, end in found)


class NumberRuns:
    """Marks unbroken runs of number words that no other span covers."""

    def __init__(self, nlp: Language) -> None:
        """Nothing to prepare."""

    def __call__(self, doc: Doc) -> Doc:
        """Add the spans ``runs`` and set ``token._.number`` to the number word each stands for."""
        taken = {
            i for key in ("kit", "cues") for span in doc.spans[key] for i in range(*_ends(span))
        }
        words = [token.lower_ for token in doc]
        for i, word in enumerate(words):
            if i not in taken and is_number_word(word):
                doc[i]._.number = word
        for i, word in enumerate(words):
            if i in taken or doc[i]._.number is not None:
                continue
            before = doc[i - 1]._.number if i else None
            after = doc[i + 1]._.number if i + 1 < len(doc) else None
            joins = word == "and" and before == "hundred" and after is not None
            opens = word == "a" and after in ("hundred", "dozen")
            if joins or opens:
                doc[i]._.number = word
        self._homophones(doc, words, taken)
        _nothing(doc, words)
        runs, start = [], None
        for i in range(len(doc) + 1):
            inside = i < len(doc) and doc[i]._.number is not None
            if inside and start is None:
                start = i
            elif not inside and start is not None:
                runs.append(Span(doc, start, i, label="RUN"))
                start = None
        doc.spans["runs"] = runs
        return doc

    def _homophones(self, doc: Doc, words: list[str], taken: set[int]) -> None:
        """Take "to", "for", "ate", "won" for numbers where the count leaves no other sense.

        Between the number before and the number after ("one to three") it is proven. At the end of
        a sequence ("two three for"), or alone after an item ("laps for"), it stays unproven.
        """
        items = {span.end: span for span in doc.spans["kit"] if span.label_ == "ITEM"}
        for i, word in enumerate(words):
            value = HOMOPHONES.get(word)
            if value is None or i in taken or doc[i]._.number is not None:
                continue
            before = doc[i - 1]._.number if i else None
            after = doc[i + 1]._.number if i + 1 < len(doc) else None
            follows = before is not None and cardinal(before) == value - 1
            leads = after is not None and cardinal(after) == value + 1
            following = doc[i + 2]._.number if i + 2 < len(doc) else None
            ends = i + 1 == len(doc) or words[i + 1] == BREAK
            two_before = doc[i - 2]._.number if i > 1 else None
            if (follows and leads) or (
                value == 1 and leads and following is not None and cardinal(following) == 3
            ):
                pass
            elif (follows and ends and two_before is not None) or (
                ends and i in items and items[i].start in (0, _utterance_start(words, i))
            ):
                doc[i]._.unproven = True
            else:
                continue
            doc[i]._.number = spell(value)


_NO = ("no",)
_NONE = ("none", "nil")
_LEFT = ("left",)


def _nothing(doc: Doc, words: list[str]) -> None:
    """Take "no laps in the wound", "laps in the wound none", "no laps left" for zero.

    The utterance has to end there ("no needles were lost" is talk). Without a place, "no" may as
    well correct what was said before, or ask for more, so that it stays unproven.
    """
    items = {span.start: span for span in doc.spans["kit"] if span.label_ == "ITEM"}
    places = {span.start: span for span in doc.spans["cues"] if span.label_.startswith("PLACE")}
    closed = {span.end for span in (*items.values(), *places.values())}
    for at, word in enumerate(words):
        if word in _NONE and at in closed and _ends_at(words, at + 1):
            doc[at]._.number = ZERO
        if (
            word not in _NO
            or at + 1 not in items
            or _utterance_start(words, at) != _begin(words, at)
        ):
            continue
        item = items[at + 1]
        place = places.get(item.end)
        end = place.end if place is not None else item.end
        left = end < len(words) and words[end] in _LEFT
        plural = words[item.end - 1].endswith("s")
        if not plural or not _ends_at(words, end + left):
            continue
        doc[at]._.number = ZERO
        doc[at]._.unproven = place is None
        doc.spans["cues"] = [span for span in doc.spans["cues"] if span.start != at]


def _begin(words: Sequence[str], position: int) -> int:
    """Where the words before a position begin that may stand before a count."""
    while position > 0 and words[position - 1] in _BEFORE_COUNT:
        position -= 1
    return position


_BEFORE_COUNT = frozenset({"there", "are", "i", "we", "have", "and", "okay", "got"})


def _ends_at(words: Sequence[str], position: int) -> bool:
    return position >= len(words) or words[position] == BREAK


def _utterance_start(words: Sequence[str], position: int) -> int:
    for i in range(position - 1, -1, -1):
        if words[i] == BREAK:
            return i + 1
    return 0


def _ends(span: Span) -> tuple[int, int]:
    return span.start, span.end


@Language.factory("countersign_kit", assigns=["doc.spans"])
def make_kit_words(
    nlp: Language,
    name: str,
    items: dict[str, list[str]],
    medications: dict[str, list[str]],
    parts: dict[str, list[str]],
) -> KitWords:
    """The component that marks the words of the kit."""
    return KitWords(nlp, items, medications, parts)


@Language.factory("countersign_cues", requires=["doc.spans"], assigns=["doc.spans"])
def make_cues(nlp: Language, name: str) -> Cues:
    """The component that marks the cues."""
    return Cues(nlp)


@Language.factory("countersign_numbers", requires=["doc.spans"], assigns=["doc.spans"])
def make_number_runs(nlp: Language, name: str) -> NumberRuns:
    """The component that marks runs of number words."""
    return NumberRuns(nlp)


def part_forms(items: Iterable[Item]) -> dict[str, list[str]]:
    """How the parts of items are said, singular and plural, by part.

    A part that is also the name of an item is left out: the item is meant.
    """
    taken = {form for item in items for form in item.spoken}
    return {
        part: [form for form in (part, f"{part}s") if form not in taken]
        for item in items
        for part in item.parts
        if part not in taken
    }


@lru_cache(maxsize=16)
def _pipeline(items: tuple[Item, ...], medications: tuple[Medication, ...]) -> Language:
    nlp = spacy.blank("en")
    forms = {
        "items": {item.id: list(item.spoken) for item in items},
        "medications": {med.id: list(med.spoken) for med in medications},
        "parts": part_forms(items),
    }
    nlp.add_pipe("countersign_kit", config=forms)
    nlp.add_pipe("countersign_cues")
    nlp.add_pipe("countersign_numbers")
    return nlp


def pipeline(kit: Kit) -> Language:
    """The pipeline for a kit, made once for equal items and medications."""
    return _pipeline(kit.items, kit.medications)


def read_tokens(nlp: Language, tokens: Iterable[Token]) -> Doc:
    """The document of some tokens, with all spans marked."""
    heard = tuple(tokens)
    doc = Doc(nlp.vocab, words=[token.text for token in heard])
    doc._.heard = heard
    for _, component in nlp.pipeline:
        doc = component(doc)
    return doc
