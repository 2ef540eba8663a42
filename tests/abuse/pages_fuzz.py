"""Requests that schemathesis makes from the pages' own OpenAPI, sent by people and by strangers.

The description is not served to anyone; it is made here.
"""

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

import requests
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from tests.pages.conftest import FIXTURES, ORIGIN, case_of_words, signed_in

from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.pages import Served, create_app
from countersign.pages.guard import Pace
from countersign.pages.rooms import Rooms
from countersign.pages.studio import Studio
from countersign.review import Store, analyse

PEOPLE = ("", "scrub", "circulator", "relief", "educator")
"""The roles that send each request; the first is nobody."""


@dataclass
class Found:
    """How many requests were sent, how many refused, and what must not have come back."""

    tries: int = 0
    refused: int = 0
    failures: list[str] = field(default_factory=list)


def fuzz_pages(
    folder: Path,
    *,
    seed: int = 1,
    seconds: float | None = None,
    examples: int = 3,
    kit: Kit | None = None,
    ears: Ears | None = None,
) -> Found:
    """So many examples of each operation, once, or again with other seeds for so many seconds."""
    kit = kit or read_kit(demo_kit_path())
    ears = ears or open_ears(kit)
    served = Served(
        ledger=folder / "ledger.sqlite3",
        sound=folder / "sound",
        people=folder / "people.json",
        secret=folder / "session.key",
    )
    store = Store(folder / "attempts")
    recording = FIXTURES / "laps-five.flac"
    attempt = analyse(recording, kit, ears, learner="L1")
    store.keep(attempt, recording)
    found = Found()
    until = time.monotonic() + (seconds or 0)
    with (
        patch.object(Rooms, "_ears_for", lambda _self, _kit: ears),
        patch.object(Studio, "_enqueue", lambda _self, _jobs: None),
        patch.object(Pace, "allows", lambda _self, *_who: True),
        TestClient(create_app(served), base_url=ORIGIN, raise_server_exceptions=False) as client,
    ):
        known = {"case_id": case_of_words(client, "laps one two three four five", "needles six"),
                 "attempt_id": attempt.attempt_id, "number": 1}  # fmt: skip
        app: Any = client.app
        description = schemathesis.openapi.from_dict(app.openapi())
        operations = [each.ok() for each in description.get_all_operations()]
        while True:
            for operation in operations:
                _try(client, operation, known, found, seed, examples)
            seed += 1
            if time.monotonic() >= until:
                return found


def _try(
    client: TestClient, operation: Any, known: dict[str, Any], found: Found, number: int, most: int
) -> None:
    calls = 0

    @seed(number)
    @settings(
        max_examples=most,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(operation.as_strategy())
    def send(case: Any) -> None:
        nonlocal calls
        calls += 1
        role = PEOPLE[(calls + number) % len(PEOPLE)]
        client.cookies.clear()
        token = signed_in(client, role=role) if role else ""
        if calls % 3:  # most of them about what is there
            case.path_parameters = {
                name: known.get(name, value) for name, value in case.path_parameters.items()
            }
            if isinstance(case.body, dict):
                case.body = {**case.body, "form_token": token}
        made = requests.Request(**case.as_transport_kwargs(base_url=ORIGIN)).prepare()
        answer = client.request(
            made.method or "GET",
            made.url or ORIGIN,
            headers=dict(made.headers),
            content=made.body,
            follow_redirects=False,
        )
        found.tries += 1
        found.refused += answer.status_code >= 400
        where = f"{operation.method.upper()} {operation.path} as {role or 'nobody'}"
        if answer.status_code >= 500:
            found.failures.append(f"{where}: {answer.status_code}")
        stranger = not role and operation.path != "/sign-in"
        # a form is looked at before the person is, and says nothing about what is kept
        if stranger and (answer.status_code < 300 or known["case_id"] in answer.text):
            found.failures.append(f"{where}: {answer.status_code} for nobody")

    send()
