"""Reading a policy file."""

import os
from importlib.resources import files
from pathlib import Path

from countersign.policy.check import load, policy_text
from countersign.policy.model import Policy
from countersign.problems import BadInput


def common_policy_path() -> Path:
    """Where the policy that is shipped (common practice, no source) is installed."""
    return Path(str(files("countersign.policy") / "common_practice.toml"))


def read_policy(path: str | os.PathLike[str] | None = None) -> Policy:
    """The policy in a TOML file, the shipped one without a path.

    Raises :class:`BadInput` with one sentence, naming the line, if the file cannot be read, is not
    TOML, or says something a policy cannot say; :func:`check_policy` lists everything at once.
    """
    path = common_policy_path() if path is None else path
    policy, mistakes = load(policy_text(path))
    if policy is None:
        first = next(mistake for mistake in mistakes if mistake.level == "error")
        raise BadInput(f"{os.fspath(path)}, line {first.line}: {first.sentence}")
    return policy
