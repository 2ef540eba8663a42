"""The phrases that say what is being done, as rules for spaCy's matcher.

Each rule is a row of words; ``a|b`` is either word and a trailing ``?`` makes a word optional.
Wording is common practice in United States operating rooms, no source.
"""

from typing import Any

from countersign.kit.model import Group
from countersign.meaning.event import Phase

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

PHASE_WORDS = {
    "initial": Phase.INITIAL,
    "baseline": Phase.INITIAL,
    "opening": Phase.INITIAL,
    "relief": Phase.RELIEF,
    "cavity": Phase.CLOSING_CAVITY,
    "peritoneal": Phase.CLOSING_CAVITY,
    "final": Phase.FINAL,
    "skin": Phase.FINAL,
    "second": Phase.FINAL,
    "closing": Phase.CLOSING,
    "first": Phase.INITIAL,
}
"""The words that name a phase inside a verdict, the telling ones first."""

_GROUP = "sponge|sponges|sharp|sharps|needle|needles|instrument|instruments|miscellaneous|small?"
_OF = f"{_GROUP} item|items?"
_NAMED = (
    f"initial|baseline|relief|first|second|final|opening? closing|cavity|peritoneal|skin? {_OF}"
)
_COUNT = "count|counts"
_SOON = "scrub|circulator|circulating"
_HOLLOW = "peritoneum|cavity|uterus|bladder|stomach|bowel|pleura|dura|hysterotomy|cystotomy"
_HOLLOW_OF = "cavity|peritoneal|uterine|uterus|bladder|peritoneum|hysterotomy|cystotomy"
_CLOSER = "we're|they're|he's|she's|surgeon's|doctor's"
_SOON_TO = "ready|starting|beginning|going|about to"
_CLOSERS = "we|they|he|she|surgeon|doctor"
_BROKEN = "broke|broken|breaks|snapped|cracked|fractured|chipped"
_PARTED = "cut|split|torn|came|fell"
_HOW_MANY = "two|three|four|five|six|half"
_PIECES = "pieces|parts|halves"
_WOUND = "wound|belly|abdomen|cavity|groin|incision"
_WAY = "up|down|left|right|away|forward"
_END = "tip|tips|handle|handles|ring|rings|curve|curves|facing|pointing"
_SIDE = "scrub|assistant|center|left|right|me|you|surgeon|edge|patient|wall|front|back"

_PEOPLE = (
    "scrub|circulator|tech|technologist|anesthesia|anesthesiologist|anesthetist|pharmacy|"
    "pharmacist|surgeon tech|technologist|nurse?"
)

