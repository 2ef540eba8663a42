"""A whole case from a seed."""

import random
from dataclasses import dataclass

from tests.cases.acts import Act, Amend, Remark, Strike, Talk
from tests.cases.expected import event_of
from tests.cases.room import Truth, standing
from tests.cases.saying import Speaker, Switch, Utterance
from tests.cases.story import Done, new_room, tell

from countersign.kit import Kit
from countersign.meaning.event import Event

EVERYTHING = frozenset(Switch)


@dataclass(frozen=True)
class Step:
    """One act with what was said, the event that should come of it, and what is then true.

    ``first_line`` and ``last_line`` are the lines that its utterances fill, counted from 1.
    ``read_back`` is the utterance of the second voice, which says the same again. ``set_aside``
    says that people set its line aside; every other line they accept.
    """

    act: Act
    utterances: tuple[Utterance, ...]
    event: Event | None
    truth: Truth
    first_line: int
    last_line: int
    set_aside: bool
    read_back: Utterance | None


@dataclass(frozen=True)
class Case:
    """A whole case."""

    seed: int
    steps: tuple[Step, ...]

    @property
    def utterances(self) -> list[Utterance]:
        """Everything that is said, in order."""
        said: list[Utterance] = []
        for step in self.steps:
            said += [*step.utterances, *([step.read_back] if step.read_back else [])]
        return said

    @property
    def lines(self) -> list[str]:
        """The words, one utterance a line."""
        return [utterance.text for utterance in self.utterances]

    @property
    def events(self) -> list[Event]:
        """The events that meaning should give."""
        return [step.event for step in self.steps if step.event is not None]

    @property
    def telling(self) -> list[Step]:
        """The steps that have an event, so that line n of the record is the n-th of them."""
        return [step for step in self.steps if step.event is not None]

    @property
    def settled(self) -> list[int]:
        """How many lines there are wherever the last one is not about to be corrected."""
        after = [isinstance(step.act, Strike | Amend) for step in self.telling[1:]]
        return [line for line, about in enumerate([*after, False], start=1) if not about]

    @property
    def truth(self) -> Truth:
        """What is true at the end."""
        return self.steps[-1].truth


def generate(kit: Kit, seed: int, *, lines: int = 120, on: frozenset[Switch] = EVERYTHING) -> Case:
    """The case of a seed, of about ``lines`` acts. The same arguments give the same case.

    ``on`` are the kinds of phrase that may be used; acts that need another one do not happen.
    """
    rng = random.Random(f"{seed} {lines}")
    done = tell(kit, rng, on, lines)
    return Case(seed, _steps(kit, done, Speaker(kit, rng, on)))


def _steps(kit: Kit, done: list[Done], speaker: Speaker) -> tuple[Step, ...]:
    groups = {item.id: item.group.value for item in kit.items}
    steps: list[Step] = []
    line = 0
    for each, truth in zip(done, truths(kit, done), strict=True):
        said = tuple(speaker.say(each.act, each.voice))
        again = None
        if each.read_back:
            again = Utterance(_other(each.voice), speaker.read_back(each.act))
        first, last = line + 1, line + len(said)
        event = None
        if not isinstance(each.act, Talk):
            text = " ".join(utterance.text for utterance in said)
            event = event_of(each.act, groups, float(first), float(last), text)
        line = last + (again is not None)
        steps.append(Step(each.act, said, event, truth, first, line, each.set_aside, again))
    return tuple(steps)


def _other(voice: str) -> str:
    return "circulator" if voice != "circulator" else "scrub"


def truths(kit: Kit, done: list[Done]) -> list[Truth]:
    """What is true after every act."""
    found: list[Truth] = []
    room = new_room(kit)
    kept: list[Act] = []
    for each in done:
        if not each.set_aside and not isinstance(each.act, Talk | Remark):
            before = kept
            kept = standing([*kept, each.act])
            if kept[: len(before)] == before:
                room.do(kept[-1])
            else:
                room = new_room(kit)
                for act in kept:
                    room.do(act)
        found.append(room.truth())
    return found
