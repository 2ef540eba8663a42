"""JSON in which every number is an integer or a decimal string, never a binary fraction."""

import json
import math
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from enum import Enum
from pathlib import PurePath
from typing import Any

from pydantic import BaseModel

DIGITS = 4
"""Seconds and confidences are given to this many places: a tenth of a millisecond."""


def json_text(value: object, *, indent: int | None = None) -> str:
    """The JSON text of a value made of models, mappings, sequences and plain values.

    Only ASCII is written, so that any terminal or pipe can carry it (RFC 8259 allows escapes
    everywhere).
    """
    return json.dumps(plain(value), indent=indent, allow_nan=False)


def plain(value: object) -> Any:
    """``value`` as dictionaries, lists, strings, integers, booleans and None only.

    Raises ``TypeError`` for anything that has no such form.
    """
    if isinstance(value, BaseModel):
        return {name: plain(getattr(value, name)) for name in type(value).model_fields}
    if isinstance(value, Enum):
        return plain(value.value)
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return decimal_text(value) if math.isfinite(value) else None
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, PurePath):
        return str(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} has no plain form")


def decimal_text(value: float) -> str:
    """A finite binary fraction as a decimal string such as ``12.25`` or ``3.0``."""
    return format(Decimal(repr(round(value, DIGITS))), "f")
