"""Everything that is wrong with a policy file, with the line where it is."""

import json
import os
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from countersign.kit.mistake import Mistake, read_toml
from countersign.kit.model import Group
from countersign.kit.source_lines import KeyPath, line_of, locate
from countersign.policy.model import Policy, PolicyStep
from countersign.written_file import text_of

LARGEST_BYTES = 100_000
"""A policy file larger than this is refused: a page of steps is a few kilobytes."""
LONGEST = 240
"""A sentence longer than this many characters is hard to take in at a glance."""

_TOP_KEYS = ("title", "caution", "step")
_STEP_KEYS = tuple(PolicyStep.model_fields)
_ROLES = "scrub, circulator, relief, educator"
_GROUPS = ", ".join(group.value for group in Group)

Fault = tuple[KeyPath, str]


def check_policy(path: str | os.PathLike[str]) -> list[Mistake]:
    """Every mistake in a policy file in order of lines, empty if there is none.

    Raises :class:`~countersign.problems.BadInput` only if there is no text to look at.
    """
    return load(policy_text(path))[1]


def policy_text(path: str | os.PathLike[str]) -> str:
    """The text of a policy file; :class:`BadInput` if it cannot be read as UTF-8 text."""
    return text_of(path, "policy", LARGEST_BYTES)


def load(text: str) -> tuple[Policy | None, list[Mistake]]:
    """The policy written in ``text``, or ``None``, and its mistakes in order of lines."""
    document = read_toml(text)
    if isinstance(document, Mistake):
        return None, [document]
    policy, errors = _fit(document)
    errors += _clashes(document)
    lines = locate(text)
    mistakes = [Mistake(line=line_of(lines, path), sentence=said) for path, said in errors]
    mistakes += [
        Mistake(line=line_of(lines, path), sentence=said, level="warning")
        for path, said in _doubts(document)
    ]
    return None if errors else policy, sorted(mistakes, key=lambda mistake: mistake.line)


def _fit(document: dict[str, Any]) -> tuple[Policy | None, list[Fault]]:
    faults: list[Fault] = [
        ((key,), f"“{key}” is not something a policy says{_guess(key, _TOP_KEYS)}.")
        for key in document
        if key not in _TOP_KEYS
    ]
    fields = {
        "steps" if key == "step" else key: value
        for key, value in document.items()
        if key in _TOP_KEYS
    }
    try:
        # Through JSON, because strict validation then takes lists and plain words as TOML has
        # them, yet no true for "true". A TOML date fits nothing: it becomes a list of nothing.
        policy = Policy.model_validate_json(
            json.dumps(fields, default=lambda _: [None]), strict=True
        )
    except ValidationError as error:
        return None, [*faults, *(_explain(document, details) for details in error.errors())]
    return policy, faults


def _explain(document: dict[str, Any], details: ErrorDetails) -> Fault:
    path: KeyPath = tuple(
        "step" if at == 0 and part == "steps" else part for at, part in enumerate(details["loc"])
    )
    owner = _owner(document, path)
    named = next((str(part) for part in reversed(path) if isinstance(part, str)), "")
    match details["type"]:
        case "missing" if path == ("step",):
            return path, "A policy needs at least one [[step]]."
        case "missing":
            return path, f"{owner} has no {named}."
        case "extra_forbidden":
            return (
                path,
                f"{owner} has a key “{named}” that is not known{_guess(named, _STEP_KEYS)}.",
            )
        case "too_short":
            return path, "A policy needs at least one [[step]]."
        case "string_pattern_mismatch":
            return path, (
                f"{owner} needs an id of lower-case letters, digits and underscores "
                "that starts with a letter."
            )
        case "enum":
            return path, f"{owner} is for an unknown group; the groups are {_GROUPS}."
        case "literal_error" if named == "by":
            return path, f"{owner} is done by an unknown role; the roles are {_ROLES}."
        case "literal_error":
            return path, f"{owner}: {named} must be “missing” or “over”."
        case "tuple_type" | "list_type" if path == ("step",):
            return path, "Each step is written as its own table, [[step]]."
        case "tuple_type" | "list_type":
            return path, f"{owner}: {named} must be a list of words in quotation marks."
        case "model_type" | "model_attributes_type":
            return path, "Each step is written as its own table, [[step]]."
        case "string_type":
            return path, f"{owner}: {named} must be words in quotation marks."
    return path, f"{owner}: {named} does not fit ({details['msg']})."


def _owner(document: dict[str, Any], path: KeyPath) -> str:
    if len(path) >= 2 and path[0] == "step" and isinstance(path[1], int):
        try:
            said = document["step"][path[1]]["id"]
        except (KeyError, TypeError, IndexError):
            said = None
        return f"Step “{said}”" if isinstance(said, str) and said else f"Step number {path[1] + 1}"
    return "The policy"


def _guess(key: str, known: tuple[str, ...]) -> str:
    close = get_close_matches(key, known, n=1)
    return f"; did you mean “{close[0]}”" if close else f" (it says {', '.join(known)})"


# What follows reads the document as it is, so that one fault does not hide another: whatever has
# the wrong type is passed over here, because its shape was already complained about.


def _steps(document: dict[str, Any]) -> Iterator[tuple[int, dict[str, Any]]]:
    entries = document.get("step")
    for position, entry in enumerate(entries if isinstance(entries, list) else []):
        if isinstance(entry, dict):
            yield position, entry


def _clashes(document: dict[str, Any]) -> list[Fault]:
    faults: list[Fault] = []
    for key in ("title", "caution"):
        if isinstance(document.get(key), str) and not document[key].strip():
            faults.append(((key,), f"The policy has an empty {key}."))
    seen: set[str] = set()
    for position, entry in _steps(document):
        step_id, say = entry.get("id"), entry.get("say")
        if isinstance(step_id, str):
            if step_id in seen:
                faults.append((("step", position, "id"), f"The id “{step_id}” is used twice."))
            seen.add(step_id)
        if isinstance(say, str) and not say.strip():
            owner = _owner(document, ("step", position))
            faults.append((("step", position, "say"), f"{owner} says nothing."))
    return faults


def _doubts(document: dict[str, Any]) -> list[Fault]:
    faults: list[Fault] = []
    said: dict[str, str] = {}
    for position, entry in _steps(document):
        owner, say = _owner(document, ("step", position)), entry.get("say")
        if not isinstance(say, str):
            continue
        where: KeyPath = ("step", position, "say")
        if len(say) > LONGEST:
            faults.append((where, f"{owner} says more than {LONGEST} characters."))
        folded = " ".join(say.lower().split())
        if folded and folded in said:
            faults.append((where, f"{owner} says the same as {said[folded]}."))
        said.setdefault(folded, owner[:1].lower() + owner[1:])
    return faults
