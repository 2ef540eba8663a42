"""A facility's policy: the steps it asks for when a count is not right."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from countersign.kit.model import Group

CAUTION = "Your facility's policy decides what is done and in which order."


class PolicyStep(BaseModel):
    """One step: its short name, and one sentence for the people in the room.

    ``by`` are the roles that may enter it, all of them if empty. ``when`` limits the step to what
    is missing or over, ``groups`` to some count groups.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    say: str
    by: tuple[Literal["scrub", "circulator", "relief", "educator"], ...] = ()
    when: Literal["missing", "over"] | None = None
    groups: tuple[Group, ...] = ()


class Policy(BaseModel):
    """The steps in their order. ``caution`` stands wherever they are shown."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str
    caution: str = CAUTION
    steps: tuple[PolicyStep, ...] = Field(min_length=1)

    def step(self, step_id: str) -> PolicyStep:
        """The step with this id; ``KeyError`` if the policy has none."""
        return {step.id: step for step in self.steps}[step_id]
