"""What is said wherever a count is shown."""

TWO_PEOPLE = (
    "A count is made by two people, aloud and together; this draft replaces neither of them nor "
    "your facility's policy."
)

NOTHING_CONFIRMED = "Nothing here is confirmed."

NOT_CONFIRMED = "NOT CONFIRMED"
"""Stands beside every value that no person has confirmed."""

CONFIRMED = "CONFIRMED"


def caution(confirmed_lines: int, lines: int) -> str:
    """The caution for a record of which so many lines are confirmed (accepted or amended)."""
    if confirmed_lines == 0:
        return f"{TWO_PEOPLE} {NOTHING_CONFIRMED}"
    return f"{TWO_PEOPLE} {confirmed_lines} of {lines} lines are confirmed."
