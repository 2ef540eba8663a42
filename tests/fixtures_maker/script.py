"""What is said in every recording, and what must come out of it.

A line is one utterance. ``~0.8`` is a pause of 0.8 seconds inside it; commas and full stops only
guide the synthesiser. ``("voice", "line")`` is said by somebody else. Events list the fields that
must come out; a field that is left out is not judged (the quantity of a count that was said wrong
on purpose). ``questions`` are codes of which at least one must be raised on that event.
"""

from dataclasses import dataclass
from typing import Any, Literal

Event = dict[str, Any]
Container = Literal["flac", "opus", "mp3", "wav"]
UNJUDGED = object()


@dataclass(frozen=True)
class Recording:
    """One recording: ``snr_db`` belongs to ``noise``; ``gap_s`` is the pause between lines."""

    name: str
    voice: str
    lines: tuple[str | tuple[str, str], ...]
    events: tuple[Event, ...] = ()
    noise: str | None = None
    snr_db: float | None = None
    room: bool = False
    container: Container = "flac"
    sample_rate: int = 16_000
    channels: int = 1
    rate: float = 1.0
    gap_s: float = 0.9
    talk: bool = False


def said(kind: str, **fields: Any) -> Event:
    """An event of ``kind``; list-valued ``questions`` default to none required."""
    return {"kind": kind, **{key: value for key, value in fields.items() if value is not UNJUDGED}}


def sequence(item: str, last: int, **more: Any) -> Event:
    """A count said one by one from 1 to ``last``."""
    return said(
        "count",
        item=item,
        quantity=last,
        spoken="sequence",
        sequence=list(range(1, last + 1)),
        **more,
    )


def total(item: str, quantity: int, kind: str = "count", **more: Any) -> Event:
    """A quantity said as one number."""
    return said(kind, item=item, quantity=quantity, spoken="total", **more)


def pack(item: str, quantity: int, kind: str = "count", **more: Any) -> Event:
    """A quantity said as packs."""
    return said(kind, item=item, quantity=quantity, spoken="pack", **more)


def misspoken(item: str, spoken: list[int], *codes: str) -> Event:
    """A sequence said wrong on purpose: no quantity is right, a question is."""
    return said("count", item=item, spoken="sequence", sequence=spoken, questions=list(codes))


