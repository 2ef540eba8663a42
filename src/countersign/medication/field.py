"""The sterile field while the lines are gone through: what is on it, and what is asked."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from countersign.kit import Kit
from countersign.meaning.event import MedicationDetail, QuestionCode, Strength
from countersign.medication.concentration import diluted, same_strength
from countersign.medication.entries import Entry
from countersign.medication.units import Amount
from countersign.medication.values import Finding
from countersign.medication.words import mixture_text

SYRINGE = "syringe"


@dataclass
class Prepared:
    """One preparation while the lines are gone through.

    ``contents`` is what was received, ``strength`` and ``additive_strength`` what is in the
    container after dilution. ``due`` is the line after which the label must be verified again.
    ``source`` is what a syringe was filled from. ``lines`` are all lines it rests on,
    ``basis`` those that say what it is and how strong.
    """

    contents: MedicationDetail
    strength: Strength | None
    additive_strength: Strength | None
    container: str | None
    received_ml: Decimal | None
    amount: Amount | None = None
    source: "Prepared | None" = None
    drawn_ml: Decimal = Decimal(0)
    unmeasured: bool = False
    added: list[Decimal | None] = field(default_factory=list)
    label: MedicationDetail | None = None
    missing: tuple[str, ...] = ()
    due: int | None = None
    expired: bool = False
    read_back: bool = False
    lots: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    basis: list[int] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The medication id."""
        return self.contents.name or ""

    @property
    def additive(self) -> str | None:
        """The medication id of the additive."""
        return self.contents.additive

    @property
    def remaining_ml(self) -> Decimal | None:
        """What is left, ``None`` where a volume was not heard."""
        if self.received_ml is None or self.unmeasured:
            return None
        return self.received_ml - self.drawn_ml

    @property
    def used_up(self) -> bool:
        """Whether everything was drawn."""
        remaining = self.remaining_ml
        return self.source is None and remaining is not None and remaining <= 0

    def text(self, kit: Kit) -> str:
        """``Lidocaine 1 % with epinephrine 1:200,000``."""
        return mixture_text(kit, self.name, self.strength, self.additive, self.additive_strength)


@dataclass(frozen=True)
class Draw:
    """One draw with what it was drawn from, ``None`` where that is not clear.

    ``basis`` are the lines that say what that is and how strong.
    """

    entry: Entry
    volume_ml: Decimal | None
    source: Prepared | None
    strength: Strength | None
    additive: str | None
    additive_strength: Strength | None
    basis: tuple[int, ...]


@dataclass
class Field:
    """The sterile field after some lines. ``asked`` are the questions in the order they came up."""

    kit: Kit
    prepared: list[Prepared] = field(default_factory=list)
    draws: list[Draw] = field(default_factory=list)
    asked: list[Finding] = field(default_factory=list)
    last_receipt: tuple[Entry, Prepared] | None = None

    def ask(self, entry: Entry, code: QuestionCode, sentence: str) -> None:
        """Ask about a line."""
        self.asked.append(Finding(line=entry.line, code=code, sentence=sentence, open=entry.open))


def mixed(
    strength: Strength | None,
    additive_strength: Strength | None,
    volume: Decimal | None,
    diluent: Decimal,
) -> tuple[Strength | None, Strength | None, Decimal | None]:
    """Strength, strength of the additive and volume after ``diluent`` mL were mixed in."""
    if volume is None:
        return None, None, None
    return (
        strength and diluted(strength, volume, diluent),
        additive_strength and diluted(additive_strength, volume, diluent),
        volume + diluent,
    )


def agree(first: Strength | None, second: Strength | None) -> bool:
    """Whether two strengths are the same, or neither is known."""
    if first is None or second is None:
        return first is second
    return same_strength(first, second)


def narrowed(found: Sequence[Prepared], said: MedicationDetail) -> list[Prepared]:
    """Those that fit what was said of strength and additive, or all if none does."""
    fits = list(found)
    if said.strength is not None:
        strength = said.strength
        fits = [
            each
            for each in fits
            if any(
                known is not None and same_strength(strength, known)
                for known in (each.strength, each.contents.strength)
            )
        ] or fits
    if said.additive is not None and len(fits) > 1:
        fits = [each for each in fits if each.additive == said.additive] or fits
    return fits
