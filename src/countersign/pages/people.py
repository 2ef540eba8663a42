"""Who may sign in: initials, role and a PIN that only its hash is kept of."""

import json
import os
import tempfile
from functools import lru_cache
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from countersign.problems import BadInput
from countersign.tally.record import Role

SHORTEST_PIN = 6
LONGEST_PIN = 64

_hasher = PasswordHasher()
_nobody = _hasher.hash("nobody has this PIN")


class Person(BaseModel):
    """One person. ``pin_hash`` is an Argon2id hash (RFC 9106); the PIN itself is kept nowhere."""

    model_config = ConfigDict(frozen=True)

    initials: str
    role: Role
    pin_hash: str


_people = TypeAdapter(tuple[Person, ...])


def read_people(path: Path) -> tuple[Person, ...]:
    """Everyone who may sign in, nobody where there is no file; ``BadInput`` where it is damaged."""
    try:
        return _people.validate_json(path.read_bytes())
    except FileNotFoundError:
        return ()
    except (OSError, ValidationError):
        raise BadInput(f"The list of people {path} cannot be read.") from None


def people_of(path: Path) -> tuple[Person, ...]:
    """As :func:`read_people`, reading the file again only when it was changed."""
    try:
        status = path.stat()
    except FileNotFoundError:
        return ()
    except OSError:
        raise BadInput(f"The list of people {path} cannot be read.") from None
    return _read_at(path, status.st_mtime_ns, status.st_size, status.st_ino)


@lru_cache(maxsize=8)
def _read_at(path: Path, *_: int) -> tuple[Person, ...]:
    return read_people(path)


def add_person(path: Path, initials: str, role: Role, pin: str) -> None:
    """Add a person, or give one a new PIN; ``BadInput`` where the PIN is too short or too easy."""
    if not SHORTEST_PIN <= len(pin) <= LONGEST_PIN or len(set(pin)) < 3:
        raise BadInput(
            f"A PIN has at least {SHORTEST_PIN} characters, at least three of them different."
        )
    others = [p for p in read_people(path) if (p.initials, p.role) != (initials, role)]
    person = Person(initials=initials, role=role, pin_hash=_hasher.hash(pin))
    _write(path, (*others, person))


def remove_person(path: Path, initials: str, role: Role) -> None:
    """Take a person off the list; ``BadInput`` where nobody of that name and role is on it."""
    people = read_people(path)
    left = tuple(p for p in people if (p.initials, p.role) != (initials, role))
    if len(left) == len(people):
        raise BadInput(f"There is no {role.value} {initials} on the list.")
    _write(path, left)


def is_pin_of(people: tuple[Person, ...], initials: str, role: Role, pin: str) -> bool:
    """Whether this is the PIN of that person; takes as long where there is no such person."""
    known = [p.pin_hash for p in people if (p.initials, p.role) == (initials, role)]
    try:
        right = _hasher.verify(known[0] if known else _nobody, pin[: LONGEST_PIN + 1])
    except (Argon2Error, InvalidHashError):
        return False
    return right and bool(known)


def _write(path: Path, people: tuple[Person, ...]) -> None:
    text = json.dumps(_people.dump_python(people, mode="json"), indent=1)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".people-")  # readable by its owner
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(part).replace(path)
    except OSError as error:
        raise BadInput(f"The list of people {path} cannot be written ({error.strerror}).") from None
