"""What a server serves: which ledger, which folders, on this machine only or on a network."""

from pathlib import Path

import platformdirs
from pydantic import BaseModel, ConfigDict

from countersign import settings

SESSION_HOURS = 8
"""A session ends after a long shift, whatever happens (and earlier when the person signs out)."""


class Served(BaseModel):
    """Settings of one server.

    ``hosts`` are the names under which a server on this machine alone is asked for; a request for
    another name comes from a page elsewhere whose name was made to point here (DNS rebinding). On
    a network the certificate sees to that. ``network`` is true where other machines may connect:
    then every person needs a PIN, and cookies travel only over TLS. ``sound`` holds the sound of
    live cases, ``people`` who may sign in, ``secret`` the key that signs sessions.
    """

    model_config = ConfigDict(frozen=True)

    ledger: settings.LedgerPlace
    sound: Path
    people: Path
    secret: Path
    kit: Path | None = None
    model: Path | None = None
    network: bool = False
    checklist: Path | None = None
    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")


def served(
    *,
    ledger: settings.LedgerPlace | None = None,
    kit: Path | None = None,
    model: Path | None = None,
    network: bool = False,
    checklist: Path | None = None,
) -> Served:
    """Settings with the usual places: everything lies beside the ledger, people in the settings."""
    place = settings.ledger_place(ledger)
    kept = settings.beside(place)
    config = platformdirs.user_config_path("countersign", appauthor=False)
    return Served(
        ledger=place,
        sound=kept.parent / "sound",
        people=config / "people.json",
        secret=kept.parent / "session.key",
        kit=settings.kit_path(kit),
        model=model,
        network=network,
        checklist=checklist,
    )