RECORDINGS: tuple[Recording, ...] = (
    # Counts one by one
    Recording(
        "laps-five",
        "flite-slt",
        ("laps, one, two, three, four, five",),
        (sequence("lap_sponge", 5),),
    ),
    Recording(
        "raytecs-ten-slow",
        "piper-joe",
        (
            "raytecs ~0.6 one ~0.5 two ~0.7 three ~0.5 four ~0.6 five ~0.8 six ~0.5 seven ~0.6"
            " eight ~0.7 nine ~0.5 ten",
        ),
        (sequence("raytec", 10),),
    ),
    Recording(
        "peanuts-long-pauses",
        "kokoro-tebukuro",
        ("peanuts ~0.9 one ~1.2 two ~2.0 three ~1.6 four ~1.1 five",),
        (sequence("peanut", 5),),
    ),
    Recording(
        "sharps-three-items",
        "flite-rms",
        (
            "needles, one, two, three, four, five, six",
            "blades, one, two",
            "hypos, one, two",
        ),
        (
            sequence("suture_needle", 6),
            sequence("knife_blade", 2),
            sequence("hypodermic_needle", 2),
        ),
    ),
    Recording(
        "kelly-clamps-suction",
        "festival-slt-hts",
        ("kelly clamps ~0.5 one ~0.5 two ~0.6 three ~0.5 four ~0.5 five ~0.6 six",),
        (sequence("kelly_clamp", 6),),
        noise="suction",
        snr_db=15,
        container="opus",
    ),
    Recording(
        "hemostats-monitor",
        "piper-joe",
        ("hemostats ~0.5 one, two, three ~0.6 four, five, six",),
        (sequence("hemostat", 6),),
        noise="monitor",
        snr_db=10,
        container="opus",
    ),
    Recording(
        "laps-five-babble",
        "kokoro-tebukuro",
        ("laps ~0.5 one ~0.6 two ~0.6 three ~0.6 four ~0.6 five",),
        (sequence("lap_sponge", 5),),
        noise="babble",
        snr_db=12,
        container="opus",
    ),
    Recording(
        "needles-clatter",
        "flite-slt",
        ("needles ~0.5 one ~0.5 two ~0.5 three ~0.5 four",),
        (sequence("suture_needle", 4),),
        noise="clatter",
        snr_db=8,
        container="opus",
    ),
    Recording(
        "towel-clips-ventilation",
        "espeak-scotland",
        ("towel clips ~0.5 one ~0.5 two ~0.5 three ~0.5 four ~0.5 five ~0.5 six",),
        (sequence("towel_clip", 6),),
        noise="ventilation",
        snr_db=10,
        container="opus",
    ),
    Recording(
        "raytecs-to-twelve",
        "festival-ked",
        (
            "raytecs ~0.5 one, two, three, four, five ~0.6 six, seven, eight, nine, ten"
            " ~0.6 eleven ~0.5 twelve",
        ),
        (sequence("raytec", 12),),
    ),
    # Totals, number then item, packs
    Recording(
        "totals-three",
        "flite-rms",
        ("raytecs ten", "laps five", "peanuts five"),
        (total("raytec", 10), total("lap_sponge", 5), total("peanut", 5)),
    ),
    Recording(
        "number-then-item",
        "piper-joe",
        ("six needles", "two blades", "four allis clamps"),
        (total("suture_needle", 6), total("knife_blade", 2), total("allis_clamp", 4)),
    ),
    Recording(
        "instruments-totals",
        "kokoro-tebukuro",
        ("three needle holders", "two right angles", "two mayo scissors", "one weitlaner"),
        (
            total("needle_holder", 3),
            total("right_angle_clamp", 2),
            total("mayo_scissors", 2),
            total("weitlaner_retractor", 1),
        ),
        room=True,
    ),
    Recording("pack-of-ten", "espeak-scotland-m8", ("one pack of raytecs",), (pack("raytec", 10),)),
    Recording("two-packs", "flite-slt", ("two packs of laps",), (pack("lap_sponge", 10),)),
    Recording("fifteen-raytecs", "piper-joe", ("raytecs fifteen",), (total("raytec", 15),)),
    Recording("fifty-raytecs", "piper-joe", ("raytecs fifty",), (total("raytec", 50),)),
    Recording("fifteen-laps", "flite-slt", ("fifteen laps",), (total("lap_sponge", 15),)),
    Recording("fifty-laps", "flite-slt", ("fifty laps",), (total("lap_sponge", 50),)),
    # Additions and removals
    Recording(
        "adding-laps", "flite-rms", ("adding five laps",), (total("lap_sponge", 5, "addition"),)
    ),
    Recording(
        "adding-pack",
        "kokoro-tebukuro",
        ("adding one pack of raytecs",),
        (pack("raytec", 10, "addition"),),
    ),
    Recording(
        "adding-needles-babble",
        "piper-joe",
        ("adding two needles", "adding one stick tie"),
        (total("suture_needle", 2, "addition"), total("stick_tie", 1, "addition")),
        noise="babble",
        snr_db=15,
        container="opus",
    ),
    Recording(
        "laps-passed-off",
        "festival-slt-hts",
        ("five laps passed off",),
        (total("lap_sponge", 5, "removal"),),
    ),
    Recording(
        "raytecs-bagged", "flite-rms", ("ten raytecs bagged",), (total("raytec", 10, "removal"),)
    ),
    # Corrections and restarts
    Recording(
        "correction-six",
        "piper-joe",
        ("seven needles", "correction ~0.3 six needles"),
        (
            total("suture_needle", 7),
            said("correction", item="suture_needle", quantity=6),
        ),
    ),
    Recording(
        "strike-that",
        "flite-slt",
        ("four blades", "strike that", "two blades"),
        (
            total("knife_blade", 4),
            said("correction", item=None, quantity=None),
            total("knife_blade", 2),
        ),
    ),
    Recording(
        "i-mean",
        "flite-rms",
        ("laps ten, i mean laps five",),
        (total("lap_sponge", 10), said("correction", item="lap_sponge", quantity=5)),
    ),
    Recording(
        "restart-sequence",
        "kokoro-tebukuro",
        ("laps ~0.5 one, two, three", "start again", "laps ~0.5 one, two, three, four, five"),
        (sequence("lap_sponge", 5),),
    ),
    # Talk inside a sequence
    Recording(
        "interrupted-by-talk",
        "piper-joe",
        (
            "laps ~0.5 one ~0.5 two ~0.5 three",
            ("kokoro-tebukuro", "could somebody answer that phone"),
            "four ~0.5 five",
        ),
        (sequence("lap_sponge", 5),),
    ),
    Recording(
        "interrupted-and-lost",
        "flite-rms",
        (
            "needles ~0.4 one ~0.4 two ~0.4 three ~0.4 four",
            ("flite-slt", "your next patient has arrived downstairs"),
        ),
        (said("count", item="suture_needle", spoken="sequence"),),
    ),
    # Numbers said wrong on purpose
    Recording(
        "skipped-four",
        "flite-slt",
        ("laps ~0.4 one ~0.4 two ~0.4 three ~0.4 five",),
        (misspoken("lap_sponge", [1, 2, 3, 5], "number_skipped"),),
    ),
    Recording(
        "repeated-three",
        "piper-joe",
        ("peanuts ~0.4 one ~0.5 two ~0.5 three ~0.5 three ~0.5 four ~0.5 five",),
        (misspoken("peanut", [1, 2, 3, 3, 4, 5], "number_repeated"),),
    ),
    Recording(
        "swapped-four-three",
        "flite-rms",
        ("laps ~0.4 one ~0.4 two ~0.4 four ~0.4 three ~0.4 five",),
        (misspoken("lap_sponge", [1, 2, 4, 3, 5], "number_swapped", "number_skipped"),),
    ),
    Recording(
        "starts-at-three",
        "kokoro-tebukuro",
        ("needles ~0.4 three ~0.4 four ~0.4 five ~0.4 six",),
        (misspoken("suture_needle", [3, 4, 5, 6], "sequence_start"),),
    ),
    Recording(
        "total-disagrees",
        "flite-slt",
        ("laps ~0.4 one, two, three, four ~0.5 total five",),
        (said("count", item="lap_sponge", questions=["total_disagrees"]),),
    ),
    Recording(
        "kochers-two-ked",
        "festival-ked",
        ("kochers ~0.4 one ~0.5 two",),
        (sequence("kocher_clamp", 2),),
    ),
    Recording(
        "removal-babble",
        "espeak-scotland-f5",
        ("five raytecs passed off",),
        (total("raytec", 5, "removal"),),
        noise="babble",
        snr_db=15,
    ),
    # Phases and verdicts
    Recording(
        "initial-count",
        "flite-slt",
        ("initial count", "laps ~0.4 one, two, three, four, five", "count is correct"),
        (
            said("phase", phase="initial"),
            sequence("lap_sponge", 5),
            said("verdict", verdict="correct"),
        ),
    ),
    Recording(
        "closing-count-sponges",
        "piper-joe",
        ("closing count", "raytecs ten", "laps five", "sponge count is correct"),
        (
            said("phase", phase="closing"),
            total("raytec", 10),
            total("lap_sponge", 5),
            said("verdict", verdict="correct", group="sponges"),
        ),
        room=True,
        container="opus",
    ),
    Recording(
        "final-not-correct",
        "flite-rms",
        ("final count", "needles five", "count is not correct", "recount"),
        (
            said("phase", phase="final"),
            total("suture_needle", 5),
            said("verdict", verdict="not_correct"),
            said("verdict", verdict="recount"),
        ),
    ),
    Recording(
        "relief-count",
        "kokoro-tebukuro",
        ("relief count", "laps five", "counts are correct"),
        (
            said("phase", phase="relief"),
            total("lap_sponge", 5),
            said("verdict", verdict="correct"),
        ),
    ),
    # Medications and solutions
    Recording(
        "receipt-lidocaine",
        "flite-slt",
        (
            "one percent lidocaine with epinephrine one to one hundred thousand,"
            " thirty milliliters, expires june twenty twenty eight",
        ),
        (
            said(
                "receipt",
                item="lidocaine",
                medication={
                    "name": "lidocaine",
                    "strength": {"value": "1", "unit": "%"},
                    "additive": "epinephrine",
                    "additive_strength": {"value": "100000", "unit": "ratio"},
                    "volume_ml": "30",
                    "expiry": "2028-06-30",
                },
            ),
        ),
    ),
    Recording(
        "receipt-bupivacaine",
        "piper-joe",
        ("point two five percent bupivacaine, ten milliliters, expires march twenty twenty eight",),
        (
            said(
                "receipt",
                item="bupivacaine",
                medication={
                    "name": "bupivacaine",
                    "strength": {"value": "0.25", "unit": "%"},
                    "volume_ml": "10",
                    "expiry": "2028-03-31",
                },
            ),
        ),
    ),
    Recording(
        "receipt-expired",
        "flite-rms",
        ("two percent lidocaine, ten milliliters, expires march twenty twenty four",),
        (
            said(
                "receipt",
                item="lidocaine",
                medication={
                    "name": "lidocaine",
                    "strength": {"value": "2", "unit": "%"},
                    "volume_ml": "10",
                    "expiry": "2024-03-31",
                },
                questions=["expiry_past"],
            ),
        ),
    ),
    Recording(
        "label-cup",
        "kokoro-tebukuro",
        ("label on the cup, one percent lidocaine",),
        (
            said(
                "label",
                item="lidocaine",
                medication={
                    "name": "lidocaine",
                    "strength": {"value": "1", "unit": "%"},
                    "container": "cup",
                },
            ),
        ),
    ),
    Recording(
        "draw-ten",
        "flite-slt",
        ("drawing up ten milliliters of bupivacaine",),
        (said("draw", item="bupivacaine", quantity=10, unit="mL"),),
    ),
    Recording(
        "receipt-saline",
        "espeak-scotland-f5",
        ("normal saline, five hundred milliliters, expires december twenty twenty nine",),
        (
            said(
                "receipt",
                item="sodium_chloride",
                medication={
                    "name": "sodium_chloride",
                    "volume_ml": "500",
                    "expiry": "2029-12-31",
                },
            ),
        ),
    ),
    # Set-up
    Recording(
        "set-up-mayo-stand",
        "flite-rms",
        ("kelly clamps on the mayo stand", "raytecs on the mayo stand", "laps on the back table"),
        (
            said("set_up", item="kelly_clamp"),
            said("set_up", item="raytec"),
            said("set_up", item="lap_sponge"),
        ),
    ),
    # Other containers and rates
    Recording(
        "needles-narrow-band",
        "piper-joe",
        ("needles ~0.5 one ~0.5 two ~0.5 three ~0.5 four ~0.5 five ~0.5 six",),
        (sequence("suture_needle", 6),),
        container="wav",
        sample_rate=8_000,
    ),
    Recording(
        "laps-stereo",
        "flite-slt",
        ("laps ~0.5 one ~0.5 two ~0.5 three ~0.5 four ~0.5 five",),
        (sequence("lap_sponge", 5),),
        channels=2,
    ),
    Recording(
        "raytecs-mp3",
        "kokoro-tebukuro",
        ("raytecs ~0.5 one, two, three, four, five ~0.5 six, seven, eight, nine, ten",),
        (sequence("raytec", 10),),
        container="mp3",
        sample_rate=44_100,
    ),
    Recording(
        "blades-opus",
        "flite-rms",
        ("blades ~0.4 one ~0.5 two",),
        (sequence("knife_blade", 2),),
        container="opus",
        sample_rate=48_000,
    ),
    # People talking who do not count
    Recording(
        "talk-table",
        "flite-slt",
        ("please raise the table and bring the lamp closer to me",),
        talk=True,
    ),
    Recording(
        "talk-weekend",
        "piper-joe",
        (
            "my daughter plays football on saturday morning",
            "so we are driving to my sister's place",
        ),
        talk=True,
        container="opus",
    ),
    Recording(
        "talk-with-numbers",
        "flite-rms",
        ("room four is running about twenty minutes behind", "his last visit was two years ago"),
        talk=True,
    ),
    Recording(
        "talk-two-people",
        "kokoro-tebukuro",
        (
            "did the laboratory call back with a result",
            ("flite-rms", "not yet, they said it takes another hour"),
        ),
        talk=True,
        noise="ventilation",
        snr_db=15,
        container="opus",
    ),
    Recording(
        "talk-pressure",
        "festival-slt-hts",
        ("heart rate is seventy six and pressure is one twenty over eighty",),
        talk=True,
    ),
    Recording(
        "talk-anatomy",
        "espeak-scotland-f5",
        ("the sac is stuck to the cord here, go slowly along this border",),
        talk=True,
    ),
    Recording(
        "talk-suction",
        "piper-joe",
        ("i cannot find the edge of it", "give me a little more exposure there"),
        talk=True,
        noise="suction",
        snr_db=10,
        container="opus",
    ),
    Recording(
        "talk-then-count",
        "flite-slt",
        (
            "are we all finished with the irrigation",
            "laps ~0.5 one ~0.5 two ~0.5 three ~0.5 four ~0.5 five",
        ),
        (sequence("lap_sponge", 5),),
    ),
    Recording(
        "remark-for-the-record",
        "flite-rms",
        ("for the record, surgeon notified",),
        (said("remark"),),
    ),
)
