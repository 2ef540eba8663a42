"""A small kit and ways to speak to the meaning room."""

from collections.abc import Callable, Iterable
from datetime import date

import pytest

from countersign.hearing.utterance import Alternative, Utterance, Word, written
from countersign.kit.model import Group, Item, Kit, Medication
from countersign.meaning import Event, understand

TODAY = date(2026, 11, 25)

KIT = Kit(
    title="Small kit",
    procedure="Open inguinal hernia repair",
    items=(
        Item(
            id="raytec",
            label="X-ray detectable sponge",
            group=Group.SPONGES,
            spoken=("raytec", "raytecs", "x-ray sponge", "x-ray sponges", "four by fours"),
            pack=10,
        ),
        Item(
            id="lap",
            label="Laparotomy sponge",
            group=Group.SPONGES,
            spoken=("lap", "laps", "lap sponge", "lap sponges", "laparotomy sponges"),
            pack=5,
        ),
        Item(
            id="needle",
            label="Suture needle",
            group=Group.SHARPS,
            spoken=("needle", "needles", "suture needle", "suture needles"),
        ),
        Item(
            id="hypo",
            label="Hypodermic needle",
            group=Group.SHARPS,
            spoken=("hypo", "hypos", "hypodermic needle", "hypodermic needles"),
        ),
        Item(id="blade", label="Knife blade", group=Group.SHARPS, spoken=("blade", "blades")),
        Item(
            id="syringe",
            label="Syringe",
            group=Group.SMALL_ITEMS,
            spoken=("syringe", "syringes"),
        ),
        Item(
            id="kelly",
            label="Kelly clamp",
            group=Group.INSTRUMENTS,
            spoken=("kelly", "kellys", "kelly clamp", "kelly clamps"),
        ),
        Item(
            id="right_angle",
            label="Right-angle clamp",
            group=Group.INSTRUMENTS,
            spoken=("right angle", "right angles", "mixter", "mixters"),
        ),
        Item(
            id="metz",
            label="Metzenbaum scissors",
            group=Group.INSTRUMENTS,
            spoken=("metz", "metzenbaum scissors"),
        ),
        Item(
            id="needle_holder",
            label="Needle holder",
            group=Group.INSTRUMENTS,
            spoken=("needle holder", "needle holders", "needle driver", "needle drivers"),
        ),
    ),
    medications=(
        Medication(
            id="lidocaine", label="Lidocaine", spoken=("lidocaine",), strengths=("1 %", "2 %")
        ),
        Medication(
            id="bupivacaine",
            label="Bupivacaine",
            spoken=("bupivacaine",),
            strengths=("0.25 %", "0.5 %"),
        ),
        Medication(
            id="epinephrine",
            label="Epinephrine",
            spoken=("epinephrine", "epi"),
            strengths=("1:200,000",),
        ),
        Medication(
            id="sodium_chloride",
            label="Sodium chloride 0.9 %",
            spoken=("normal saline", "saline"),
            strengths=("0.9 %",),
        ),
        Medication(id="sterile_water", label="Sterile water", spoken=("sterile water", "water")),
        Medication(
            id="heparin", label="Heparin", spoken=("heparin",), strengths=("1000 units/mL",)
        ),
        Medication(id="cefazolin", label="Cefazolin", spoken=("cefazolin",), strengths=("1 g",)),
    ),
)

Say = Callable[..., list[Event]]
Hear = Callable[[Iterable[Utterance]], list[Event]]
Utter = Callable[..., Utterance]


@pytest.fixture
def kit() -> Kit:
    return KIT


@pytest.fixture
def say() -> Say:
    """Events of written lines, one utterance a line; ``|`` parts lines in one string."""

    def _say(text: str) -> list[Event]:
        lines = [part.strip() for part in text.split("|")]
        return list(
            understand([written(line, n) for n, line in enumerate(lines, start=1)], KIT, TODAY)
        )

    return _say


@pytest.fixture
def hear() -> Hear:
    return lambda utterances: list(understand(utterances, KIT, TODAY))


def _words(text: str, at: float, confidences: dict[str, float]) -> tuple[Word, ...]:
    return tuple(
        Word(
            text=word,
            start_s=round(at + n * 0.5, 3),
            end_s=round(at + n * 0.5 + 0.4, 3),
            confidence=confidences.get(word, 1.0),
        )
        for n, word in enumerate(text.split())
    )


@pytest.fixture
def utter() -> Utter:
    """An utterance of sound: half a second a word, alternatives aligned word by word."""

    def _utter(
        text: str,
        at: float = 0.0,
        *,
        others: tuple[tuple[str, float, str], ...] = (),
        confidences: dict[str, float] | None = None,
        speaker: str | None = None,
    ) -> Utterance:
        words = _words(text, at, confidences or {})
        alternatives = tuple(
            Alternative(words=_words(other, at, {}), confidence=share, origin=origin)
            for other, share, origin in others
        )
        return Utterance(
            words=words,
            start_s=words[0].start_s,
            end_s=words[-1].end_s,
            alternatives=alternatives,
            speaker=speaker,
        )

    return _utter
