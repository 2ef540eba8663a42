"""Reading the count back aloud: what asks for it, its words, and their sound.

The words are spoken by espeak-ng where it is installed; it runs as a program of its own, on text
that is made here from the record and the kit, never on what somebody typed.
"""

import shutil
import subprocess

from countersign.kit import Group, Kit
from countersign.meaning.cues import GROUP_WORDS
from countersign.problems import BadInput
from countersign.tally.record import CountRecord, Total
from countersign.wording import GROUPS, item_label

WHOLE = "all"
"""Stands for every group."""

PHRASES: tuple[tuple[str, str], ...] = (
    ("initial count · relief count · closing count · final count", "begins a count"),
    ("count is correct · count is not correct", "ends a count"),
    ("recount · count again", "asks for it to be counted again"),
    ("strike that · cancel the last one", "strikes the last line"),
    ("sponge count, for the record · sharps, for the record", "reads that group back"),
    ("for the record", "reads the whole count back"),
)
"""What the scrub says and what it does: words of the trade (common practice, no source), and "for
the record" of our own choosing. A phrase makes a line or a voice; it never confirms anything."""

_ASKS = ("for the record",)
_COUNTS = frozenset({"count", "counts", "items", "small", "the"})
_LONGEST_S = 20.0
_WORDS_A_MINUTE = "150"


def asked_read_back(words: str) -> str | None:
    """The group that an utterance asks to have read back: "sponge count, for the record".

    Gives the value of a :class:`Group`, :data:`WHOLE`, or ``None`` where nothing is asked for:
    what is said after "for the record" is a remark, and so is anything else before it.
    """
    for asks in _ASKS:
        before, found, after = f" {words} ".partition(f" {asks} ")
        if not found or after.strip():
            continue
        said = before.split()
        groups = {GROUP_WORDS[word] for word in said if word in GROUP_WORDS}
        if any(word not in GROUP_WORDS and word not in _COUNTS for word in said):
            return None
        if len(groups) == 1:
            return groups.pop().value
        return WHOLE if not groups else None
    return None


def read_back_text(record: CountRecord, kit: Kit, group: str) -> str:
    """What is read back, item by item: the number counted last, and whether a person confirmed it.

    ``BadInput`` where there is no such group.
    """
    if group != WHOLE and group not in {each.value for each in Group}:
        raise BadInput("There is no such count group.")
    totals = {total.item: total for total in record.totals}
    sentences = []
    for each in Group:
        if group not in (WHOLE, each.value):
            continue
        rows = [
            _item_text(totals[item.id], kit)
            for item in kit.items
            if item.group is each and item.id in totals and totals[item.id].heard_last is not None
        ]
        if rows:
            sentences.append(f"{GROUPS[each].capitalize()}. {' '.join(rows)}")
    if not sentences:
        return "Nothing was counted yet."
    waiting = sum(line.is_open for line in record.lines)
    noun = "line waits" if waiting == 1 else "lines wait"
    sentences.append(f"{waiting} {noun} for a person." if waiting else "No line is open.")
    return " ".join(sentences)


def _item_text(total: Total, kit: Kit) -> str:
    label = item_label(total.item, kit).replace("×", "by")
    confirmed = total.confirmed_last == total.heard_last
    return f"{label}: {total.heard_last}{'' if confirmed else ', not confirmed'}."


def can_speak() -> bool:
    """Whether the synthesiser is installed."""
    return shutil.which("espeak-ng") is not None


def spoken(text: str) -> bytes:
    """A text as the bytes of a WAV file; ``BadInput`` where it cannot be spoken."""
    program = shutil.which("espeak-ng")
    if program is None:
        raise BadInput("Reading aloud needs the program espeak-ng, and it is not installed.")
    try:
        made = subprocess.run(
            [program, "-v", "en-us", "-s", _WORDS_A_MINUTE, "--stdin", "--stdout"],
            input=text.encode(),
            capture_output=True,
            timeout=_LONGEST_S,
            check=True,
        )
    except (OSError, subprocess.SubprocessError):
        raise BadInput("The count could not be read aloud.") from None
    return _with_true_sizes(made.stdout)


def _with_true_sizes(wave: bytes) -> bytes:
    """A WAV file that was written to a pipe says it is endless; browsers want its real length."""
    at = wave.find(b"data")
    if wave[:4] != b"RIFF" or at < 0:
        raise BadInput("The count could not be read aloud.")
    riff = (len(wave) - 8).to_bytes(4, "little")
    data = (len(wave) - at - 8).to_bytes(4, "little")
    return wave[:4] + riff + wave[8 : at + 4] + data + wave[at + 8 :]
