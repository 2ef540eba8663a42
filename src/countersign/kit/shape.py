"""Whether a TOML document has the shape of a kit, and what is wrong in sentences if not."""

import json
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from countersign.kit.model import Group, Item, Kit, Medication, SetUpNote
from countersign.kit.source_lines import KeyPath

# The file says [[item]] for one item at a time; the model holds them as items.
_IN_FILE = {"items": "item", "medications": "medication"}
_IN_MODEL = {name: field for field, name in _IN_FILE.items()}
_TOP_KEYS = tuple(_IN_FILE.get(field, field) for field in Kit.model_fields)
_KEYS = {
    "item": tuple(Item.model_fields),
    "medication": tuple(Medication.model_fields),
    "set_up": tuple(SetUpNote.model_fields),
}

Fault = tuple[KeyPath, str]
"""Where in the document, and one sentence."""


def fit(document: dict[str, Any]) -> tuple[Kit | None, list[Fault]]:
    """The kit, or ``None`` and everything in which the document does not have a kit's shape."""
    faults: list[Fault] = [
        ((key,), f"“{key}” is not something a kit says{_guess(key, _TOP_KEYS)}.")
        for key in document
        if key not in _TOP_KEYS
    ]
    fields = {_IN_MODEL.get(key, key): value for key, value in document.items() if key in _TOP_KEYS}
    kit: Kit | None = None
    try:
        # Through JSON, because strict validation then takes lists and plain words as TOML has
        # them, yet no "10" for 10. A TOML date fits nothing: it becomes a list of nothing.
        kit = Kit.model_validate_json(json.dumps(fields, default=lambda _: [None]), strict=True)
    except ValidationError as error:
        faults.extend(_explain(document, details) for details in _without_echo(error.errors()))
    return (None if faults else kit), faults


def _without_echo(errors: list[ErrorDetails]) -> Iterator[ErrorDetails]:
    seen: set[tuple[str | int, ...]] = set()
    for details in errors:
        loc = tuple(part for part in details["loc"] if part != "[key]")
        if loc not in seen:
            seen.add(loc)
            yield details


def _explain(document: dict[str, Any], details: ErrorDetails) -> Fault:
    path: KeyPath = tuple(
        _IN_FILE.get(str(p), p) if n == 0 else p for n, p in enumerate(details["loc"])
    )
    key = str(path[-1]) if path else ""
    owner = _owner(document, path)
    kind = details["type"]
    context = details.get("ctx", {})
    if kind == "missing":
        return path, f"{owner} has no {key}."
    if kind == "extra_forbidden":
        keys = _KEYS.get(str(path[0]), _TOP_KEYS)
        return path, f"{owner} has a key “{key}” that is not known{_guess(key, keys)}."
    if kind == "enum":
        groups = ", ".join(group.value for group in Group)
        return path, f"{owner} is in an unknown group; the groups are {groups}."
    if kind == "string_pattern_mismatch":
        return path, (
            f"{owner} needs an id of lower-case letters, digits and underscores "
            "that starts with a letter."
        )
    named = next((str(part) for part in reversed(path) if isinstance(part, str)), "")
    if kind in ("model_type", "model_attributes_type") and path[0] == "set_up":
        return path, f"{owner} must be a table, written [set_up.{named}]."
    if kind in ("model_type", "model_attributes_type"):
        return path, f"{named} must be a table, written [[{named}]]."
    if kind == "too_short":
        if path in (("item",), ("medication",)):
            return path, "A kit needs at least one [[item]]."
        return path, f"{owner} has an empty list “{named}”."
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = context.get("ge", context.get("le"))
        side = "at least" if kind == "greater_than_equal" else "at most"
        return path, f"{owner}: {named} must be {side} {limit}."
    if kind in ("tuple_type", "list_type"):
        if path in (("item",), ("medication",)):
            return path, f"Each {named} is written as its own table, [[{named}]]."
        return path, f"{owner}: {named} must be a list of words in quotation marks."
    if kind == "dict_type":
        return path, f"{named} must be a table, written [{named}]."
    if kind in ("int_type", "int_from_float", "int_parsing", "int_parsing_size"):
        return path, f"{owner}: {named} must be a whole number without quotation marks."
    if kind == "string_type":
        return path, f"{owner}: {named} must be words in quotation marks."
    return path, f"{owner}: {named} does not fit ({details['msg']})."


def _owner(document: dict[str, Any], path: KeyPath) -> str:
    """What the fault is about, as people call it."""
    if len(path) >= 2 and path[0] in _KEYS and isinstance(path[1], int):
        name = str(path[0])
        try:
            said = document[name][path[1]]["id"]
        except (KeyError, TypeError, IndexError):
            said = None
        number = f"{name.capitalize()} number {path[1] + 1}"
        return f"{name.capitalize()} “{said}”" if isinstance(said, str) and said else number
    if len(path) > 1 and path[0] == "pronunciations":
        return f"The pronunciation of “{path[1]}”"
    if len(path) > 1 and path[0] == "set_up":
        return f"The set-up note on “{path[1]}”"
    return "The kit"


def _guess(key: str, known: tuple[str, ...]) -> str:
    close = get_close_matches(key, known, n=1)
    return f"; did you mean “{close[0]}”" if close else f" (it says {', '.join(known)})"
