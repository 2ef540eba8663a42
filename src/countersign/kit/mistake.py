"""What is wrong with a file that a site writes, and whether it is TOML at all."""

import re
import tomllib
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, field_validator

_LONGEST_QUOTED = 60
_LONGEST = 500


class Mistake(BaseModel):
    """One thing wrong with a file: its line (from 1) and a sentence.

    Of what is quoted in it, the first 60 characters stand for the rest, and of the sentence 500:
    what a file has for a key may be as long as the file.

    An ``error`` makes the file unusable; a ``warning`` is a thing to look at; a ``notice`` is a
    guess of the program that a person should hear and confirm.
    """

    model_config = ConfigDict(frozen=True)

    line: int
    sentence: str
    level: Literal["error", "warning", "notice"] = "error"

    @field_validator("sentence")
    @classmethod
    def _short(cls, sentence: str) -> str:
        sentence = re.sub(
            f"“([^“”]{{{_LONGEST_QUOTED}}})[^“”]+”", lambda found: f"“{found[1]}…”", sentence
        )
        return sentence if len(sentence) <= _LONGEST else f"{sentence[: _LONGEST - 2]}…."


def read_toml(text: str) -> dict[str, Any] | Mistake:
    """The document written in ``text``, or the first fault that keeps it from being TOML."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        return Mistake(line=1, sentence="Lists or tables are nested too deeply.")
    except ValueError as error:
        said = str(error)
        place = re.search(r"\(at line (\d+), column (\d+)\)", said)
        line = int(place[1]) if place else max(1, len(text.splitlines()))
        reason = re.sub(r"\s*\(at [^)]*\)", "", said).rstrip(".")
        return Mistake(line=line, sentence=f"This is not TOML: {reason[:1].lower()}{reason[1:]}.")
