"""Random lines about medications, each with what it must be understood as."""

import calendar
import random
from dataclasses import dataclass, replace
from datetime import date, time
from decimal import Decimal

from countersign.meaning.event import EventKind, MedicationDetail, Strength
from countersign.number_words import spell

D = Decimal
STRENGTHS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "lidocaine": (
        ("one percent", "1", "%"),
        ("two percent", "2", "%"),
        ("half percent", "0.5", "%"),
        ("one and a half percent", "1.5", "%"),
        ("ten milligrams per milliliter", "10", "mg/mL"),
        ("twenty milligrams per m l", "20", "mg/mL"),
        ("fifteen milligrams per milliliter", "15", "mg/mL"),
    ),
    "bupivacaine": (
        ("point two five percent", "0.25", "%"),
        ("zero point two five percent", "0.25", "%"),
        ("quarter percent", "0.25", "%"),
        ("a quarter percent", "0.25", "%"),
        ("point five percent", "0.5", "%"),
        ("half a percent", "0.5", "%"),
        ("point seven five percent", "0.75", "%"),
    ),
    "heparin": (
        ("one thousand units per milliliter", "1000", "[U]/mL"),
        ("ten units per milliliter", "10", "[U]/mL"),
        ("five thousand units per milliliter", "5000", "[U]/mL"),
        ("one hundred units per cc", "100", "[U]/mL"),
    ),
    "epinephrine": (
        ("one to one thousand", "1000", "ratio"),
        ("one in one hundred thousand", "100000", "ratio"),
        ("ten micrograms per milliliter", "10", "ug/mL"),
        ("one milligram per milliliter", "1", "mg/mL"),
    ),
    "cefazolin": (("one gram", "1", "g"), ("two grams", "2", "g"), ("500 milligrams", "500", "mg")),
}
RATIOS = (("two hundred thousand", 200_000), ("one hundred thousand", 100_000))
MONTHS = [name.lower() for name in calendar.month_name[1:]]
ROLES = ("scrub", "circulator", "anesthesia", "pharmacy")
UNITS = ("milliliters", "mils", "cc", "m l", "ml")


@dataclass(frozen=True)
class Line:
    """One line as it is said, in parts that a pause may part, and what it means."""

    kind: EventKind
    parts: tuple[str, ...]
    detail: MedicationDetail


def volume(rng: random.Random) -> tuple[str, Decimal]:
    number = rng.choice([rng.randint(1, 30), rng.randint(1, 99), rng.randint(100, 999)])
    number = rng.choice([number, 13, 15, 30, 50, 15, 10, 20, 5])
    unit = rng.choice(UNITS)
    if rng.random() < 0.1:
        return f"{spell(number)} point five {unit}", D(number) + D("0.5")
    return f"{spell(number)} {unit}", D(number)


def expiry(rng: random.Random) -> tuple[str, dict[str, object]]:
    year = rng.randint(2027, 2039)
    month = rng.randint(1, 12)
    last = calendar.monthrange(year, month)[1]
    day = rng.randint(1, last)
    said_year = f"twenty {spell(year - 2000)}"
    lead = rng.choice(["expires", "expiration", "expiry", "expiration date"])
    match rng.randint(0, 4):
        case 0:
            return f"{lead} {MONTHS[month - 1]} {said_year}", {"expiry": date(year, month, last)}
        case 1:
            said = f"{lead} {MONTHS[month - 1]} {ordinal(day)} {said_year}"
            return said, {"expiry": date(year, month, day)}
        case 2 if month < 10:
            said = f"{lead} oh {spell(month)} {spell(year - 2000)}"
            return said, {"expiry": date(year, month, last)}
        case 3:
            hour = rng.randint(13, 23)
            return f"{lead} at {spell(hour)} hundred", {"expiry_time": time(hour)}
        case _:
            hour, minute = rng.randint(1, 11), rng.choice([0, 15, 30, 45])
            minutes = f" {spell(minute)}" if minute else ""
            said = f"{lead} at {spell(hour)}{minutes} p m"
            return said, {"expiry_time": time(hour + 12, minute)}