RULES: dict[str, tuple[str, ...]] = {
    "PHASE initial": (
        f"initial|baseline {_OF} count|counts",
        f"first|opening|starting|beginning|preop|preoperative {_OF} count|counts",
        f"pre op {_OF} count|counts",
    ),
    "PHASE relief": (
        f"relief|handoff|handover {_OF} {_COUNT}",
        f"hand off|over {_OF} {_COUNT}",
        f"relieving|relieve the|our? {_SOON} nurse|tech?",
        f"taking|takes over for|from the|our {_SOON} nurse|tech?",
        f"taking|takes over as? the? {_SOON} nurse|tech?",
        f"new {_SOON} nurse|tech? is? taking|takes over",
        f"change|changing of? the|our? {_SOON} nurse|tech?",
        "changing scrubs|circulators",
        f"{_SOON} change",
        "is relieving me|us",
        f"permanent? relief of? the? {_SOON} nurse|tech?",
        f"permanent? {_SOON} relief",
        "permanent relief",
        f"{_SOON} is being relieved",
        "shift change count|counts",
        "change of shift count|counts",
    ),
    "ALONE relief": (
        "relieving you|her|him",
        "being relieved",
        "my|your|our|her|his relief is here",
        "relief is here",
        "taking over for|from you|her|him",
        "shift change",
        "change of shift",
    ),
    "BREAK relief": (
        f"relieving|relieve the|our? {_SOON} nurse|tech? for a|the? lunch|break|dinner|coffee",
        "relieving you|her|him for a|the? lunch|break|dinner|coffee",
        f"lunch|break|dinner|coffee relief {_COUNT}?",
    ),
    "PHASE closing_cavity": (
        # with who closes too: else the longer "surgeon is closing" would be found instead
        f"closing|close the? {_HOLLOW}",
        f"{_CLOSERS} is|are closing the? {_HOLLOW}",
        f"{_SOON_TO} close the? {_HOLLOW}",
        "closing the? peritoneal|abdominal|chest|thoracic cavity",
        f"{_CLOSERS} is|are closing the? peritoneal|abdominal|chest|thoracic cavity",
        "closing the? uterine incision",
        f"{_CLOSERS} is|are closing the? uterine incision",
        f"closing? {_HOLLOW_OF} closure|closing? {_OF} {_COUNT}",
        f"closing? {_OF} {_COUNT} for|of|on the {_HOLLOW}",
        f"{_HOLLOW} is? closing",
        f"{_HOLLOW_OF} closure",
        f"cavity within a|the cavity {_COUNT}?",
        f"hollow organ closure? {_COUNT}?",
    ),
    "PHASE closing": (
        f"first? closing {_OF} {_COUNT}",
        f"wound closure|closing? {_OF} {_COUNT}",
        f"fascia|fascial closure|closing? {_OF} {_COUNT}",
        "closing the? fascia|wound|abdomen|muscle|incision",
        f"{_CLOSERS} is|are closing the? fascia|wound|abdomen|muscle|incision",
        f"{_SOON_TO} close the? fascia|wound|abdomen|muscle|incision",
        f"closure {_OF} {_COUNT}",
        f"{_OF} {_COUNT} for closing|closure",
        "fascia is? closing",
    ),
    "ALONE closing": (
        f"{_CLOSER} closing",
        f"{_CLOSERS} is|are closing",
        f"{_SOON_TO} close",
        "starting|beginning closure",
    ),
    "PHASE final": (
        f"final {_OF} {_COUNT}",
        f"final? skin closure|closing? {_OF} {_COUNT}",
        f"final closure|closing {_OF} {_COUNT}",
        f"second closing? {_OF} {_COUNT}",
        "closing the? skin",
        f"{_SOON_TO} close the? skin",
        f"{_CLOSER} closing the? skin",
        f"{_CLOSERS} is|are closing the? skin",
        "skin closure",
        "skin is? closing",
    ),
    "ALONE final": (
        "last count",
        "on|at the? skin",
        f"{_CLOSER} on|at the? skin",
        f"{_CLOSERS} is|are on|at the? skin",
        "going|coming to the? skin",
    ),
    "PHASE requested": (
        f"can|could|shall|should we|you|i|they do|get|have|take a|an|the|another|one {_OF} count",
        f"let's|lets|let|we'll do|get|take|have a|an|the|another|one quick|fast? {_OF} count",
        f"we|i need|want|request a|an|another {_OF} count",
        f"i'd|we'd like a|an|another {_OF} count",
        f"requesting|requested|requests a|an|another {_OF} count",
        f"asks|asked|asking|calls|called|calling for a|an|another {_OF} count",
        f"wants|wanted|needs a|an|another {_OF} count",
        f"{_OF} {_COUNT} is|was? requested|wanted by? the? surgeon|anesthesia|circulator|scrub?",
        f"do a|an|another {_OF} count please",
        f"{_OF} count now? please",
        f"interim|intermediate|extra|additional|requested {_OF} {_COUNT}",
        "can|could we count now?",
        "can|could you count with me|us",
        "count with me|us please?",
        "let's|lets count the|our|all",
        f"let's|lets count {_GROUP.removesuffix('?')}",
        f"can|could|shall we|you count the|our|all? {_GROUP.removesuffix('?')}",
    ),
    "DONE": (
        f"{_NAMED} {_COUNT} is|are? all? complete|completed|done|finished",
        f"{_OF} {_COUNT} is|are? all? complete|completed|done|finished",
    ),
    "QUERY": (
        "is|was everything all? correct|accounted for?",
        f"is|are|was|were the|our|your|all? {_NAMED} count|counts correct|right|good|off|okay",
        "is|are|was|were the|our|your|all? count|counts correct|right|good|off|okay",
        f"is|are|was|were the|our|your|all? {_OF} count|counts correct|right|good|off|okay",
    ),
    "VERDICT correct": (
        f"{_NAMED} count|counts is|are|was|were? all? correct|good",
        "all? the|of|our? count|counts is|are|was|were|all? correct|good|right",
        "all? the? count|counts are all correct|good",
        "count's|counts' correct|good|right",
        "correct count",
    ),
    "ALONE correct": (
        "everything|everything's is? all? correct|accounted for?",
        "all|all's accounted for",
    ),
    "VERDICT not_correct": (
        f"{_NAMED} count|counts is|are|was|were not correct|right|good",
        f"{_NAMED} count|counts isn't|aren't|wasn't|weren't|not correct|right|good",
        f"{_NAMED} count|counts is|are|was|were? incorrect|wrong|off|short",
        "count|counts is|are|was|were not correct|right|good",
        "count|counts isn't|aren't|wasn't|weren't|not correct|right|good",
        "count|counts is|are|was|were? incorrect|wrong",
        "count|counts is|are|was|were off|short",
        "incorrect count|counts",
        "count's off|wrong|short|incorrect",
        "count|counts|numbers doesn't|don't|didn't match|agree|add",
        "count|counts|numbers does|do|did not match|agree|add",
        "we're|i'm missing a|an|one|two|three|another|some?",
        "we|i are|am missing a|an|one|two|three|another|some?",
        "we're|i'm short|off by? a|an|one|two|three",
        "we|i are|am short|off by? a|an|one|two|three",
        "missing a|an|one|two|three",
        "one|two|three is|are? missing",
        "one|two|three too many|few",
        "we|i have|got|i've|we've? a|an|one extra",
        "we|i have|got one|two|three too many|few",
        "we've|i've got? one|two|three too many|few",
        "one|two|three short",
        "there's|there is an|one extra",
        "count|counts is|are|was|were off|short by a|an|one|two|three|four|five",
        f"{_NAMED} count|counts is|are|was|were off|short by a|an|one|two|three|four|five",
    ),
    "ALONE not_correct": ("doesn't|don't|didn't match|agree", "does|do|did not match|agree"),
    "DENIED verdict": (
        "no? it's|that's|they're|its not",
        "no? it|they isn't|aren't",
        "no? it|they is|are not",
    ),
    "VERDICT recount": (
        "recount|recounting the|all|everything?",
        "let|need me|us|to? recount the|all|everything?",
        "i|we need|want|have to recount the|all|everything?",
        "we're|i'm|we'll|i'll recounting|recount the|all|everything?",
        "re count the|all?",
        "count again",
        "count them|it|those|everything again",
        "count the? sponges|sharps|instruments again",
    ),
    "BARE correct": (
        "is|are|was|were all? correct",
        "correct",
        "is|are|was|were? all? accounted for",
    ),
    "BARE not_correct": (
        "is|are|was|were not correct",
        "not correct",
        "is|are? short",
        "is|are? too many|few",
        "is|are|was|were incorrect|missing",
        "are|were wrong|short",
        "incorrect",
        "missing",
    ),
    "ADD verb": (
        "add|adding|added",
        "open|opening|opened up?",
        "giving you",
        "bringing up",
        "add|adding|added to the? count|field|table",
    ),
    "ADD unsure": (
        "handing|passing|tossing|dropping you|up",
        "tossing|dropping",
        "you're|you|you'll getting|get",
    ),
    "REMOVE unsure": ("count|counted|counting off", "tossed|discarding|discarded"),
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
        "off",
    ),
    "REMOVE wound": (
        f"out of|from|off? the? {_WOUND}",
        f"from|outside the? {_WOUND}",
        f"removed|taken|pulled|lifted|coming|came out? of|from the? {_WOUND}",
        "unpacked",
        "coming? out",
    ),
    "UNPACKED": (
        "all? the|our? packing is|was|has? been? out|removed",
        "all? the|our? packing came|comes|coming? out",
        "taking|take|took|taken out all? the|our? packing",
        "removing|removed all? the|our? packing",
    ),
    "DROP": ("dropped|drops|fell",),
    "FOUND": (
        "i|we|i've|we've|she|he? found",
        "i|we|i've|we've|she|he? found it|them",
        "is|was|were|has|have? been? found",
        "turned|showed up",
    ),
    "TRAY": ("on|in|from the|my? tray|set|pan",),
    "TAKE": ("taking|take|took|pulling|pulled|lifting|lifted|bringing|getting",),
    "NOT": ("not",),
    "THOSE": ("no? those|these are|were", "no? that|it was", "no? it is"),
    "STRIKE": (
        "strike|scratch|cancel|delete|disregard|undo that last? count|number|line|entry|one?",
        "strike|scratch|cancel|delete|disregard|undo the? last count|number|line|entry|one?",
        "strike|scratch|cancel|delete|disregard|undo it",
        "strike|scratch|cancel|delete|disregard|undo the|those|these",
        "take that back",
        "i take it|that back",
        "disregard|ignore the? last count|number|line|entry|one?",
        "disregard|ignore that|this|it",
    ),
    "LOOSE strike": (
        "never mind that?",
        "nevermind that?",
        "forget that|it",
        "disregard",
    ),
    "MEAN firm": (
        "correction",
        "i mean|meant",
        "make|change|correct that|it to?",
        "make the",
        "that was|is wrong|incorrect",
        "that was|is not right|correct",
        "that wasn't|isn't right|correct",
        "that's|thats wrong|incorrect",
        "that's|thats not right|correct",
        "that was|is a|my mistake|error",
        "that's|thats a|my mistake|error",
        "my mistake|error|fault|bad",
        "i misspoke|miscounted",
        "i was wrong",
        "should be|say",
        "that should be|say",
    ),
    "MEAN soft": ("no", "sorry", "wait no", "no wait", "i'm sorry", "actually", "rather", "oops"),
    "SWAP": ("make|change|correct",),
    "TOTAL": (
        "that's|thats|equals",
        "that is",
        "that? makes",
        "for a total of",
        "a? total of|is?",
        "total",
        "for|in all",
        "in total",
        "altogether",
        "all together|told",
    ),
    "RESTART": (
        "start|starting|begin over|again",
        "let's|lets start over|again",
        "from the top|beginning",
        "i|we? lost|lose|losing my|our|the? count|place",
        "i|we? lost track",
        "do over",
        "again",
    ),
    "AGAIN": ("say that? again", "come again"),
    "PACK one": (
        "pack|package|packet|sleeve|box|bundle of?",
        "short|incomplete|bad pack|package|packet|sleeve|box|bundle of?",
    ),
    "PACK many": ("packs|packages|packets|sleeves|boxes|bundles of?",),
    "ASIDE": (
        "set|setting|put|putting that|this|the|it pack|package|packet? aside",
        "set|setting|put|putting aside that|this|the|it? pack|package|packet? of?",
        "discard|discarding|isolate|isolating|pull|pulling that|this|the pack|package|packet of?",
        "removing|remove|throw|throwing|toss|tossing out? that|this|the pack|package|packet of?",
        "taking|take|passing|pass|handing|hand that|this|the pack|package|packet off the? field?",
    ),
    "PAIR": ("a? pair of?", "pairs of?"),
    "PLACE mayo_stand": ("on|to|onto the|my? mayo stand|tray?",),
    "PLACE back_table": ("on|to|onto the|my? back table", "on|to|onto the|my? backtable"),
    "PLACE field": ("on|in the? sterile? field", "up? on the? sterile? field"),
    "PLACE wound": (
        f"in|inside the? {_WOUND}",
        f"packed|packing in|into the? {_WOUND}",
        f"putting|placing|placed|tucking|tucked|left in|into|inside the? {_WOUND}",
        "packed in?",
        "packing",
    ),
    "INWARD": ("going|goes|go in", "tucked|tucking under|behind|in"),
    "PLACE off_field": (
        "in|into the? kick|counter|sponge? bag|bags|bucket|buckets|pocket|pockets",
        "in|into the? sponge? counter",
        "off the? sterile? field in|into the? kick|counter|sponge? bag|bags|bucket",
    ),
    "HEADS mayo_stand": ("the|my? mayo stand has|holds?",),
    "HEADS back_table": ("the|my? back table has|holds?", "the|my? backtable has|holds?"),
    "SET": (
        "put|puts|putting|place|placing|placed|goes|go|set|setting|lay|laying|laid",
        "move|moving|moved",
    ),
    "FLOOR": ("on|from|off the? floor",),
    "LOCATION": ("on the? table", "in the basin"),
    "BAG one": ("first|second|third|fourth|next? bag of",),
    "BAG many": ("bags of",),
    "BROKEN sure": (
        f"is|was|has|got? {_BROKEN} in|into? {_HOW_MANY} {_PIECES}?",
        f"is|was|has|got? {_PARTED} in|into? {_HOW_MANY} {_PIECES}",
        f"is|was|has|got? {_PARTED} in|into {_HOW_MANY} {_PIECES}?",
    ),
    "BROKEN bare": (
        f"is|was|has|got? {_BROKEN}",
        "is|was|has? come|came|coming|fell|falling apart",
        "i|we|i've|we've|she|he|surgeon|doctor cut|broke|snapped the|a|an|my|our|one?",
    ),
    "HALF": ("in|into half|halves",),
    "PIECES": (f"in|into? {_HOW_MANY.removesuffix('|half')} {_PIECES}",),
    "LABEL": (
        "this|that|the? cup|basin|bowl|pitcher is|holds|contains",
        "label|labels|labeling|labelling|labeled|labelled the|this|that|my|a?",
    ),
    "DRAW": ("draw|drawing|drew|drawn up?",),
    "RECEIPT": (
        "receive|receiving|received",
        "pouring|dispensing",
        "medication|meds to the? field",
    ),
    "READ_BACK": (
        "read|reading it|that|label? back",
        "read back and verified|confirmed|correct",
        "label read back",
        "confirm|confirming|confirmed|verify|verifying|verified the|that?",
    ),
    "HANDS": (
        f"received? from|by the|our? {_PEOPLE}",
        f"to the|our? {_PEOPLE}",
    ),
    # of two words, so that "cautery tip" stays an item
    "DIRECTION": (
        f"{_END} facing|pointing|curved? {_WAY}",
        f"{_END} facing|pointing|curved? to|toward|towards the|my|your? {_SIDE}",
        f"curved|curving {_WAY}",
        f"facing|pointing to|toward|towards the|my|your? {_SIDE}",
    ),
    "NOTE": ("note that", "remark", "for the record"),
}
"""Rules by label. The second word of a label is what the phrase stands for."""

_FILLERS = """
    a an and the of is are am i i'm i've i'll we we're we've we'll have has got there there's here
    here's it's its um uh er ah okay ok alright so now then count counts counted counting number
    numbers my your our yes yeah yep please next also up left each with including single just doctor
    let's lets do see only
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
