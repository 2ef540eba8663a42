"""The educator's checklist: a TOML file of points, some of which the program can judge itself."""

import os
import tomllib
from enum import StrEnum
from importlib.resources import files
from pathlib import Path
from typing import Self

import tomlkit
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from countersign.problems import BadInput

VARIABLE = "COUNTERSIGN_CHECKLIST"
WRITTEN_FILE = "checklist.toml"
_LARGEST_BYTES = 100_000


class Check(StrEnum):
    """What the program can judge from the sound."""

    ORDER = "order"
    ONE_BY_ONE = "one_by_one"
    BOTH_VOICES = "both_voices"
    LABELS = "labels"
    EXPIRY = "expiry"
    INTERRUPTIONS = "interruptions"
    STEADY = "steady"
    VERDICT = "verdict"


class Point(BaseModel):
    """One point. Without ``check`` only a person can judge it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")
    say: str = Field(min_length=1, max_length=200)
    check: Check | None = None
    weight: int = Field(default=1, ge=1, le=10)


class Checklist(BaseModel):
    """The points in the order in which they are shown."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str = Field(min_length=1, max_length=100)
    points: tuple[Point, ...] = Field(min_length=1, max_length=50)

    @model_validator(mode="after")
    def _ids_once(self) -> Self:
        ids = [point.id for point in self.points]
        if len(set(ids)) != len(ids):
            raise ValueError("two points have the same id")
        return self


def common_checklist_path() -> Path:
    """Where the checklist that is shipped (common practice, no source) is installed."""
    return Path(str(files("countersign.review") / "common_practice.toml"))


def checklist_path(given: Path | None = None, written: Path | None = None) -> Path:
    """The checklist: ``given``, else ``COUNTERSIGN_CHECKLIST``, else what was written on the pages
    (where that file is there), else the shipped one.
    """
    named = named_checklist(given)
    if named is not None:
        return named
    return written if written is not None and written.is_file() else common_checklist_path()


def named_checklist(given: Path | None = None) -> Path | None:
    """The file that is used whatever the pages say; ``None`` where nobody named one."""
    named = os.environ.get(VARIABLE)
    return given or (Path(named).expanduser() if named else None)


def write_checklist(path: Path, checklist: Checklist) -> None:
    """Write a checklist as a file that people can go on with; ``BadInput`` where it cannot be."""
    document = tomlkit.document()
    document.add("title", checklist.title)
    points = tomlkit.aot()
    for point in checklist.points:
        table = tomlkit.table()
        table.update(point.model_dump(mode="json", exclude_defaults=True))
        points.append(table)
    document.add("points", points)
    part = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part.write_text(tomlkit.dumps(document), encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise BadInput(f"The checklist cannot be kept ({error.strerror}).") from error


def read_checklist(path: Path) -> Checklist:
    """A checklist; ``BadInput`` with one sentence where it cannot be used."""
    try:
        data = path.read_bytes()
        if len(data) > _LARGEST_BYTES:
            raise BadInput(f"{path} is too long for a checklist.")
        return Checklist.model_validate(tomllib.loads(data.decode("utf-8")))
    except OSError as error:
        raise BadInput(f"The checklist {path} cannot be read ({error.strerror}).") from None
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part)[:40] for part in first["loc"]) or "the whole"
        raise BadInput(f"The checklist {path}, {where}: {first['msg']}.") from None
    except (ValueError, RecursionError) as error:  # also numbers of thousands of digits
        raise BadInput(f"The checklist {path} is not TOML: {error}.") from None
