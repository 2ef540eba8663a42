"""The policy room: what a facility asks for when a count is not right."""

from countersign.policy.check import check_policy
from countersign.policy.checklist import CheckedStep, applies, checklist, may_enter
from countersign.policy.model import Policy, PolicyStep
from countersign.policy.read import common_policy_path, read_policy

__all__ = [
    "CheckedStep",
    "Policy",
    "PolicyStep",
    "applies",
    "check_policy",
    "checklist",
    "common_policy_path",
    "may_enter",
    "read_policy",
]
