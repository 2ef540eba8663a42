"""Spoken cases: how what was heard is laid beside what was said, and what counts as found."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from tests.cases.acts import Add, Count
from tests.cases.generate import Case, generate
from tests.cases.judge import Outcome

from countersign.hearing import Utterance, Word
from countersign.kit import Kit

pytest.importorskip("scipy")
spoken = pytest.importorskip("tests.benchmarks.spoken_cases")

WORD_S = 0.1
PAUSE_S = 1.2
TAKE = spoken.Take(7004, 30, ("flite-slt", "flite-rms", "piper-joe"), None)


def heard(case: Case, instead: dict[int, str] | None = None) -> tuple[list[Utterance], list[float]]:
    """The utterances of a case as sound gives them; ``instead`` says what was heard for some."""
    starts: list[float] = []
    utterances: list[Utterance] = []
    now = 0.0
    for number, each in enumerate(case.utterances):
        text = (instead or {}).get(number + 1, each.text.replace(",", " "))
        starts.append(now)
        words = tuple(
            Word(text=word, start_s=now + WORD_S * at, end_s=now + WORD_S * (at + 1))
            for at, word in enumerate(text.split())
        )
        now += WORD_S * len(each.text.split()) + PAUSE_S
        if words:
            utterances.append(
                Utterance(words=words, start_s=words[0].start_s, end_s=words[-1].end_s)
            )
    return utterances, starts


def wrong(held: object) -> Sequence[str]:
    return [each.outcome for each in held.judged if each.outcome is not Outcome.STAYED]  # type: ignore[attr-defined]


def test_a_case_that_is_heard_word_for_word_has_nothing_wrong(kit: Kit) -> None:
    case = TAKE.case(kit)
    held = spoken.hold(TAKE, case, kit, *heard(case))
    assert held.silent == held.lost == []
    assert held.astray and {each.found for each in held.astray} == {"shown"}
    assert wrong(held).count(Outcome.EXACT) >= 0.9 * len(wrong(held))


def test_a_count_heard_wrong_or_not_at_all_is_told_from_one_that_asks(kit: Kit) -> None:
    case = TAKE.case(kit)
    step = next(
        step
        for step in case.telling
        if isinstance(step.act, Count)
        and step.act.place is step.act.part is None
        and len(step.utterances) == 1
        and not step.read_back
    )
    assert isinstance(step.act, Count)
    name = kit.item(step.act.item).spoken[1]
    other = f"{name} {'nine' if step.act.quantity != 9 else 'eight'}"
    held = spoken.hold(TAKE, case, kit, *heard(case, {step.first_line: other}))
    judged = next(each for each in held.judged if each.step is step)
    assert judged.outcome is not Outcome.EXACT  # silent, or asked about by the tally
    lost = spoken.hold(TAKE, case, kit, *heard(case, {step.first_line: ""}))
    assert [each.step for each, _ in lost.lost] == [step]


def test_a_discrepancy_whose_count_was_heard_as_expected_is_missed(kit: Kit) -> None:
    case = TAKE.case(kit)
    whole = spoken.hold(TAKE, case, kit, *heard(case))
    item = whole.astray[0].item
    about = [step for step in case.telling if getattr(step.act, "item", None) == item]
    instead = {line: "" for s in about for line in range(s.first_line, s.last_line + 1)}
    held = spoken.hold(TAKE, case, kit, *heard(case, instead))
    assert [each.found for each in held.astray if each.item == item] == ["missed"]
    assert "missed" in spoken.report([held])


def test_a_repeat_that_became_a_second_addition_is_asked_about(kit: Kit) -> None:
    case = TAKE.case(kit)
    held = spoken.hold(TAKE, case, kit, *heard(case))
    added = next(each for each in held.judged if isinstance(each.step.act, Add) and each.got)
    assert isinstance(added.step.act, Add)
    item, twice = added.step.act.item, replace(added, got=(*added.got, *added.got))
    assert spoken._is_asked(item, [twice]) and not spoken._is_asked(item, [added])


def test_every_role_has_a_voice_and_the_key_follows_the_words(kit: Kit) -> None:
    voices = [cast.voice for cast in TAKE.cast.values()]
    assert set(voices) == set(TAKE.voices) and voices[0] != voices[1]
    other = spoken.Take(7004, 30, TAKE.voices, 10.0)
    assert TAKE.key(kit) == spoken.Take(7004, 30, TAKE.voices, None).key(kit) != other.key(kit)
    assert generate(kit, 7004, lines=30).lines == TAKE.case(kit).lines
    assert spoken.spoken("laps, one") == "laps , one"
