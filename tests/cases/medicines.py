"""What is on the sterile field of medications, simulated: containers that are filled and emptied.

Percent strength is weight in volume, 1 % = 10 mg in 1 mL (USP General Notices, from memory); ratio
strength 1:n is 1 g in n mL (USP, from memory), so that 1:200,000 is 0.005 mg in 1 mL.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from tests.cases.acts import Act, Announce, Draw, Label, Preparation, Receive, Strength


@dataclass(frozen=True)
class Held:
    """One preparation on the field: millilitres received, drawn and left, and its label."""

    what: Preparation
    received_ml: int
    drawn_ml: int
    labelled: bool
    container: str | None
    label_due: bool

    @property
    def left_ml(self) -> int:
        """Millilitres that should be left."""
        return self.received_ml - self.drawn_ml


@dataclass
class Tray:
    """All preparations, in the order in which they came."""

    held: dict[Preparation, Held] = field(default_factory=dict)

    def do(self, act: Act) -> None:
        """Carry out an act; those that are about something else change nothing."""
        match act:
            case Receive(what, volume):
                before = self.held.get(what)
                if before is None:
                    self.held[what] = Held(what, volume, 0, False, None, False)
                else:
                    self._change(what, received_ml=before.received_ml + volume)
            case Label(what, _, container):
                self._change(what, labelled=True, container=container, label_due=False)
            case Draw(what, volume):
                self._change(what, drawn_ml=self.held[what].drawn_ml + volume)
            case Announce(phase="relief"):
                for what, each in list(self.held.items()):
                    if each.left_ml > 0:
                        self._change(what, label_due=True)

    def _change(self, what: Preparation, **values: object) -> None:
        self.held[what] = Held(**{**vars(self.held[what]), **values})  # type: ignore[arg-type]


def mg_in_ml(strength: Strength) -> Decimal:
    """Milligrams in one millilitre."""
    if strength.unit == "%":
        return strength.value * 10
    return Decimal(1000) / strength.value


def drawn_mg(held: Iterable[Held]) -> dict[str, Decimal]:
    """Milligrams drawn up of every substance whose strength is known, additives with them."""
    return _milligrams((each, each.drawn_ml) for each in held)


def received_mg(held: Iterable[Held]) -> dict[str, Decimal]:
    """Milligrams received of every substance whose strength is known, additives with them."""
    return _milligrams((each, each.received_ml) for each in held)


def _milligrams(volumes: Iterable[tuple[Held, int]]) -> dict[str, Decimal]:
    found: dict[str, Decimal] = {}
    for each, volume in volumes:
        pairs = (
            (each.what.name, each.what.strength),
            (each.what.additive, each.what.additive_strength),
        )
        for name, strength in pairs:
            if name is not None and strength is not None:
                found[name] = found.get(name, Decimal(0)) + mg_in_ml(strength) * volume
    return found
