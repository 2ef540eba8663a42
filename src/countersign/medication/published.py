"""Published maximum doses, to be shown as information and never compared with anything."""

import os
import tomllib
from decimal import Decimal
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from countersign.kit.written import read_strength
from countersign.medication.units import Amount, measure
from countersign.problems import BadInput

DOSES_VARIABLE = "COUNTERSIGN_DOSES"
DOSES_CAUTION = (
    "Published figures are information with their source, not advice and not a limit; "
    "the prescriber decides."
)
FIGURE_CAUTION = "Information, not advice: the prescriber decides."
"""What stands beside a figure whose entry has no caution of its own."""
_LARGEST_BYTES = 1_000_000


class PublishedDose(BaseModel):
    """One published figure.

    ``medication`` and ``additive`` are medication ids of the kit; figures without an additive hold
    for the medication alone. ``total`` is for the whole, ``per_kilogram`` for each kilogram of body
    weight, which is never asked for. ``recalled`` figures were written down from memory. Where a
    figure is shown, its ``source`` and ``caution`` stand beside it.
    """

    model_config = ConfigDict(frozen=True)

    medication: str
    additive: str | None = None
    total: Amount | None = None
    per_kilogram: Amount | None = None
    source: str
    caution: str = FIGURE_CAUTION
    recalled: bool


class _Entry(BaseModel):
    """One entry as the file has it."""

    model_config = ConfigDict(extra="forbid", strict=True)

    medication: str = Field(min_length=1)
    additive: str | None = None
    total: str | None = None
    per_kilogram: str | None = None
    source: str = Field(min_length=1)
    caution: str = Field(default=FIGURE_CAUTION, min_length=1)
    recalled: bool


def published_doses(path: Path | None = None) -> tuple[PublishedDose, ...]:
    """The entries of ``path``, else of the file COUNTERSIGN_DOSES names, else the shipped ones.

    Raises ``BadInput`` with one sentence where the file cannot be read or an entry is incomplete.
    """
    named = os.environ.get(DOSES_VARIABLE)
    if path is None and named:
        path = Path(named).expanduser().absolute()
    if path is None:
        return _shipped()
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise BadInput(f"{path} is too large for a table of doses.")
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise BadInput(f"The table of doses {path} is not UTF-8 text.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise BadInput(f"The table of doses {path} cannot be read: {reason}.") from None
    return _read(text, str(path))


def published_for(
    doses: tuple[PublishedDose, ...], medication: str, additives: frozenset[str | None]
) -> tuple[PublishedDose, ...]:
    """The figures for a medication with each of the additives, ``None`` for without one.

    Where nothing is published for an additive, the figures without one are given.
    """
    known = [dose for dose in doses if dose.medication == medication]
    listed = {dose.additive for dose in known}
    wanted = {additive if additive in listed else None for additive in additives}
    return tuple(dose for dose in known if dose.additive in wanted)


@cache
def _shipped() -> tuple[PublishedDose, ...]:
    file = files("countersign.medication") / "maximum_doses.toml"
    return _read(file.read_text(encoding="utf-8"), "the shipped table")


def _read(text: str, where: str) -> tuple[PublishedDose, ...]:
    try:
        document: dict[str, Any] = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"The table of doses {where} is not TOML: {error}.") from None
    listed = document.get("dose", [])
    if set(document) - {"dose"} or not isinstance(listed, list):
        raise BadInput(f"The table of doses {where} may hold only entries written [[dose]].")
    return tuple(_dose(entry, number, where) for number, entry in enumerate(listed, start=1))


def _dose(entry: object, number: int, where: str) -> PublishedDose:
    name = f"Entry {number} of the table of doses {where}"
    try:
        read = _Entry.model_validate(entry)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part)[:40] for part in first["loc"]) or "entry"
        raise BadInput(f"{name} cannot be used: {key}: {first['msg'].lower()}.") from None
    if read.total is None and read.per_kilogram is None:
        raise BadInput(f"{name} has neither a total nor a figure per kilogram.")
    return PublishedDose(
        medication=read.medication,
        additive=read.additive,
        total=_amount(read.total, f"{name}: total"),
        per_kilogram=_per_kilogram(read.per_kilogram, name),
        source=read.source,
        caution=read.caution,
        recalled=read.recalled,
    )


def _amount(text: str | None, name: str) -> Amount | None:
    if text is None:
        return None
    found = read_strength(text)
    if found is None or measure(found[1]) is None or found[0] <= Decimal(0):
        raise BadInput(f"{name} must be an amount such as “300 mg”.")
    return Amount(value=found[0], unit=found[1])


def _per_kilogram(text: str | None, name: str) -> Amount | None:
    if text is None:
        return None
    amount, slash, bottom = text.partition("/")
    if not slash or bottom.strip() != "kg":
        raise BadInput(f"{name}: per_kilogram must be an amount such as “4.5 mg/kg”.")
    return _amount(amount, f"{name}: per_kilogram")
