"""Turns a tagged document into events: the one place where spans become meaning.

:func:`read` is pure. It is used for what was heard and, unchanged, for every alternative reading of
the same sound.
"""

from dataclasses import dataclass, replace
from datetime import date

from spacy.tokens import Doc

from countersign.kit.model import Group, Kit
from countersign.meaning import medication as meds
from countersign.meaning.clause import (
    SHORTEST_SEQUENCE,
    Clause,
    Scene,
    clause_numbers,
    count_event,
    follows_at_once,
    label,
    low_confidence,
    make_event,
    plural,
)
from countersign.meaning.cues import GROUP_WORDS
from countersign.meaning.doses import joined, medication_event, reach_back
from countersign.meaning.event import Event, EventKind, Phase, Question, QuestionCode, Verdict
from countersign.meaning.numbers import spell
from countersign.meaning.pieces import Piece, numbers_of, pieces_of, words_of
from countersign.meaning.sequence import ask, said


@dataclass(frozen=True)
class Carried:
    """What a clause that stays open has from words that are not kept with it.

    The kind from a verb before another clause, the ``talk`` or ``stranger`` right before it,
    whether its item came with a phase, and questions that the words before it raised.
    """

    verb: EventKind | None = None
    talk: str | None = None
    soft: bool = False
    questions: tuple[Question, ...] = ()


@dataclass(frozen=True)
class Read:
    """An event and whether more speech may still belong to it.

    ``carry_from`` is the position of the first token to keep if so. ``event`` is ``None`` for what
    is no event yet but may become one.
    """

    event: Event | None
    open: bool
    carry_from: int
    carried: Carried = Carried()


@dataclass(frozen=True)
class Before:
    """What was said before the document: the count under way and the item counted last."""

    phase: Phase | None = None
    item: str | None = None
    carried: Carried = Carried()


@dataclass
class _Verb:
    """A verb that the next clauses stand under, where it begins, and what stood before it."""

    kind: EventKind
    start: int
    before: str | None = None
    used: bool = False


