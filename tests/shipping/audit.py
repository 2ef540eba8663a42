"""Known weaknesses of what is locked: ``python -m tests.shipping.audit`` (pip-audit, network).

pip-audit asks the advisory service of the package index for each package of the lock files. On its
own it ends well when the service answers for no package at all; here, a package that was not
audited is no success. ``--advisories DIR`` compares with a copy of an advisory database instead
(OSV files, see ``tests.shipping.osv``), for a machine without a network; it is as old as the copy.
Exit code 0: all audited, nothing known; 1: a weakness is known; 2: not audited.
"""

import argparse
import importlib.util
import json
import subprocess
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from packaging.version import InvalidVersion
from tests.shipping.lock import Locked, read_lock
from tests.shipping.osv import Advisory, read_folder

DEPLOY = Path(__file__).parents[2] / "deploy"
LOCKS = ("requirements.lock", "build.lock")
FOUND, NOT_AUDITED = 1, 2


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--advisories", type=Path, metavar="DIR", help="A copy in OSV files.")
    asked.add_argument("--lock", action="append", choices=[*LOCKS, "development.lock"])
    given = asked.parse_args()
    names = given.lock or LOCKS
    if given.advisories is not None:
        return _from_copy(given.advisories, names)
    if importlib.util.find_spec("pip_audit") is None:
        print("pip-audit is not installed: pip install pip-audit.", file=sys.stderr)
        return NOT_AUDITED
    worst = 0
    for name in names:
        command = [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes"]
        command += ["--progress-spinner", "off", "-f", "json", "-r", str(DEPLOY / name)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        code, sentences = judge(name, done.stdout, done.stderr)
        worst = max(worst, code)
        print("\n".join(sentences))
    print(f"Asked on {datetime.now(UTC):%Y-%m-%d %H:%M} UTC.")
    return worst


def _from_copy(folder: Path, names: list[str] | tuple[str, ...]) -> int:
    advisories, unread = read_folder(folder)
    if not advisories:
        print(f"Not audited: no advisories in OSV files below {folder}.", file=sys.stderr)
        return NOT_AUDITED
    codes = []
    for name in names:
        code, sentences = compare(name, read_lock(DEPLOY / name), advisories)
        codes.append(code)
        print("\n".join(sentences))
    newest = max(advisories, key=lambda each: each.modified)
    print(f"{len(advisories)} advisories, the newest ({newest.id}) of {newest.modified[:10]};")
    print("what became known later is not in this copy.")
    if unread:
        print(f"{len(unread)} files could not be read, the first is {unread[0]}.", file=sys.stderr)
    return FOUND if FOUND in codes else NOT_AUDITED if unread else max(codes)


def compare(
    name: str, locked: Mapping[str, list[Locked]], advisories: list[Advisory]
) -> tuple[int, list[str]]:
    """The exit code for one lock against a copy of advisories, and the sentences to print."""
    sentences, weak, open_, named = [], set(), 0, set()
    for advisory in advisories:
        for each in locked.get(advisory.package, []):
            named.add(advisory.package)
            what = f"{advisory.package} {each.version}: {advisory.id}"
            try:
                if advisory.touches(each.version):
                    weak.add(advisory.package)
                    sentences.append(f"{what}, mended in {advisory.mended_in}.")
            except InvalidVersion as error:
                open_ += 1
                sentences.append(f"{what} could not be compared: {error}.")
    sentences.append(
        f"{name}: {len(locked)} packages compared, {len(named)} have advisories, {len(weak)} weak."
    )
    return FOUND if weak else NOT_AUDITED if open_ or not locked else 0, sentences


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
