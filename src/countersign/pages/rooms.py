"""The cases that are being listened to on this server, and who watches them."""

import asyncio
import json
import logging
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from countersign.hearing import TALK, Ears, Partial, Utterance, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.ledger import CaseSummary, Ledger, list_cases, open_case, open_ledger, read_case
from countersign.listening import Listener
from countersign.listening.listener import SOUND_FILE
from countersign.meaning import Event, EventKind
from countersign.pages.read_back import asked_read_back
from countersign.pages.served import Served
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE
from countersign.wording import event_text, number_text

_log = logging.getLogger(__name__)

Message = dict[str, object]

_TAKE_FILE = "take.json"

_LATE_S = 3.0
"""Whoever looks is told when words come later than this: a line may be missing yet."""

AHEAD_S = 60.0
"""How far the sound of a case may run ahead of the time that passed: what is sent again after a
break was spoken during it, so nothing that a microphone heard comes sooner than this."""


class OpenEvent(BaseModel):
    """A count that is still being said: its words for people, the number so far, and what hearing
    and meaning ask so far. ``counted`` is the item where a count of it would be the line.
    """

    model_config = ConfigDict(frozen=True)

    text: str
    number: str
    counted: str | None = None
    questions: tuple[str, ...] = ()


@dataclass
class Clock:
    """How long a case could have been listened to since ``since`` (seconds of the wall's clock).

    The longer of both clocks counts: one stands still while the machine sleeps, the other may be
    set back.
    """

    since: float = field(default_factory=time.time)
    steady: float = field(default_factory=time.monotonic)

    def passed_s(self) -> float:
        """Seconds so far."""
        return max(time.time() - self.since, time.monotonic() - self.steady)


@dataclass
class Room:
    """One case on this server.

    A *take* is what one microphone sends from when it is switched on until it, or another one, is
    switched on again; its samples are counted from its own start. ``take`` is the number of the
    present one (0 before the first), ``base`` the sample of the case at which it begins.
    ``open_events`` is what was said but is not over yet. ``known`` samples were kept when ``clock``
    began. ``late`` is whether whoever looks was told that words come late.
    """

    case_id: str
    listener: Listener
    take: int = 0
    base: int = 0
    open_events: tuple[OpenEvent, ...] = ()
    clock: Clock = field(default_factory=Clock)
    known: int = 0
    late: bool = False

    def is_ahead(self, end: int) -> bool:
        """Whether sound that ends at this sample of the case cannot have been spoken yet."""
        return (end - self.known) / SAMPLE_RATE > self.clock.passed_s() + AHEAD_S

    def new_take(self) -> None:
        """Begin a take where the kept sound ends; it is on disk, so that a restart knows it."""
        self.take, self.base = self.take + 1, self.listener.sound.samples
        file = self.listener.sound.path.with_name(_TAKE_FILE)
        part = file.with_suffix(".part")
        try:
            part.write_text(json.dumps({"take": self.take, "base": self.base}), encoding="utf-8")
            part.replace(file)
        except OSError as error:
            raise BadInput(f"The file {file} cannot be written ({error.strerror}).") from None


def _known_take(folder: Path) -> tuple[int, int]:
    try:
        kept = json.loads((folder / _TAKE_FILE).read_text(encoding="utf-8"))
        return int(kept["take"]), int(kept["base"])
    except FileNotFoundError:
        return 0, 0
    except (OSError, ValueError, KeyError, TypeError):
        raise BadInput(f"The file {folder / _TAKE_FILE} is damaged.") from None


def _late(room: Room) -> int:
    """Seconds that words come late, 0 where it is not worth telling."""
    behind = room.listener.behind_s
    return round(behind) if behind >= _LATE_S else 0


def _clock(folder: Path) -> Clock:
    """The clock of a room: it runs since its sound was last written, before a restart."""
    try:
        return Clock(since=(folder / SOUND_FILE).stat().st_mtime)
    except OSError:
        return Clock()


