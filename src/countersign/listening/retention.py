"""How long the sound of live cases is kept, and deleting it: the record itself stays.

What belongs to the sound is everything in a case's folder: the recording, and the words of
everything that was heard, talk included. The count keeps the words of its own lines. A file is
removed from its folder; what the disk still has of it, and backups of the folder, are outside the
program's reach.
"""

import hashlib
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from countersign.ledger import Ledger, Note, append_note, list_cases, read_case
from countersign.ledger.history import CaseHistory, SoundAct, SoundFile
from countersign.problems import BadInput
from countersign.tally.record import Role

_GOING = ".deleting"


class KeptCase(BaseModel):
    """The kept sound of one case; ``ended_at`` is when it was last written."""

    model_config = ConfigDict(frozen=True)

    case_id: str
    size_bytes: int
    ended_at: datetime
    live: bool
    held: SoundAct | None


def kept_cases(ledger: Ledger, folder: Path) -> tuple[KeptCase, ...]:
    """Every case whose sound is kept in ``folder``, oldest first."""
    settle(ledger, folder)
    found = []
    for summary in list_cases(ledger):
        place = folder / summary.case_id
        files = _files(place)
        if files:
            history = read_case(ledger, summary.case_id)
            newest = max(file.stat().st_mtime for file in files)
            case = KeptCase(
                case_id=summary.case_id,
                size_bytes=sum(file.stat().st_size for file in files),
                ended_at=datetime.fromtimestamp(newest, UTC),
                live=not history.heard_to_the_end,
                held=history.sound_held,
            )
            found.append(case)
    return tuple(found)


def older_than(cases: tuple[KeptCase, ...], days: int, now: datetime) -> tuple[KeptCase, ...]:
    """The cases that may go: ended, held by nobody, and last written so many days ago."""
    before = now - timedelta(days=days)
    return tuple(c for c in cases if not c.live and c.held is None and c.ended_at < before)


def hold(
    ledger: Ledger, case_id: str, role: Role, initials: str, reason: str, *, release: bool = False
) -> None:
    """Keep the sound of a case from being deleted, or release it again."""
    held = read_case(ledger, case_id).sound_held
    if release and held is None:
        raise BadInput(f"Nobody holds the sound of case {case_id}.")
    act = SoundAct(
        act="release" if release else "hold",
        role=role,
        initials=initials,
        at=datetime.now(UTC),
        reason=reason,
    )
    append_note(ledger, case_id, Note(topic="sound", sound=act))


def delete_sound(
    ledger: Ledger, folder: Path, case_id: str, role: Role, initials: str, reason: str
) -> SoundAct:
    """Delete the kept sound and words of a case, and keep in its record who did so and when.

    ``BadInput``, with nothing deleted, where none is kept, the case is still listened to, somebody
    holds the sound, or the record cannot be written.
    """
    settle(ledger, folder)
    history = read_case(ledger, case_id)
    place = folder / case_id
    if history.sound_deleted is not None and not place.exists():
        raise BadInput(deleted_text(history.sound_deleted))
    if not place.is_dir():
        raise BadInput(_not_kept(history))
    if not history.heard_to_the_end:
        raise BadInput(f"Case {case_id} is still listened to; end it first.")
    if history.sound_held is not None:
        raise BadInput(
            f"The sound of case {case_id} is held by {history.sound_held.initials}; release it"
            " first."
        )
    going = place.with_name(f"{case_id}{_GOING}")
    try:
        files = tuple(_described(file, place) for file in _files(place))
        place.rename(going)  # a crash from here on is put right by ``settle``
        act = SoundAct(
            act="delete",
            role=role,
            initials=initials,
            at=datetime.now(UTC),
            reason=reason,
            files=files,
        )
        try:
            append_note(ledger, case_id, Note(topic="sound", sound=act))
        except BaseException:
            going.rename(place)
            raise
        shutil.rmtree(going)
    except OSError as error:
        raise BadInput(f"The sound in {place} cannot be deleted ({error.strerror}).") from error
    return act


def settle(ledger: Ledger, folder: Path) -> None:
    """Finish, or take back, a deletion in the middle of which the program stopped."""
    for going in folder.glob(f"*{_GOING}") if folder.is_dir() else ():
        case_id = going.name.removesuffix(_GOING)
        try:
            if read_case(ledger, case_id).sound_deleted is not None:
                shutil.rmtree(going)
            else:
                going.rename(going.with_name(case_id))
        except OSError as error:
            raise BadInput(f"The sound in {going} cannot be moved ({error.strerror}).") from error


def deleted_text(act: SoundAct) -> str:
    """In one sentence, that the sound was deleted, by whom and when."""
    return (
        f"The sound of this case was deleted by {act.initials} ({act.role.value}) on "
        f"{act.at.astimezone():%Y-%m-%d at %H:%M}."
    )


def _not_kept(history: CaseHistory) -> str:
    if Path(history.source).is_absolute():
        return (
            f"The sound of case {history.case_id} is not kept here: it is your own file"
            f" {history.source}."
        )
    return f"No sound of case {history.case_id} is kept."


def _files(place: Path) -> list[Path]:
    return sorted(file for file in place.rglob("*") if file.is_file()) if place.is_dir() else []


def _described(file: Path, place: Path) -> SoundFile:
    with file.open("rb") as opened:
        digest = hashlib.file_digest(opened, "sha256").hexdigest()
    return SoundFile(
        name=str(file.relative_to(place)), size_bytes=file.stat().st_size, sha256=digest
    )
