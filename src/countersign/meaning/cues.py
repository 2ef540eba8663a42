"""The phrases that say what is being done, as rules for spaCy's matcher.

Each rule is a row of words; ``a|b`` is either word and a trailing ``?`` makes a word optional.
Wording is common practice in United States operating rooms, no source.
"""

from typing import Any

from countersign.kit.model import Group

GROUP_WORDS = {
    "sponge": Group.SPONGES,
    "sponges": Group.SPONGES,
    "sharp": Group.SHARPS,
    "sharps": Group.SHARPS,
    "needle": Group.SHARPS,
    "needles": Group.SHARPS,
    "small": Group.SMALL_ITEMS,
    "miscellaneous": Group.SMALL_ITEMS,
    "instrument": Group.INSTRUMENTS,
    "instruments": Group.INSTRUMENTS,
}
"""The words that name a count group inside a phase or verdict."""

_GROUP = "sponge|sponges|sharp|sharps|needle|needles|instrument|instruments|miscellaneous|small?"
_OF = f"{_GROUP} item|items?"

RULES: dict[str, tuple[str, ...]] = {
    "PHASE initial": (
        f"initial|baseline {_OF} count|counts",
        f"first|opening {_OF} count|counts",
    ),
    "PHASE relief": (
        "relief|handoff count|counts",
        "relieving|relieve the? scrub|circulator",
        "relief scrub",
        "scrub relief",
        "permanent relief",
        "shift change count|counts",
        "change of shift count|counts",
    ),
    "PHASE closing_cavity": (
        "closing|close the? peritoneum|cavity",
        "closing the? peritoneal cavity",
        f"closing? cavity|peritoneal {_OF} count|counts",
    ),
    "PHASE closing": (
        f"first? closing {_OF} count|counts",
        "closing the? fascia|wound",
    ),
    "PHASE final": (
        f"final {_OF} count|counts",
        f"final? skin {_OF} count|counts",
        f"second closing {_OF} count|counts",
        "closing the? skin",
    ),
    "QUERY": (
        "is|are|was|were the|our|your|all? count|counts correct|right|good|off|okay",
        f"is|are|was|were the|our|your|all? {_OF} count|counts correct|right|good|off|okay",
    ),
    "VERDICT correct": (
        "count|counts is|are|was|were|all? correct|good",
        "count|counts are all correct|good",
        "correct count",
    ),
    "VERDICT not_correct": (
        "count|counts is|are|was|were not correct|right|good",
        "count|counts isn't|aren't|wasn't|weren't|not correct|right|good",
        "count|counts is|are|was|were? incorrect|wrong",
        "count|counts is|are|was|were off|short",
        "incorrect count|counts",
        "we're|i'm missing a|an|one|two|three|another|some?",
        "we|i are|am missing a|an|one|two|three|another|some?",
        "we're|i'm short|off by? a|an|one|two|three",
        "we|i are|am short|off by? a|an|one|two|three",
    ),
    "VERDICT recount": (
        "recount|recounting the|all?",
        "re count the|all?",
        "count again",
        "count them|it|those|everything again",
        "count the laps|sponges|needles|sharps|instruments|raytecs again",
    ),
    "BARE correct": ("is|are correct", "correct"),
    "BARE not_correct": ("is|are not correct", "not correct", "is|are incorrect", "incorrect"),
    "ADD verb": (
        "add|adding|added",
        "open|opening|opened up?",
        "giving you",
        "bringing up",
    ),
    "MORE": ("more", "additional", "another", "extra"),
    "ADD after": (
        "to|onto the field|table",
        "up? to the? field",
        "coming up",
        "added",
    ),
    "REMOVE verb": (
        "pass|passing|passed|hand|handing|handed|throw|throwing|threw|thrown off",
        "bag|bagging|bagged up|off?",
        "remove|removing|removed",
        "taking|take|took off",
    ),
    "REMOVE after": (
        "off the field|table",
        "from the field",
        "in|into the bag|bucket",
        "in|into the kick bucket",
        "off",
    ),
    "STRIKE": (
        "strike|scratch|cancel|delete|disregard|undo that last? count|number|line|entry|one?",
        "strike|scratch|cancel|delete|disregard|undo the? last count|number|line|entry|one?",
        "strike|scratch|cancel|delete|disregard|undo it",
    ),
    "MEAN firm": (
        "correction",
        "i mean|meant",
        "make that|it",
        "should be|say",
        "that should be|say",
    ),
    "MEAN soft": ("no", "sorry", "wait no", "no wait", "i'm sorry", "actually", "rather", "oops"),
    "TOTAL": (
        "that's|thats|equals",
        "that is",
        "that? makes",
        "for a total of",
        "a? total of|is?",
        "total",
        "for|in all",
        "altogether",
    ),
    "RESTART": (
        "start|starting|begin over|again",
        "let's|lets start over|again",
        "from the top|beginning",
        "again",
    ),
    "PACK one": ("pack|package|packet|sleeve|box|bundle of?",),
    "PACK many": ("packs|packages|packets|sleeves|boxes|bundles of?",),
    "PAIR": ("a? pair of?", "pairs of?"),
    "PLACE mayo_stand": ("on|to|onto the|my? mayo stand|tray?",),
    "PLACE back_table": ("on|to|onto the|my? back table", "on|to|onto the|my? backtable"),
    "LOCATION": (
        "on the? field|table",
        "in the basin|counter|pocket|pockets",
        "in the? sponge counter",
    ),
    "LABEL": ("label|labels|labeling|labelling|labeled|labelled the|this|that|my|a?",),
    "DRAW": ("draw|drawing|drew|drawn up?",),
    "RECEIPT": (
        "receive|receiving|received",
        "pouring|dispensing",
        "medication|meds to the? field",
    ),
    "NOTE": ("note that", "remark", "for the record"),
}
"""Rules by label. The second word of a label is what the phrase stands for."""

_FILLERS = """
    a an and the of is are am i i'm i've i'll we we're we've we'll have has got there there's here
    here's it's its um uh er ah okay ok alright so now then count counts counted counting number
    numbers my your our yes yeah yep please next also up left each with including single just doctor
    let's lets do
"""
FILLERS = frozenset(_FILLERS.split())
"""Words that may stand between an item and its number without making them talk."""


def patterns(rule: str) -> list[dict[str, Any]]:
    """The matcher pattern of one rule."""
    pattern: list[dict[str, Any]] = []
    for word in rule.split():
        optional = word.endswith("?")
        either = word.rstrip("?").split("|")
        token: dict[str, Any] = {"LOWER": {"IN": either}}
        if optional:
            token["OP"] = "?"
        pattern.append(token)
    return pattern
