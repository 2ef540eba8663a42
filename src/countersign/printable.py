"""Text from outside, made safe to print."""

import unicodedata


def clean(text: str) -> str:
    """``text`` without characters that could steer a terminal (controls, direction marks)."""
    return "".join(
        "\ufffd" if unicodedata.category(char).startswith("C") else char for char in text
    )
