"""How something that left the tool stands to what the ledger has now."""

from enum import StrEnum

from countersign.exchange.importing import read_exported
from countersign.exchange.stored import StoredCase, fingerprint, read_stored, up_to
from countersign.ledger import Ledger
from countersign.problems import BadInput


class Finding(StrEnum):
    """How a file stands to the ledger."""

    MATCHES = "matches"
    CHANGED_SINCE = "changed_since"
    ANOTHER = "another"
    ALTERED = "altered"


def compare(
    ledger: Ledger, case: str, entries: int, sha256: str
) -> tuple[Finding, str, StoredCase | None]:
    """How a hash over so many entries of a case stands to a ledger, with one sentence for people.

    The last value is the case as it was with so many entries, ``None`` for ``ANOTHER``.
    """
    shown = "".join(char if char.isprintable() else "?" for char in case[:64])
    try:
        now = read_stored(ledger, case)
    except BadInput:
        return Finding.ANOTHER, f"Not of this ledger: it has no case {shown}.", None
    if entries > len(now.entries):
        sentence = (
            f"Not of this ledger: its case {now.case} has {len(now.entries)} entries, "
            f"the file shows {entries}."
        )
        return Finding.ANOTHER, sentence, None
    then = up_to(now, entries)
    if fingerprint(then) != sha256:
        sentence = f"Not of this ledger: its case {now.case} has other entries."
        return Finding.ANOTHER, sentence, None
    newer = len(now.entries) - entries
    if newer:
        added = "1 entry was" if newer == 1 else f"{newer} entries were"
        sentence = f"The case has changed since: {added} added to {now.case}."
        return Finding.CHANGED_SINCE, sentence, then
    return Finding.MATCHES, f"Matches case {now.case} in the ledger.", then


def verify_document(data: bytes, ledger: Ledger) -> tuple[Finding, str]:
    """How a case exported as JSON, FHIR or CSV of entries stands to a ledger.

    Raises ``BadInput`` where it is none, or where a hash in it does not fit what is in it.
    """
    stored = read_exported(data)
    found, sentence, _ = compare(ledger, stored.case, len(stored.entries), fingerprint(stored))
    return found, sentence
