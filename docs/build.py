"""Build the documentation (extra ``docs``): ``python docs/build.py``.

Writes the page of all commands (``commands.md``) and the manual page (``countersign.1``) anew from
the program itself; both are kept in the repository, the manual page goes into the wheel. Then
builds the site in ``build/site``. A warning is an error.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

_END = """
## Exit codes

0: done. 1: `verify` found a difference. 2: the input cannot be used; one sentence on standard error
says why, and nothing was half-written. 130: stopped with Ctrl-C.

## Surroundings

* `COUNTERSIGN_LEDGER`: the ledger file, instead of the one in your data folder.
* `COUNTERSIGN_KIT`, `COUNTERSIGN_POLICY`, `COUNTERSIGN_CHECKLIST`: files to use where a command is
  given none.
* `COUNTERSIGN_LEDGER_COPY`: where the running copy of the ledger is kept.
* `COUNTERSIGN_PIN`: the PIN for `stream`, where nobody is there to type it.
* `COUNTERSIGN_KEY`: the file with the key of an encrypted ledger.

## Caution

A count is made by two people, aloud and together. This program replaces neither of them, nor your
facility's policy, nor licensed practice. Nothing it hears is a count until a person has confirmed
it.
"""

DOCS = Path(__file__).parent
SITE = DOCS.parent / "build" / "site"


def main() -> None:
    """Everything, in its order."""
    commands = DOCS / "commands.md"
    made = _run(
        "typer", "countersign.cli", "utils", "docs", "--name", "countersign", "--title", "Commands"
    )
    commands.write_text(
        re.sub(r"[ \t]+$", "", made, flags=re.MULTILINE).rstrip() + "\n" + _END, "utf-8"
    )
    with tempfile.TemporaryDirectory() as folder:
        _sphinx("man", Path(folder))
        page = (Path(folder) / "countersign.1").read_text(encoding="utf-8")
    # The day on which it was made would make every page another one.
    page = re.sub(r'^(\.TH "COUNTERSIGN" "1") "[^"]*"', r'\1 ""', page, flags=re.MULTILINE)
    (DOCS / "countersign.1").write_text(page, encoding="utf-8")
    _sphinx("html", SITE)
    print(f"{SITE / 'index.html'}")


def _sphinx(builder: str, out: Path) -> None:
    _run("sphinx", "-q", "-W", "--keep-going", "-E", "-b", builder, str(DOCS), str(out))


def _run(module: str, *arguments: str) -> str:
    command = [sys.executable, "-m", module, *arguments]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


if __name__ == "__main__":
    main()