class _Reader:
    """One pass over one document. Made by :func:`read`; holds nothing afterwards."""

    def __init__(self, doc: Doc, kit: Kit, before: Before, today: date | None) -> None:
        self.doc = doc
        self.kit = kit
        self.scene = Scene(doc, kit, before.phase, today)
        self.pieces = pieces_of(doc)
        self.done: list[Read] = []
        self.clause: Clause | None = None
        self.carried: Carried | None = before.carried
        verb = before.carried.verb
        self.verb = _Verb(verb, 0) if verb is not None else None
        self.doubt: Question | None = None  # for the clause that begins next
        self.suffix_from = 0  # events from here on take a verb that comes after them
        self.last_item = before.item

    # --- looking around -----------------------------------------------------------------------

    def at(self, index: int) -> Piece | None:
        return self.pieces[index] if 0 <= index < len(self.pieces) else None

    def kind_at(self, index: int) -> str:
        piece = self.at(index)
        return piece.kind if piece is not None else "end"

    def before(self, index: int) -> str | None:
        """What stands directly before a piece in the same utterance, if it is talk."""
        kind = self.kind_at(index - 1)
        return kind if kind in ("talk", "stranger") else None

    # --- the pass -----------------------------------------------------------------------------

    def run(self) -> list[Read]:
        index = 0
        while index < len(self.pieces):
            index = self.step(index)
        self.close(still_open=True)
        return self.done

    def step(self, index: int) -> int:
        piece = self.pieces[index]
        match piece.kind:
            case "run":
                return self.on_number(index)
            case "item":
                return self.on_item(index)
            case "cue":
                return self.on_cue(index)
            case "medication":
                return self.on_medication(index, EventKind.RECEIPT, index)
            case "pause":
                if self.kind_at(index - 1) != "cue":
                    self.verb = None
                self.suffix_from = len(self.done)
                if self.clause is not None:
                    self.clause.entries.append(piece)
                    self.clause.after = self.clause.after or "pause"
            case "talk" | "stranger":
                self.on_talk(piece)
            case "group":
                if self.kind_at(index + 1) == "cue" and self.pieces[index + 1].label.startswith(
                    "BARE"
                ):
                    self.close()
                    self.verdict(self.pieces[index + 1], index, Group(piece.label))
                    return index + 2
                self.on_talk(piece)
        return index + 1

    def on_talk(self, piece: Piece) -> None:
        self.verb = None
        if self.clause is not None:
            if self.clause.after is None and self.clause.end:
                self.clause.after = piece.kind
                self.clause.cut_off = piece.kind == "talk" and follows_at_once(
                    self.scene, self.clause, piece
                )
            self.clause.talked = True
            self.clause.entries.append(Piece("pause", "", piece.start, piece.end))

    # --- numbers and items --------------------------------------------------------------------

    def new_clause(self, index: int) -> Clause:
        piece = self.pieces[index]
        clause = Clause(start=piece.start, carry=piece.start, before=self.before(index))
        if self.verb is not None:
            clause.kind, clause.verb = self.verb.kind, True
            clause.before = self.verb.before
            if self.verb.used:
                clause.carry, clause.outside = piece.start, self.verb.kind
            else:
                clause.start = self.verb.start
                clause.carry = self.verb.start
            self.verb.used = True
        if self.carried is not None:
            clause.before = self.carried.talk or clause.before
            clause.soft = self.carried.soft
            clause.questions += self.carried.questions
            self.carried = None
        self.clause = clause
        return clause

    def last_number(self) -> int | None:
        numbers = clause_numbers(self.scene, self.clause) if self.clause is not None else []
        return numbers[-1][0] if numbers else None

    def on_number(self, index: int) -> int:
        piece = self.pieces[index]
        following = index + 1
        packed = self.pack_at(index)
        if packed is not None:
            piece, following = packed
        next_kind = self.kind_at(following)
        clause = self.clause
        if clause is not None and clause.kind is EventKind.CORRECTION and not clause.has_numbers:
            clause.entries.append(piece)
            clause.end = piece.end
            return following
        if self.in_passing(index, piece, following):
            self.pieces[index] = replace(self.pieces[index], kind="stranger")
            self.on_talk(piece)
            return following
        # "ten more laps": the word between makes it an addition
        more = next_kind == "cue" and self.pieces[following].label == "MORE"
        if more and self.kind_at(following + 1) in ("item", "run"):
            self.close()
            clause = self.new_clause(index)
            clause.kind, clause.verb = EventKind.ADDITION, True
            clause.entries.append(piece)
            clause.end = piece.end
            return following + 1
        if clause is not None and clause.displaced is not None:
            clause = self.settle(clause, piece)
        if clause is not None and self.starts_anew(clause, index, piece, following):
            self.close()
            clause = None
        if clause is None:
            clause = self.new_clause(index)
            if self.doubt is not None:
                clause.questions.append(self.doubt)
                self.doubt = None
        if clause.total_next:
            piece = replace(piece, label="total") if piece.kind == "run" else piece
            clause.total_next = False
        named_in_talk = "stranger" in (clause.before, clause.after) and not clause.verb
        if clause.item is not None and not clause.has_numbers and named_in_talk:
            clause.questions.append(
                ask(
                    QuestionCode.OTHER_READING,
                    f"{label(self.scene, clause.item)} was named in talk; the numbers may be of "
                    "something else.",
                )
            )
        clause.entries.append(piece)
        clause.after, clause.cut_off = None, False
        clause.end = piece.end
        return following

    def stranger_after(self, index: int) -> bool:
        """Whether talk follows, or a "more" that adds nothing."""
        piece = self.at(index)
        if piece is not None and piece.label == "MORE":
            return self.kind_at(index + 1) not in ("item", "run")
        return self.kind_at(index) == "stranger"

    def in_passing(self, index: int, piece: Piece, following: int) -> bool:
        """Whether a number in the middle of a count is part of talk and not of the count."""
        clause = self.clause
        if clause is None or clause.total_next or piece.kind != "run":
            return False
        verb = self.verb is not None and self.verb.before == "stranger"
        before = self.before(index) == "stranger" or verb
        then = following + (self.kind_at(following) == "item")
        after = self.stranger_after(then)
        straight = self.kind_at(index - 1) == "item" and not clause.has_numbers
        if not (before or after) or (straight and not before):
            return False
        last = self.last_number()
        numbers = numbers_of(self.doc, piece, last)
        if numbers[:1] == [1] and len(numbers) >= SHORTEST_SEQUENCE:
            return len(numbers) == SHORTEST_SEQUENCE
        if last is None or numbers[:1] != [last + 1] or then != following:
            return True
        if len(numbers) > 1:
            return False
        if before and after:
            return True
        clause.questions.append(
            ask(
                QuestionCode.OTHER_READING,
                f"{said(numbers[0])} was heard amid other talk; it may not belong to the count.",
            )
        )
        return False

    def settle(self, clause: Clause, piece: Piece) -> Clause:
        """Decide whether an item ended the count before it or was only named meanwhile."""
        earlier = clause.displaced
        clause.displaced = None
        if earlier is None or clause.item is None:
            return clause
        counted = [value for value, _, _, _ in clause_numbers(self.scene, earlier)]
        last = counted[-1] if counted else None
        numbers = numbers_of(self.doc, piece, last) if piece.kind == "run" else []
        # after a lone number a new item's own number often is one more: "kellys one, mixters two"
        counting = len(counted) > 1 or (len(counted) == 1 and not plural(self.scene, clause.item))
        if earlier.item is not None and earlier.item.label == clause.item.label:
            if last is not None and numbers[:1] == [last + 1]:
                self.clause = earlier  # said again in the middle of its own count
                return earlier
            self.finish(earlier)
            return clause
        goes_on = counting and last is not None and numbers[:1] == [last + 1]
        doubt = ask(
            QuestionCode.OTHER_READING,
            f"{label(self.scene, clause.item)} was named while something else was counted up to "
            f"{spell(last or 0)}, and the numbers went on.",
        )
        if goes_on and len(numbers) > 1 and len(counted) > 1:
            earlier.questions.append(doubt)
            earlier.entries.append(Piece("pause", "", piece.start, piece.start))
            earlier.talked = False
            self.clause = earlier
            return earlier
        if goes_on:
            earlier.questions.append(doubt)
            clause.questions.append(doubt)
        self.finish(earlier)
        return clause

    def starts_anew(self, clause: Clause, index: int, piece: Piece, following: int) -> bool:
        """Whether a number belongs to a new clause and not to the open one."""
        if clause.total_next:
            return False
        last = self.last_number()
        first = (numbers_of(self.doc, piece, last) or [0])[0] if piece.kind == "run" else 0
        continues = last is not None and first == last + 1
        length = len(numbers_of(self.doc, piece))
        next_item = self.kind_at(following) == "item"
        item_counts_on = next_item and self.kind_at(following + 1) == "run"
        paused = self.kind_at(index - 1) == "pause"
        if clause.talked:
            if continues:
                return False
            if clause.item is not None and not clause.has_numbers:
                if first == 1 and length >= SHORTEST_SEQUENCE and not next_item:
                    between = f"between {label(self.scene, clause.item)} and its numbers"
                    clause.questions.append(
                        ask(QuestionCode.OTHER_READING, f"Talk was heard {between}.")
                    )
                    return False
                clause.tried = True
            elif clause.has_numbers and first == 1 and length >= SHORTEST_SEQUENCE:
                return next_item  # started again after an interruption
            return True
        if clause.item is None:
            return False
        if clause.number_first:
            return next_item
        if not clause.has_numbers:
            return next_item and paused and not item_counts_on
        if not (next_item and paused) or item_counts_on:
            return False
        if length == 1 and not (continues and len(clause_numbers(self.scene, clause)) > 1):
            return True
        if continues and length == 1:
            # "… six seven | eight laps": one more of the first, or eight of the second
            doubt = ask(
                QuestionCode.OTHER_READING,
                f"{said(first)} may belong to the item before it or after it.",
            )
            clause.questions.append(doubt)
            self.doubt = doubt
            return True
        return not continues

    def pack_at(self, index: int) -> tuple[Piece, int] | None:
        """A pack at a number or at the word itself: the piece that holds its quantity."""
        first = self.pieces[index]
        many = first if first.kind == "run" else None
        at = index + 1 if many is not None else index
        cue = self.at(at)
        if cue is None or cue.kind != "cue" or not cue.label.startswith(("PACK", "PAIR")):
            return None
        if cue.start != (many.end if many else cue.start):
            return None
        counts = numbers_of(self.doc, many) if many is not None else [1]
        count = counts[-1] if counts else 1
        if cue.label == "PAIR":
            return Piece("pack", f"pair {count * 2}", first.start, cue.end), at + 1
        size_piece = self.at(at + 1)
        if size_piece is not None and size_piece.kind == "run" and size_piece.start <= cue.end + 1:
            sizes = numbers_of(self.doc, size_piece)
            if len(sizes) == 1:
                label = f"pack {count * sizes[0]}"
                return Piece("pack", label, first.start, size_piece.end), at + 2
        if cue.label == "PACK one" and count > 1:
            return Piece("pack", f"sized {count}", first.start, cue.end), at + 1
        return Piece("pack", f"unsized {count}", first.start, cue.end), at + 1

    def on_item(self, index: int) -> int:
        piece = self.pieces[index]
        clause = self.clause
        nxt = self.at(index + 1)
        if nxt is not None and nxt.kind == "cue":
            is_bare = nxt.label.startswith("BARE")
            is_count = nxt.label.startswith("VERDICT") and nxt.label != "VERDICT recount"
            loose = clause is None or clause.item is not None or not clause.has_numbers
            if (is_bare or is_count) and self.asked(piece):
                self.close()
                return index + 2
            if (is_bare or is_count) and loose:
                self.close()
                group = self.kit.item(piece.label).group
                self.verdict(nxt, index, group, item=piece.label)
                return index + 2
        if self.named_in_passing(index):
            self.on_talk(piece)
            nxt = self.at(index + 1)
            if nxt is not None and nxt.kind == "run":
                self.on_talk(nxt)
                return index + 2
            return index + 1
        # over a pause, only a count that was just counted out belongs to the item after it
        apart = self.kind_at(index - 1) == "pause" and (
            self.kind_at(index + 1) == "run"
            or clause is None
            or clause.before is not None
            or len(clause_numbers(self.scene, clause)) < SHORTEST_SEQUENCE
        )
        # "one two | adding laps three": after a pause, a verb begins something else
        verb = self.at(index - 1)
        if verb is not None and verb.label in ("ADD verb", "REMOVE verb"):
            apart = apart or self.kind_at(index - 2) == "pause"
        if (
            clause is not None
            and clause.item is None
            and not clause.talked
            and not apart
            and (clause.has_numbers or clause.kind is EventKind.CORRECTION)
        ):
            clause.item = piece
            clause.number_first = clause.has_numbers
            clause.after = None
            if clause.number_first and self.kind_at(index - 1) == "pause":
                clause.questions.append(
                    ask(
                        QuestionCode.OTHER_READING,
                        f"{label(self.scene, piece)} was named only after the numbers and a pause.",
                    )
                )
        else:
            if (
                clause is not None
                and clause.item is not None
                and clause.item.label == piece.label
                and not clause.has_numbers
            ):
                clause.item = piece  # the item was only said again
                clause.talked = False
                clause.end = piece.end
                return index + 1
            one = self.lone(piece)
            before = None
            if clause is not None and clause.item is None and clause.talked:
                before = "stranger"  # numbers in talk right before: "five or six needles"
            left = None
            if (
                clause is not None
                and clause.item is not None
                and not (clause.has_numbers or clause.soft or clause.total_next)
                and clause.kind in (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL)
                and "stranger" not in (clause.before, clause.after)
                and self.kind_at(index + 1) != "run"
            ):
                left = label(self.scene, clause.item)
            elif (
                clause is not None
                and clause.item is None
                and clause.has_numbers
                and self.kind_at(index + 1) != "run"
            ):
                left = "A number"
            earlier = None
            if self.may_be_meanwhile(index):
                earlier, self.clause = self.clause, None
            self.close()
            clause = self.new_clause(index)
            clause.item, clause.displaced = piece, earlier
            if left is not None:
                clause.questions.append(
                    ask(
                        QuestionCode.OTHER_READING,
                        f"{left} was heard just before and stands alone.",
                    )
                )
            clause.before = clause.before or before
            if one is not None:
                clause.entries.append(one)
                clause.number_first = True
                clause.start = min(clause.start, one.start)
                clause.carry = min(clause.carry, one.start)
                if not clause.verb:  # "five laps and a needle" is complete
                    clause.end = piece.end
                    self.last_item = piece.label
                    self.close()
                    return index + 1
        clause.end = piece.end
        self.last_item = piece.label
        return index + 1

    def named_in_passing(self, index: int) -> bool:
        """Whether an item in the middle of a count is part of talk: it does not end the count."""
        clause = self.clause
        if clause is None or not (clause.has_numbers or clause.item is not None):
            return False
        if self.kind_at(index + 1) == "run":
            numbers = numbers_of(self.doc, self.pieces[index + 1])
            counts = numbers[:1] == [1] and len(numbers) >= SHORTEST_SEQUENCE
            sure = self.scene.phase is not None and plural(self.scene, self.pieces[index])
            return self.stranger_after(index + 2) and not counts and not sure
        if clause.item is None and not clause.talked:
            return False  # the item that the numbers were for
        return self.before(index) == "stranger" or self.stranger_after(index + 1)

    def may_be_meanwhile(self, index: int) -> bool:
        """Whether an item without a number may have been named while another was counted."""
        clause = self.clause
        if clause is None or clause.item is None or clause.displaced is not None:
            return False
        if clause.kind is EventKind.CORRECTION or self.verb is not None:
            return False
        return self.kind_at(index + 1) in ("pause", "talk", "end") and clause.has_numbers

    def asked(self, piece: Piece) -> bool:
        """Whether "is", "are" before an item makes a question of what follows."""
        at = piece.start - 1
        while at >= 0 and self.doc[at].lower_ in ("the", "all", "our", "your", "my"):
            at -= 1
        return at >= 0 and self.doc[at].lower_ in ("is", "are", "was", "were")

    def lone(self, piece: Piece) -> Piece | None:
        """The "a" before a single item that is added, removed or listed: it means one."""
        at = piece.start - 1
        if at < 0 or self.doc[at].lower_ not in ("a", "an", "another") or plural(self.scene, piece):
            return None
        clause = self.clause
        listed = clause is not None and clause.item is not None and clause.has_numbers
        verb = self.verb is not None and self.verb.kind is not EventKind.SET_UP
        if verb or (listed and clause is not None and not clause.talked):
            return Piece("pack", "one 1", at, piece.start)
        return None

    # --- cues ---------------------------------------------------------------------------------

    def on_cue(self, index: int) -> int:
        cue = self.pieces[index]
        name, _, value = cue.label.partition(" ")
        match name:
            case "PHASE":
                return self.on_phase(index, Phase(value))
            case "QUERY" | "LOCATION":
                if name == "QUERY":
                    self.close()
            case "VERDICT":
                return self.on_verdict(index)
            case "BARE":
                pass
            case "ADD" | "REMOVE":
                kind = EventKind.ADDITION if name == "ADD" else EventKind.REMOVAL
                self.on_verb(index, kind, after=value == "after")
            case "MORE":
                nxt = self.at(index + 1)
                pack_next = nxt is not None and nxt.label.startswith(("PACK", "PAIR"))
                if (pack_next or self.kind_at(index + 1) == "run") and self.verb is None:
                    self.verb = _Verb(EventKind.ADDITION, cue.start, self.before(index))
                elif self.verb is None:
                    self.pieces[index] = replace(cue, kind="stranger")
            case "STRIKE" | "MEAN":
                return self.on_correction(index)
            case "TOTAL":
                return self.on_total(index)
            case "RESTART":
                if self.clause is not None and self.clause.has_numbers:
                    self.clause.entries.append(Piece("restart", "", cue.start, cue.end))
                    self.clause.talked = False
            case "PACK" | "PAIR":
                return self.on_number(index) if self.pack_is_said(index) else index + 1
            case "PLACE":
                self.on_place(index, value)
            case "LABEL":
                return self.on_medication(index + 1, EventKind.LABEL, index)
            case "DRAW":
                return self.on_medication(index + 1, EventKind.DRAW, index)
            case "RECEIPT":
                if self.medication_ahead(index + 1):
                    return self.on_medication(index + 1, EventKind.RECEIPT, index)
            case "NOTE":
                if index == 0 or self.kind_at(index - 1) == "pause":
                    return self.on_remark(index)
        return index + 1

    def pack_is_said(self, index: int) -> bool:
        """A bare "pack" counts only with an item or a size beside it."""
        packed = self.pack_at(index)
        if packed is None:
            return False
        piece, following = packed
        has_item = self.clause is not None and self.clause.item is not None
        return has_item or self.kind_at(following) == "item" or piece.label.startswith("pack")

    def on_verb(self, index: int, kind: EventKind, *, after: bool) -> None:
        cue = self.pieces[index]
        ahead = index + 1 + (self.kind_at(index + 1) == "pause")
        nxt = self.kind_at(ahead)
        cue_next = self.at(ahead)
        leads = nxt in ("run", "item") or (
            cue_next is not None
            and cue_next.kind == "cue"
            and cue_next.label.startswith(("PACK", "PAIR", "MORE", "ADD", "REMOVE"))
        )
        if after and self.before(index) == "stranger":
            return  # "throw it in the bucket"
        clause = self.clause
        complete = clause is not None and clause.item is not None and clause.has_numbers
        if complete and (after or not leads):
            assert clause is not None
            clause.end = max(clause.end, cue.end)
            for position in range(self.suffix_from, len(self.done)):
                earlier = self.done[position]
                if earlier.event is not None and earlier.event.kind is EventKind.COUNT:
                    self.done[position] = replace(
                        earlier, event=earlier.event.model_copy(update={"kind": kind})
                    )
            if not clause.verb:
                clause.kind, clause.verb = kind, True
            elif clause.kind is EventKind.ADDITION and kind is EventKind.REMOVAL:
                clause.kind = kind
            return
        if nxt == "end" and not after and self.before(index) is None:
            # "adding …": what is added may come after a pause
            self.close()
            self.done.append(Read(None, True, cue.start))
            return
        # "off the field: five laps" leads; a bare "off" or "added" does not
        if leads and not (after and cue.end - cue.start < 3):
            if clause is not None and clause.item is not None and self.before(index) != "stranger":
                self.close()
            if self.verb is not None and not self.verb.used:
                self.verb.kind = kind
            else:
                self.verb = _Verb(kind, cue.start, self.before(index))

    def on_phase(self, index: int, phase: Phase) -> int:
        self.close()
        cue = self.pieces[index]
        group = self.group_in(cue)
        after = index + 1
        end = cue.end
        nxt = self.at(after)
        counted_next = self.kind_at(after + 1) in ("run",)
        soft = False
        if group is None and nxt is not None and not counted_next:
            if nxt.kind == "group":
                group, end, after = Group(nxt.label), nxt.end, after + 1
            elif nxt.kind == "item":
                group, soft = self.kit.item(nxt.label).group, True
        elif group is None and nxt is not None and nxt.kind == "group":
            group, end, after = Group(nxt.label), nxt.end, after + 1
        self.scene.phase = phase
        self.emit(
            cue.start,
            end,
            kind=EventKind.PHASE,
            phase=phase,
            group=group.value if group else None,
        )
        if soft:
            after = self.on_item(after)
            if self.clause is not None:
                self.clause.soft = True
        return after

    def group_in(self, piece: Piece) -> Group | None:
        for word in words_of(self.doc, piece):
            if word in GROUP_WORDS:
                return GROUP_WORDS[word]
        return None

    def on_verdict(self, index: int) -> int:
        cue = self.pieces[index]
        self.close()
        group = self.group_in(cue)
        start = index
        previous = self.at(index - 1)
        if group is None and previous is not None and previous.kind == "group":
            group, start = Group(previous.label), index - 1
        item = None
        nxt = self.at(index + 1)
        after = index + 1
        if nxt is not None and nxt.kind == "group":
            group, after = Group(nxt.label), index + 2
        elif nxt is not None and nxt.kind == "item" and cue.label != "VERDICT correct":
            item, group, after = nxt.label, self.kit.item(nxt.label).group, index + 2
        self.verdict(cue, start, group, item=item, last=after - 1)
        return after

    def verdict(
        self,
        cue: Piece,
        first: int,
        group: Group | None,
        *,
        item: str | None = None,
        last: int | None = None,
    ) -> None:
        if cue.label == "VERDICT correct" and group is None:
            self.scene.phase = None
        start = min(cue.start, self.pieces[first].start)
        end = max(cue.end, self.pieces[last].end if last is not None else 0)
        self.emit(
            start,
            end,
            kind=EventKind.VERDICT,
            verdict=Verdict(cue.label.partition(" ")[2]),
            item=item,
            group=group.value if group else None,
        )

    def on_correction(self, index: int) -> int:
        cue = self.pieces[index]
        soft = cue.label == "MEAN soft"
        strike = cue.label == "STRIKE"
        at = index + 1
        # "no, I mean", "strike that, correction": one correction
        while self.kind_at(at) == "cue" and self.pieces[at].label.startswith(("MEAN", "STRIKE")):
            strike = strike or self.pieces[at].label == "STRIKE"
            soft = soft and self.pieces[at].label == "MEAN soft"
            at += 1
        follows = self.kind_at(at)
        pack = follows == "cue" and self.pieces[at].label.startswith(("PACK", "PAIR"))
        if soft:
            same = self.clause is not None or self.last_item is not None
            if follows == "run":
                single = numbers_of(self.doc, self.pieces[at]) == [1]
                then = self.kind_at(at + 1)
                clean = then in ("end", "item", "pause") or (
                    then == "cue" and not self.pieces[at + 1].label.startswith("MORE")
                )
                if not clean or (single and not same) or (not same and then != "item" and index):
                    return at
            elif follows == "item":
                counted = self.kind_at(at + 1) == "run"
                ends = self.kind_at(at + 1) in ("end", "pause")
                if not same or self.before(index) is not None or not (counted or ends):
                    if not counted:
                        self.pieces[at - 1] = replace(cue, kind="stranger")
                    return at
            else:
                return at
        elif follows not in ("run", "item") and not pack:
            if strike and follows == "stranger":
                return at
            if strike:
                self.close()
                self.emit(
                    cue.start,
                    self.pieces[at - 1].end,
                    kind=EventKind.CORRECTION,
                )
            elif "correction" in words_of(self.doc, cue) and follows in ("end", "pause", "talk"):
                self.close()
                self.emit(
                    cue.start,
                    cue.end,
                    kind=EventKind.CORRECTION,
                    questions=[
                        ask(
                            QuestionCode.UNCLEAR_CORRECTION,
                            "A correction was said, but not what is now meant.",
                        )
                    ],
                )
            return at
        self.close()
        self.clause = Clause(start=cue.start, carry=cue.start, kind=EventKind.CORRECTION, verb=True)
        self.clause.end = self.pieces[at - 1].end
        if not self.item_ahead(at):
            self.clause.inherited = self.last_item
        return at

    def item_ahead(self, index: int) -> bool:
        """Whether the correction itself names an item."""
        first = self.kind_at(index)
        if first == "item":
            return True
        _, following = self.pack_at(index) or (None, index + 1)
        return self.kind_at(following) == "item"

    def on_total(self, index: int) -> int:
        cue = self.pieces[index]
        nxt = self.at(index + 1)
        clean = self.kind_at(index + 2) not in ("stranger", "talk")
        if nxt is not None and nxt.kind == "run" and clean:
            if self.clause is None or (self.clause.talked and not self.clause.has_numbers):
                self.close()
                before = self.before(index)
                if before == "stranger":
                    return index + 2
                self.clause = Clause(start=cue.start, carry=cue.start)
            self.clause.total_next = True
            self.clause.talked = False
        elif nxt is not None and nxt.kind == "run" and self.clause is None:
            return index + 2
        return index + 1

    def on_place(self, index: int, place: str) -> None:
        cue = self.pieces[index]
        if self.clause is not None and self.clause.item is not None:
            counting = self.clause.has_numbers and self.scene.phase is not None
            if not counting and self.clause.kind is EventKind.COUNT:
                self.clause.kind, self.clause.place = EventKind.SET_UP, place
                self.clause.end = max(self.clause.end, cue.end)
            return
        leads = self.clause is None and self.kind_at(index + 1) in ("item", "run")
        if leads and self.scene.phase is None:
            self.verb = _Verb(EventKind.SET_UP, cue.start, self.before(index))

    def on_remark(self, index: int) -> int:
        self.close()
        at = index
        while self.kind_at(at) not in ("end", "pause"):
            at += 1
        start = self.pieces[index].start
        end = self.pieces[at].start if at < len(self.pieces) else len(self.doc)
        item = next((p.label for p in self.pieces[index:at] if p.kind == "item"), None)
        self.emit(start, end, kind=EventKind.REMARK, item=item)
        return at

    # --- medications --------------------------------------------------------------------------

    def medication_ahead(self, index: int) -> bool:
        while self.kind_at(index) not in ("end", "pause", "item"):
            if self.kind_at(index) == "medication":
                return True
            index += 1
        return False

    def on_medication(self, index: int, kind: EventKind, first: int) -> int:
        """Read a stretch about one medication, from the cue or its first word to its end."""
        previous = first
        start = self.pieces[first].start
        # a strength or volume before the name belongs to it: "ten milliliters of lidocaine"
        if first == index and kind is EventKind.RECEIPT:
            previous, start = reach_back(self.scene, self.pieces, index)
        if self.clause is not None and self.clause.item is None and self.clause.start >= start:
            self.clause = None  # its numbers were the strength or the volume
        talk_before = self.before(previous)
        names: dict[int, tuple[str, int]] = {}
        at, seen = index, 0
        container = False
        while self.kind_at(at) != "end":
            piece = self.pieces[at]
            words = words_of(self.doc, piece)
            if piece.kind == "item":
                if words[-1] in meds.CONTAINERS and not container:
                    container = True
                else:
                    break
            elif piece.kind == "medication":
                linked = joined(self.scene, piece.start)
                if seen and not linked:
                    break
                seen += 1
                names[piece.start] = (piece.label, piece.end)
            elif piece.kind == "cue":
                label = piece.label.partition(" ")[0]
                if label in ("PHASE", "VERDICT", "STRIKE", "LABEL", "DRAW", "RECEIPT", "QUERY"):
                    break
                if piece.label in ("ADD verb", "REMOVE verb") and self.kind_at(at - 1) == "pause":
                    break
                if label == "MEAN" and self.kind_at(at + 1) in ("run", "item"):
                    break
            elif piece.kind == "pause" and kind is not EventKind.RECEIPT and seen == 0:
                pass
            at += 1
        end = self.pieces[at].start if at < len(self.pieces) else len(self.doc)
        # a number for the item that follows is not ours
        last = self.at(at - 1)
        if self.kind_at(at) == "item" and last is not None and last.kind == "run":
            at, end = at - 1, last.start
        is_last = at >= len(self.pieces)
        event = medication_event(self.scene, start, end, kind, names, talk_before)
        if event is None and self.clause is not None:
            # only a mention: a count that is under way goes on
            self.on_talk(self.pieces[first])
            return max(index, first + 1)
        self.close()
        spoiled = any(piece.kind == "stranger" for piece in self.pieces[index:at])
        if event is not None or (is_last and not spoiled):
            self.done.append(Read(event, is_last, start, Carried(talk=talk_before)))
        return max(at, index)

    # --- closing a count ----------------------------------------------------------------------

    def close(self, *, still_open: bool = False) -> None:
        clause, self.clause = self.clause, None
        if clause is None:
            return
        if clause.displaced is not None:
            self.finish(clause.displaced, still_open=still_open)
            labels = {piece.label for piece in (clause.displaced.item, clause.item) if piece}
            if len(labels) == 1 and not clause.has_numbers:
                return  # only said again
        self.finish(clause, still_open=still_open)

    def finish(self, clause: Clause, *, still_open: bool = False) -> None:
        event = count_event(self.scene, clause)
        in_talk = clause.item is None and "stranger" in (clause.before, clause.after)
        carried = Carried(clause.outside, clause.before, clause.soft, tuple(clause.questions))
        if event is not None or (still_open and not in_talk):
            self.done.append(Read(event, still_open, clause.carry, carried))

    def emit(
        self, start: int, end: int, *, questions: list[Question] | None = None, **values: object
    ) -> None:
        positions = range(start, end)
        asked = [*(questions or []), *low_confidence(self.scene, positions)]
        event = make_event(self.scene, start, end, matter=positions, questions=asked, **values)
        self.done.append(Read(event, False, start))


def read(doc: Doc, kit: Kit, before: Before, today: date | None = None) -> list[Read]:
    """The events of a document in order; the last may still be open.

    ``today`` is compared with expiries, ``None`` leaves that out.
    """
    return _Reader(doc, kit, before, today).run()
