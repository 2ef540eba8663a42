"""The policy's steps for one discrepancy, with what people entered."""

from typing import NamedTuple

from countersign.kit.model import Kit
from countersign.policy.model import Policy, PolicyStep
from countersign.tally.record import Discrepancy, Role, StepDone


class CheckedStep(NamedTuple):
    """One step of the policy and who did it, ``None`` while nobody entered it."""

    step: PolicyStep
    done: StepDone | None


def checklist(policy: Policy, discrepancy: Discrepancy, kit: Kit) -> list[CheckedStep]:
    """The steps that the policy asks for here, in its order.

    Steps that people entered under another policy, or that no longer apply, come after them.
    """
    done = {made.step: made for made in discrepancy.steps}
    asked = [step for step in policy.steps if applies(step, discrepancy, kit)]
    found = [CheckedStep(step, done.pop(step.id, None)) for step in asked]
    found += [
        CheckedStep(PolicyStep.model_construct(id=made.step, say=made.text or made.step), made)
        for made in done.values()
    ]
    return found


def applies(step: PolicyStep, discrepancy: Discrepancy, kit: Kit) -> bool:
    """Whether the policy asks for this step in this discrepancy."""
    groups = {item.id: item.group for item in kit.items}
    if step.groups and groups.get(discrepancy.item) not in step.groups:
        return False
    missing = discrepancy.difference < 0 or bool(discrepancy.missing_parts)
    match step.when:
        case "missing":
            return missing
        case "over":
            return discrepancy.difference > 0
    return True


def may_enter(step: PolicyStep, role: Role) -> bool:
    """Whether someone in this role may enter the step; whoever relieves stands in for others."""
    return not step.by or role is Role.RELIEF or role.value in step.by
