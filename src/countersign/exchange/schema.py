"""The JSON Schema (draft 2020-12) of the exported document, made from the models behind it.

``python -m countersign.exchange.schema`` writes it anew into the package after a model changed.
"""

import json
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from countersign.exchange.document import FORMAT
from countersign.exchange.stored import StoredEntry
from countersign.meaning.event import Event, MedicationDetail, Phase, Question, Verdict
from countersign.medication.values import (
    Drawn,
    Finding,
    Preparation,
    SubstanceTotal,
)
from countersign.policy.model import Policy
from countersign.tally.record import (
    Broken,
    Decision,
    Discrepancy,
    Notice,
    Packed,
    PhaseCount,
    SignedException,
    StepDone,
)

NAME = "case.schema.json"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
DECIMAL = r"^-?[0-9]+(\.[0-9]+)?$"

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Status = Annotated[str, Field(pattern=r"^(NOT CONFIRMED|CONFIRMED)")]
Number = Annotated[int | str, Field(json_schema_extra={"pattern": DECIMAL})]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid")


class _KitName(_Closed):
    title: str
    sha256: Sha256


class _Verdict(_Closed):
    """``text`` names every exception on which the verdict stands: show it, never the bare value."""

    confirmed: Verdict | None
    text: str | None
    by_exception: tuple[SignedException, ...]
    heard: Verdict | None
    status: Literal["CONFIRMED", "NOT CONFIRMED"]


class _Confirmed(_Closed):
    item: str | None
    quantity: Number | None
    unit: str | None
    place: str | None
    part: str | None
    medication: MedicationDetail | None


class _Heard(Event):
    """What was heard; ``status`` says whether just this was confirmed."""

    model_config = ConfigDict(extra="forbid")

    status: Status


class _Line(_Closed):
    line: Annotated[int, Field(ge=1)]
    status: Status
    text: str
    phase: Phase | None
    expected: int | None
    confirmed: _Confirmed | None
    heard: _Heard
    questions: tuple[Question, ...]
    struck_by: int | None
    decision: Decision | None


class _HeardTotal(_Closed):
    class At(_Closed):
        place: str | None
        part: str | None
        quantity: int

    status: Status
    expected: int | None
    last: int | None
    at: tuple[At, ...]


class _ConfirmedTotal(_Closed):
    status: Status
    expected: int | None
    last: int | None


class _Total(_Closed):
    item: str
    label: str
    heard: _HeardTotal
    confirmed: _ConfirmedTotal


class _AmountText(_Closed):
    """An amount with its UCUM unit, and as people read it."""

    value: Number
    unit: str
    text: str


class _Found(Discrepancy):
    """A discrepancy in words; ``difference`` is counted less expected."""

    model_config = ConfigDict(extra="forbid")

    label: str
    open: bool
    text: str


class _Preparation(Preparation):
    model_config = ConfigDict(extra="forbid")

    status: Status
    text: str


class _Drawn(Drawn):
    model_config = ConfigDict(extra="forbid")

    status: Status
    text: str


class _SubstanceTotal(SubstanceTotal):
    model_config = ConfigDict(extra="forbid")

    status: Status
    text: str


class _Medications(_Closed):
    """The account of what is on the field; amounts have a UCUM unit and a text beside them."""

    caution: str
    doses_caution: str
    on_the_field: tuple[_Preparation, ...]
    draws: tuple[_Drawn, ...]
    totals: tuple[_SubstanceTotal, ...]
    questions: tuple[Finding, ...]


class _History(_Closed):
    """The case exactly as the ledger keeps it, confirmed or not: ``sha256`` names this content."""

    status: Status
    case: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]
    opened_at: AwareDatetime
    source: str
    kit: str
    kit_sha256: Sha256
    entries: tuple[StoredEntry, ...]
    sha256: Sha256


class Document(_Closed):
    """A case as ``countersign export CASE --json`` writes it.

    Numbers are integers or decimal strings. Nothing may be used as a count unless the ``status``
    beside it is ``CONFIRMED``.
    """

    format: Literal["countersign-case-1"]
    case: str
    status: Literal["CONFIRMED", "NOT CONFIRMED"]
    caution: str
    opened_at: AwareDatetime
    source: str
    heard_to_the_end: bool
    kit: _KitName
    verdict: _Verdict
    open_questions: Annotated[int, Field(ge=0)]
    questions: tuple[Question, ...]
    lines: tuple[_Line, ...]
    totals: tuple[_Total, ...]
    medications: _Medications
    discrepancies: tuple[_Found, ...]
    packed: tuple[Packed, ...]
    broken: tuple[Broken, ...]
    phases: tuple[PhaseCount, ...]
    notices: tuple[Notice, ...]
    decisions: tuple[Decision, ...]
    steps: tuple[StepDone, ...]
    exceptions: tuple[SignedException, ...]
    policy: Policy | None
    software: str
    model: str | None
    history: _History
    document_sha256: Sha256


class _Decimals(GenerateJsonSchema):
    """Fractions are decimal strings in the document, never JSON numbers."""

    def float_schema(self, schema: core_schema.FloatSchema) -> JsonSchemaValue:
        return {"type": "string", "pattern": DECIMAL}

    def decimal_schema(self, schema: core_schema.DecimalSchema) -> JsonSchemaValue:
        return {"type": "string", "pattern": DECIMAL}


def made_schema() -> dict[str, Any]:
    """The schema of the models as they are."""
    schema = Document.model_json_schema(mode="serialization", schema_generator=_Decimals)
    definitions = schema["$defs"]
    # The document shows an amount with the words for it, in the unit that people read.
    definitions["Amount"] = _AmountText.model_json_schema()
    for holder, name in (("_History", "kit"), ("StoredEntry", "body")):
        definitions[holder]["properties"][name]["contentMediaType"] = "application/json"
    definitions["_Confirmed"]["required"].remove("medication")  # only on such a line
    found = definitions["_Found"]
    found["properties"]["difference"] = {"type": "integer"}
    found["required"].append("difference")
    return {"$schema": DIALECT, "$id": f"urn:countersign:{FORMAT}", **schema}


def shipped_schema() -> dict[str, Any]:
    """The schema in the package."""
    text = (files("countersign.exchange") / NAME).read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def schema_text() -> str:
    """The schema as it is published."""
    return json.dumps(made_schema(), indent=2, sort_keys=False) + "\n"


if __name__ == "__main__":
    (Path(__file__).parent / NAME).write_text(schema_text(), encoding="utf-8")