class Rooms:
    """Opens, finds and ends live cases. Listeners run in threads; everything else in one loop."""

    def __init__(self, served: Served) -> None:
        """Open the ledger; models are loaded at first use."""
        self.served = served
        self.ledger: Ledger = open_ledger(served.ledger)
        self._rooms: dict[str, Room] = {}
        self._ears: dict[str, Ears] = {}
        self._watchers: dict[str, set[asyncio.Queue[Message]]] = {}
        self._opening = threading.Lock()
        self._loop: asyncio.AbstractEventLoop | None = None

    def attach(self, loop: asyncio.AbstractEventLoop) -> None:
        """Tell in which loop watchers wait."""
        self._loop = loop

    def kit(self) -> Kit:
        """The kit for new cases; ``BadInput`` where it cannot be used."""
        return read_kit(self.served.kit or demo_kit_path())

    def begin(self) -> str:
        """Open a case that is listened to; returns its name."""
        kit = self.kit()
        case_id = open_case(self.ledger, kit, "live")
        self.room(case_id)
        return case_id

    def has_sound(self, case_id: str) -> bool:
        """Whether sound of the case was kept here as it came."""
        return (self.served.sound / case_id).is_dir()

    def is_live(self, case: CaseSummary) -> bool:
        """Whether the case has live sound here and has not been ended."""
        return self.has_sound(case.case_id) and not case.heard_to_the_end

    def room(self, case_id: str) -> Room:
        """The room of a live case, which goes on where a stopped server left it.

        ``BadInput`` where there is no such case, or it was ended, or its sound cannot be kept. May
        take a second: a model is loaded. Any thread.
        """
        with self._opening:
            room = self._rooms.get(case_id)
            if room is not None and room.listener.trouble is None:
                return room
            history = read_case(self.ledger, case_id)
            if history.heard_to_the_end:
                raise BadInput(f"Case {case_id} was ended.")
            clock = _clock(self.served.sound / case_id)
            listener = Listener(
                self._ears_for(history.kit),
                history.kit,
                self.ledger,
                case_id,
                self.served.sound / case_id,
                on_event=lambda number, event: self._heard(case_id, number, event),
                on_partial=lambda partial: self._partial(case_id, partial),
                on_utterance=lambda utterance: self._said(case_id, utterance),
                on_open=lambda events: self._open(case_id, events),
            )
            take, base = _known_take(self.served.sound / case_id)
            known = listener.sound.samples
            room = Room(case_id, listener, take, base, clock=clock, known=known)
            self._rooms[case_id] = room
            listener.start()
            return room

    def open_events(self, case_id: str) -> tuple[OpenEvent, ...]:
        """What is still being said in a live case, as far as meaning knows; never kept."""
        room = self._rooms.get(case_id)
        return room.open_events if room is not None else ()

    def end(self, case_id: str) -> None:
        """Finish what is still being said and note that the case is over."""
        room = self.room(case_id)
        room.listener.end()
        with self._opening:
            self._rooms.pop(case_id, None)
        self.tell(case_id, {"changed": True, "ended": True})

    def go_on(self) -> None:
        """Open again every live case that a stopped server left in the middle."""
        for summary in list_cases(self.ledger):
            try:
                if self.is_live(summary):
                    self.room(summary.case_id)
            except BadInput as problem:
                _log.warning("case %s: %s", summary.case_id, problem)

    def close(self) -> None:
        """Stop listening everywhere, in the middle of whatever is being said."""
        for room in list(self._rooms.values()):
            room.listener.stop()
        self._rooms.clear()
        self.ledger.close()

    def tell(self, case_id: str, message: Message) -> None:
        """Send a message to everyone who watches the case. Any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._deliver, case_id, message)

    def watch(self, case_id: str) -> asyncio.Queue[Message]:
        """A queue of the case's messages from now on."""
        queue: asyncio.Queue[Message] = asyncio.Queue()
        self._watchers.setdefault(case_id, set()).add(queue)
        return queue

    def unwatch(self, case_id: str, queue: asyncio.Queue[Message]) -> None:
        """Send nothing more to this queue."""
        self._watchers.get(case_id, set()).discard(queue)

    def _deliver(self, case_id: str, message: Message) -> None:
        for queue in self._watchers.get(case_id, set()):
            queue.put_nowait(message)

    def _heard(self, case_id: str, number: int, event: Event) -> None:
        self.tell(case_id, {"changed": True, "line": number, "asks": bool(event.questions)})

    def _partial(self, case_id: str, partial: Partial) -> None:
        words = " ".join("…" if word == TALK else word for word in partial.words)
        room = self._rooms.get(case_id)
        late = _late(room) if room is not None else 0
        if room is not None:
            room.late = bool(late)
        self.tell(case_id, {"partial": words, "behind": late})

    def see_whether_late(self, case_id: str) -> None:
        """Say so once listening is no longer late: where nobody speaks, no words tell it."""
        room = self._rooms.get(case_id)
        if room is not None and room.late and not _late(room):
            room.late = False
            self.tell(case_id, {"behind": 0})

    def _open(self, case_id: str, events: tuple[Event, ...]) -> None:
        room = self._rooms.get(case_id)
        if room is None:
            return
        shown = tuple(
            OpenEvent(
                text=event_text(event, room.listener.kit),
                number="" if event.quantity is None else number_text(event.quantity, event.unit),
                counted=event.item if event.kind is EventKind.COUNT else None,
                questions=tuple(dict.fromkeys(asked.sentence for asked in event.questions)),
            )
            for event in events
        )
        if shown != room.open_events:
            room.open_events = shown
            self.tell(case_id, {"changed": True})

    def _said(self, case_id: str, utterance: Utterance) -> None:
        group = asked_read_back(utterance.text)
        if group is not None:
            self.tell(case_id, {"read_back": group})

    def _ears_for(self, kit: Kit) -> Ears:
        key = kit.model_dump_json()
        if key not in self._ears:
            self._ears[key] = open_ears(kit, self.served.model)
        return self._ears[key]
