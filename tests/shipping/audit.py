"""Known weaknesses of what is locked: ``python -m tests.shipping.audit`` (pip-audit, network).

pip-audit asks the advisory service of the package index for each package of the lock files. On its
own it ends well when the service answers for no package at all; here, a package that was not
audited is no success. Exit code 0: all audited, nothing known; 1: a weakness is known; 2: not
audited.
"""

import importlib.util
import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

DEPLOY = Path(__file__).parents[2] / "deploy"
LOCKS = ("requirements.lock", "build.lock")
FOUND, NOT_AUDITED = 1, 2


def main() -> int:
    if importlib.util.find_spec("pip_audit") is None:
        print("pip-audit is not installed: pip install pip-audit.", file=sys.stderr)
        return NOT_AUDITED
    worst = 0
    for name in LOCKS:
        command = [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes"]
        command += ["--progress-spinner", "off", "-f", "json", "-r", str(DEPLOY / name)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        code, sentences = judge(name, done.stdout, done.stderr)
        worst = max(worst, code)
        print("\n".join(sentences))
    print(f"Asked on {datetime.now(UTC):%Y-%m-%d %H:%M} UTC.")
    return worst


def judge(name: str, output: str, error: str = "") -> tuple[int, list[str]]:
    """The exit code for what pip-audit wrote about one lock file, and the sentences to print."""
    try:
        listed: list[dict[str, Any]] = json.loads(output)["dependencies"]
    except (ValueError, KeyError, TypeError):
        last = (error.strip().splitlines() or ["no reason was given"])[-1]
        return NOT_AUDITED, [f"{name} was not audited: {last}"]
    skipped = [each["name"] for each in listed if "skip_reason" in each]
    weak = [each for each in listed if each.get("vulns")]
    sentences = [
        f"{each['name']} {each['version']}: {found['id']}, mended in "
        f"{', '.join(found.get('fix_versions') or ['no version yet'])}."
        for each in weak
        for found in each["vulns"]
    ]
    audited = len(listed) - len(skipped)
    sentences.append(f"{name}: {audited} of {len(listed)} packages audited, {len(weak)} weak.")
    if skipped:
        sentences.append(f"Not audited, the service did not answer for: {', '.join(skipped)}.")
    if weak:
        return FOUND, sentences
    return (NOT_AUDITED if skipped or not listed else 0), sentences


if __name__ == "__main__":
    sys.exit(main())
