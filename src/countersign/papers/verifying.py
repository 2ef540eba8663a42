"""Whether a paper still says what the ledger says."""

import io
import json
import re
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from countersign.exchange.comparing import Finding, compare
from countersign.exchange.software import software
from countersign.exchange.stored import StoredCase
from countersign.ledger import Ledger, read_case
from countersign.papers.page import SUBJECT
from countersign.papers.practice import MOST_ATTEMPTS, practice_of
from countersign.papers.practice_sheet import FORM as PRACTICE
from countersign.papers.practice_sheet import practice_sheet
from countersign.papers.printing import Size, printing_of
from countersign.papers.writing import FORMS
from countersign.problems import BadInput
from countersign.review import Checklist, Store

MOST_BYTES = 100_000_000
_MOST_PAGES = 2_000
REFUSED = "The file is not a paper of this tool."
_PRACTICE_LINE = re.compile(r"SHA-256 ([0-9a-f]{64}) of (\d+) attempt")
_HASH_LINE = re.compile(r"SHA-256 ([0-9a-f]{64}) of (\d+) entries")


class _Seal(BaseModel):
    """What the subject of a paper says of it."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    form: str
    case: Annotated[str, Field(max_length=64)]
    entries: Annotated[int, Field(ge=0, le=10_000_000)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    printed_at: AwareDatetime
    size: Size
    software: str


def verify(data: bytes, ledger: Ledger) -> tuple[Finding, str]:
    """How a paper (the bytes of a PDF) stands to a ledger, and one sentence for people.

    ``MATCHES``: the hash is that of the case as it is now, and so are the words on every page, as
    far as this version can print them again. ``CHANGED_SINCE``: both held when it was printed, and
    entries were added since. ``ANOTHER``: the ledger has no such case or another content.
    ``ALTERED``: what stands on a page is not what the hash is of. Raises ``BadInput`` for a file
    that is no paper of this tool. A hash is no signature: who can write the ledger can print a
    matching paper.
    """
    fields, pages = _read(data)
    try:
        sealed = _Seal.model_validate(fields)
    except ValidationError as error:
        raise BadInput(REFUSED) from error
    for number, words in enumerate(pages, start=1):
        found = set(_HASH_LINE.findall(words))
        if found != {(sealed.sha256, str(sealed.entries))}:
            return (
                Finding.ALTERED,
                f"Altered: the hash on page {number} is not the one of the file.",
            )
    found_so, sentence, then = compare(ledger, sealed.case, sealed.entries, sealed.sha256)
    if then is None:
        return found_so, sentence
    about_words = _words(data, sealed, pages, then, ledger)
    if about_words is None:
        return (
            Finding.ALTERED,
            "Altered: the hash is that of the case, but the words on the paper are not.",
        )
    return found_so, f"{sentence} {about_words}"


def _words(
    data: bytes, sealed: _Seal, pages: list[str], then: StoredCase, ledger: Ledger
) -> str | None:
    """A sentence about the words on the paper; ``None`` where they are others."""
    draw = FORMS.get(sealed.form)
    if draw is None or sealed.software != software():
        return f"Its words were not compared: {_plain(sealed.software)} printed them."
    again = draw(printing_of(then, read_case(ledger, then.case), sealed.size, sealed.printed_at))
    return _compared(data, pages, again, "the case")


def _compared(data: bytes, pages: list[str], again: bytes, what: str) -> str | None:
    if again == data:
        return f"The words on every page are those of {what} when it was printed."
    if _pages(again) != pages:
        return None
    return (
        f"The words on every page are those of {what} when it was printed; "
        "the file itself was written anew."
    )


class _PracticeSeal(BaseModel):
    """What the subject of a practice sheet says of it."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    attempts: Annotated[tuple[str, ...], Field(min_length=1, max_length=MOST_ATTEMPTS)]
    entries: tuple[Annotated[int, Field(ge=0)], ...]
    checklist: Checklist
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    printed_at: AwareDatetime
    size: Size
    software: str


def is_practice(data: bytes) -> bool:
    """Whether a paper is about practice, which is in no ledger; ``BadInput`` for no paper."""
    return _read(data)[0].get("form") == PRACTICE


def verify_practice(data: bytes, store: Store) -> tuple[Finding, str]:
    """How a practice sheet stands to the kept attempts; findings as for :func:`verify`."""
    fields, pages = _read(data)
    try:
        sealed = _PracticeSeal.model_validate(fields)
        if len(sealed.entries) != len(sealed.attempts):
            raise BadInput(REFUSED)
    except ValidationError as error:
        raise BadInput(REFUSED) from error
    for number, words in enumerate(pages, start=1):
        if set(_PRACTICE_LINE.findall(words)) != {(sealed.sha256, str(len(sealed.attempts)))}:
            sentence = f"Altered: the hash on page {number} is not the one of the file."
            return Finding.ALTERED, sentence
    given = (store, sealed.attempts, sealed.checklist, sealed.size, sealed.printed_at)
    try:
        then, now = practice_of(*given, sealed.entries), practice_of(*given)
    except BadInput:
        return Finding.ANOTHER, "Not of this folder of attempts: one of them is not kept here."
    if then.sha256 != sealed.sha256:
        return Finding.ANOTHER, "Not of these attempts: what is kept of them is something else."
    if sealed.software != software():
        about = f"Its words were not compared: {_plain(sealed.software)} printed them."
    else:
        compared = _compared(data, pages, practice_sheet(then), "the practice")
        if compared is None:
            return (
                Finding.ALTERED,
                "Altered: the hash is that of the attempts, but the words on the paper are not.",
            )
        about = compared
    if now.sha256 != then.sha256:
        return Finding.CHANGED_SINCE, f"Something was added to the attempts since. {about}"
    return Finding.MATCHES, f"Matches the kept attempts. {about}"


def _read(data: bytes) -> tuple[dict[str, Any], list[str]]:
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    if len(data) > MOST_BYTES:
        raise BadInput(f"The file is larger than {MOST_BYTES:,} bytes.")
    try:
        subject = PdfReader(io.BytesIO(data)).metadata
        words = (subject.subject if subject is not None else None) or ""
        if not words.startswith(f"{SUBJECT} "):
            raise BadInput(REFUSED)
        fields = json.loads(words.removeprefix(f"{SUBJECT} "))
        if not isinstance(fields, dict):
            raise BadInput(REFUSED)
        pages = _pages(data)
    except (PyPdfError, ValueError, TypeError, KeyError) as error:
        raise BadInput(REFUSED) from error
    except (
        AssertionError,  # pypdf's own
        AttributeError,
        IndexError,
        MemoryError,
        OSError,
        RuntimeError,  # too deep a nesting, or the damaged name of a filter
    ) as error:
        raise BadInput("The file is damaged and cannot be read.") from error
    if not pages:
        raise BadInput(REFUSED)
    return fields, pages


def _pages(data: bytes) -> list[str]:
    """The words of every page."""
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(data))
    if len(reader.pages) > _MOST_PAGES:
        raise BadInput(f"The file has more than {_MOST_PAGES:,} pages.")
    return [page.extract_text() for page in reader.pages]


def _plain(text: str) -> str:
    return "".join(char if char.isprintable() else "?" for char in text[:64])
