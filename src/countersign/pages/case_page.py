"""One case as a page: read from the ledger, shown whole or as the part that a script renews."""

from collections import Counter
from typing import Annotated

from fastapi import Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from countersign import settings
from countersign.confirm import Person
from countersign.confirm.amending import NotUnderstood
from countersign.ledger import CaseHistory, list_cases, read_case, record_of
from countersign.pages.board import board
from countersign.pages.people import people_of
from countersign.pages.read_back import can_speak
from countersign.pages.rooms import Rooms
from countersign.pages.sessions import SignedIn
from countersign.pages.sign_in import Render
from countersign.pages.whole_view import deeds, differences, medications, set_up_places
from countersign.policy import Policy, read_policy
from countersign.problems import BadInput
from countersign.tally import reasons_against_whole
from countersign.tally.record import CountRecord, Line
from countersign.wording import is_confirmed

LARGEST_NUMBER = 2**31

CaseText = Annotated[str, Form(max_length=80)]
Reason = Annotated[str, Form(max_length=200)]
LineNumber = Annotated[int, Form(ge=1, le=LARGEST_NUMBER)]
Seen = Annotated[int, Form(ge=0, le=LARGEST_NUMBER)]
"""The newest entry of the ledger that the person had in view."""


class CasePage:
    """Reads a case and shows it."""

    def __init__(self, rooms: Rooms, render: Render) -> None:
        """Nothing is read yet."""
        self._rooms, self._render = rooms, render

    def kept(self, case_id: str) -> tuple[CaseHistory, CountRecord]:
        """The case and its record; answers "not found" where there is none."""
        try:
            history = read_case(self._rooms.ledger, case_id)
        except BadInput as problem:
            known = {case.case_id for case in list_cases(self._rooms.ledger)}
            # where the ledger lies is nobody's business here
            sentence = str(problem) if case_id in known else f"There is no case {case_id[:40]}."
            raise HTTPException(404, sentence) from None
        return history, record_of(history)

    def show(
        self,
        request: Request,
        person: SignedIn,
        case_id: str,
        *,
        whole: bool,
        problem: str = "",
        code: int = 200,
    ) -> Response:
        """The page, or the part of it that changes."""
        history, record = self.kept(case_id)
        policy, policy_problem = _policy_to_show(history, record)
        return self._render(
            request,
            "case.html" if whole else "record.html",
            code,
            person=person,
            history=history,
            record=record,
            board=board(history, record),
            confirmed_lines=sum(map(is_confirmed, record.lines)),
            confirmers=_confirmers(record),
            live=self._rooms.has_sound(case_id) and not history.heard_to_the_end,
            open_events=self._rooms.open_events(case_id),
            can_speak=can_speak(),
            medications=medications(record, history.kit),
            set_up_places=set_up_places(record, history.kit),
            policy=policy,
            policy_problem=policy_problem,
            differences=differences(record, history.kit, policy, person.role),
            pins=self.asks_pins(),
            deeds=deeds(history, record),
            against_whole=reasons_against_whole(record),
            problem=problem,
        )

    def answer(
        self, request: Request, person: SignedIn, case_id: str, only: str, problem: str, code: int
    ) -> Response:
        """The part that a script asked for, else the whole page (by its address if all is well)."""
        if not only and not problem:
            return RedirectResponse(f"/cases/{case_id}", 303)
        return self.show(request, person, case_id, whole=not only, problem=problem, code=code)

    def asks_pins(self) -> bool:
        """Whether everyone here has a PIN."""
        served = self._rooms.served
        return served.network or bool(people_of(served.people))


def _confirmers(record: CountRecord) -> list[str]:
    """Whose decisions are in force, each with how many of the confirmed lines."""
    signed = Counter(
        line.decision.initials for line in record.lines if is_confirmed(line) and line.decision
    )
    return [f"{initials} {lines}" for initials, lines in signed.most_common()]


def policy_of(history: CaseHistory) -> Policy:
    """What was entered stands under the policy of its day; before that, the one in force holds."""
    return history.policy or read_policy(settings.policy_path())


def _policy_to_show(history: CaseHistory, record: CountRecord) -> tuple[Policy | None, str]:
    """The policy where one is needed, and why it cannot be read: the rest of the page goes on."""
    if not record.discrepancies:
        return None, ""
    try:
        return policy_of(history), ""
    except BadInput as problem:
        return None, str(problem)


def line_of(record: CountRecord, number: int) -> Line:
    """The line of this number; ``NotUnderstood`` where there is none."""
    if not 1 <= number <= len(record.lines):
        raise NotUnderstood(f"There is no line {number}.")
    return record.lines[number - 1]


def as_person(signed_in: SignedIn) -> Person:
    """Who decides, as the ledger keeps it."""
    return Person(role=signed_in.role, initials=signed_in.initials)
