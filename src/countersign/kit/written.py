"""Strengths as a kit writes them."""

import re
from decimal import Decimal
from functools import lru_cache

_PLAIN = re.compile(r"(?P<value>\d+(?:\.\d+)?)\s*(?P<unit>%|[a-zA-Zµ]+(?:/m[lL])?)")
_RATIO = re.compile(r"1:(?P<value>\d[\d,]*)")
_UNITS = {"ml": "mL", "µg": "ug", "mcg": "ug", "micrograms": "ug", "unit": "[U]", "units": "[U]"}
UCUM = frozenset({"%", "ug/mL", "mg/mL", "g/mL", "[U]/mL", "meq/mL", "ug", "mg", "g", "[U]", "meq"})
"""The units in which a stocked strength can be compared with one that was heard."""


@lru_cache(maxsize=1024)
def read_strength(text: str) -> tuple[Decimal, str] | None:
    """Value and unit (a UCUM code or ``ratio``) of ``0.25 %``, ``1:200,000``, ``10 mg/mL``.

    ``None`` if the text has not that form. Each text is read once.
    """
    ratio = _RATIO.fullmatch(text.strip())
    if ratio is not None:
        return Decimal(ratio["value"].replace(",", "")), "ratio"
    plain = _PLAIN.fullmatch(text.strip())
    if plain is None:
        return None
    unit = "/".join(_UNITS.get(part.lower(), part) for part in plain["unit"].split("/"))
    return Decimal(plain["value"]), unit
