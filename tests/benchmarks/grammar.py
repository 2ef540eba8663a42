"""A counting grammar in the JSpeech Grammar Format (JSGF), for recognisers that take one."""

from countersign.kit import Kit

NUMBERS = (
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
    " sixteen seventeen eighteen nineteen"
).split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
MONTHS = (
    "january february march april may june july august september october november december"
).split()


def forms(kit: Kit) -> tuple[list[str], list[str]]:
    """Spoken forms of the items and of the medications; hyphens are blanks."""
    items = [form.replace("-", " ") for item in kit.items for form in item.spoken]
    medicines = [form.replace("-", " ") for drug in kit.medications for form in drug.spoken]
    return sorted(set(items)), sorted(set(medicines))


def counting_jsgf(kit: Kit) -> str:
    """Sequences, totals, packs, additions, removals, corrections, phases, verdicts, medications."""
    items, medicines = forms(kit)
    rules = {
        "item": " | ".join(items),
        "medicine": " | ".join(medicines),
        "number": f"{' | '.join(NUMBERS)} | <tens> [<unit>]",
        "tens": " | ".join(TENS),
        "unit": " | ".join(NUMBERS[:9]),
        "month": " | ".join(MONTHS),
        "count": "<item> <number>+ [total <number>] | <number> <item>"
        " | (a | one | two) (pack | packs) of <item>",
        "change": "(adding | add) <count> | <number> <item> (passed off | bagged)",
        "correction": "strike that | start again | correction <count> | i mean <count>",
        "phase": "(initial | relief | closing | final) count",
        "verdict": "[sponge | needle | instrument] (count is | counts are) [not] correct | recount",
        "strength": "<number> percent | point <unit>+ percent",
        "dose": "[<strength>] <medicine> [with epinephrine one to (one | two) hundred thousand]"
        " [<number> [hundred] milliliters] [expires <month> twenty <number>]",
        "solution": "<dose> | label [on the (cup | basin | syringe)] <dose>"
        " | drawing up <number> milliliters of <medicine>",
        "place": "<item> on the (mayo stand | back table)",
        "said": "<count> | <change> | <correction> | <phase> | <verdict> | <solution> | <place>",
    }
    written = "".join(f"<{name}> = {rule};\n" for name, rule in rules.items())
    return f"#JSGF V1.0;\ngrammar counting;\n{written}public <session> = <said>+;\n"


def vocabulary(kit: Kit) -> list[str]:
    """Every word of the grammar."""
    items, medicines = forms(kit)
    words = {word for form in (*items, *medicines) for word in form.split()}
    words |= {*NUMBERS, *TENS, *MONTHS}
    words |= set(
        "a of pack packs total adding add passed off bagged strike that start again correction i"
        " mean initial relief closing final count counts is are not correct recount sponge needle"
        " instrument percent point with epinephrine to hundred thousand milliliters expires label"
        " on the cup basin syringe drawing up mayo stand back table".split()
    )
    return sorted(words)
