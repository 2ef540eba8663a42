"""Who decides."""

from dataclasses import dataclass

from countersign.tally.record import Role


@dataclass(frozen=True)
class Person:
    """Who decides."""

    role: Role
    initials: str
