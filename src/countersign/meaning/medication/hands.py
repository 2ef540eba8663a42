"""Who gave a medication to the field and who took it."""

from collections.abc import Sequence

ROLES: dict[tuple[str, ...], str] = {
    ("scrub", "technologist"): "scrub",
    ("scrub", "tech"): "scrub",
    ("scrub", "nurse"): "scrub",
    ("scrub",): "scrub",
    ("technologist",): "scrub",
    ("tech",): "scrub",
    ("circulating", "nurse"): "circulator",
    ("circulator",): "circulator",
    ("anesthesiologist",): "anesthesia",
    ("anesthetist",): "anesthesia",
    ("anesthesia",): "anesthesia",
    ("pharmacist",): "pharmacy",
    ("pharmacy",): "pharmacy",
    ("surgeon",): "surgeon",
}
"""How the people of an operating room are called (common practice, no source)."""

_ARTICLES = ("the", "our", "my")


def hands_at(words: Sequence[str], start: int) -> tuple[str, str, int] | None:
    """Field (``received_by`` or ``received_from``), role, and where "from the circulator" ends.

    "By" and "to" name who received it.
    """
    if words[start] not in ("from", "by", "to"):
        return None
    position = start + 1
    position += words[position : position + 1] != [] and words[position] in _ARTICLES
    for phrase, role in ROLES.items():
        if tuple(words[position : position + len(phrase)]) == phrase:
            name = "received_from" if words[start] == "from" else "received_by"
            return name, role, position + len(phrase)
    return None