def ordinal(day: int) -> str:
    ones = "first second third fourth fifth sixth seventh eighth ninth".split()
    teens = (
        "tenth eleventh twelfth thirteenth fourteenth fifteenth sixteenth seventeenth eighteenth "
        "nineteenth"
    ).split()
    if day < 20:
        return [*ones, *teens][day - 1]
    tens = {2: ("twenty", "twentieth"), 3: ("thirty", "thirtieth")}[day // 10]
    return f"{tens[0]} {ones[day % 10 - 1]}" if day % 10 else tens[1]


def line(rng: random.Random) -> Line:
    """A receipt, label or draw."""
    name = rng.choice(sorted(STRENGTHS))
    said, value, unit = rng.choice(STRENGTHS[name])
    values: dict[str, object] = {"name": name, "strength": Strength(value=D(value), unit=unit)}
    ml_said, ml = volume(rng)
    parts: list[str] = []
    kind = rng.choice([EventKind.RECEIPT, EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW])
    powder = unit in ("g", "mg")
    if powder and kind is EventKind.DRAW:
        kind = EventKind.RECEIPT
    solvent_said, solvent = volume(rng)
    match kind:
        case EventKind.RECEIPT:
            lead = rng.choice(["", "", "receiving "])
        case EventKind.LABEL:
            container = rng.choice(["cup", "basin", "syringe", "bowl"])
            values["container"] = container
            lead = rng.choice([f"label {container} ", f"label on the {container} "])
            lead = rng.choice([lead, f"{container} label "])
        case _:
            lead = rng.choice(["drawing ", "drawing up ", "draw up "])
    first = rng.choice([f"{name} {said}", f"{said} {name}"])
    if powder:
        parts.append(f"{lead}{first}")
        values |= {"diluent": "sodium_chloride", "diluent_volume_ml": solvent}
        parts.append(
            f"in {solvent_said} {rng.choice(['', 'of '])}{rng.choice(['saline', 'normal saline'])}"
        )
    else:
        values["volume_ml"] = ml
        if rng.random() < 0.4:
            of = rng.choice(["", "of "])
            parts.append(f"{lead}{ml_said} {of}{first}")
        else:
            parts += [f"{lead}{first}", ml_said]
        match rng.randint(0, 5):
            case 0 if name in ("lidocaine", "bupivacaine") and kind is not EventKind.DRAW:
                ratio = rng.choice(RATIOS)
                epi = rng.choice(["epinephrine", "epi"])
                parts.insert(1, f"with {epi} one {rng.choice(['to', 'in'])} {ratio[0]}")
                values |= {
                    "additive": "epinephrine",
                    "additive_strength": Strength(value=D(ratio[1]), unit="ratio"),
                }
            case 1:
                verb = rng.choice(["diluted with", "mixed with", "diluted in", "with", "in"])
                parts.append(f"{verb} {solvent_said} {rng.choice(['', 'of '])}saline")
                values |= {"diluent": "sodium_chloride", "diluent_volume_ml": solvent}
    tail: list[str] = []
    if kind is not EventKind.DRAW and rng.random() < 0.5:
        exp, more = expiry(rng)
        tail.append(exp)
        values |= more
    if kind is EventKind.RECEIPT and rng.random() < 0.3:
        tail.append("lot a b four two")
        values["lot"] = "AB42"
    if kind is EventKind.RECEIPT and rng.random() < 0.3:
        giver = rng.choice(ROLES)
        tail.append(rng.choice(["from the {}", "received from {}", "from {}"]).format(giver))
        values["received_from"] = giver
    if kind is EventKind.DRAW and rng.random() < 0.3:
        container = rng.choice(["cup", "basin"])
        tail.append(f"from the {container}")
        values["container"] = container
    rng.shuffle(tail)
    return Line(kind, tuple(parts + tail), MedicationDetail.model_validate(values))


def utterances(rng: random.Random, made: Line) -> list[str]:
    """The line in one or more utterances."""
    said = [made.parts[0]]
    for part in made.parts[1:]:
        if rng.random() < 0.25:
            said.append(part)
        else:
            said[-1] += f" {part}"
    return said


def restarted(rng: random.Random, made: Line) -> Line:
    """The line with its beginning said twice."""
    words = made.parts[0].split()
    cut = rng.randint(1, len(words))
    return replace(made, parts=(" ".join([*words[:cut], made.parts[0]]), *made.parts[1:]))
