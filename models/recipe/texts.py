"""Seeded text generator for training and checking a recogniser of surgical counting.

The texts cover what is said during a count (items and sequences, totals, packs, additions,
corrections, phases, verdicts), medication labels, numbers 0 to 999, isolated words, pairs of words
that are easily confused, operating-room talk that is not a count, and random dictionary words so
that every pair of neighbouring phones occurs. All numbers are spelled out.

One text in eight is held out by its spelling (``held_out_text``): training never speaks it, and
scores are taken on such texts and on texts of one or two words only.
"""

from __future__ import annotations

import hashlib
import random
import re

ONES = "one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
DIGITS = ["zero", *ONES]

ITEMS = """sponge;sponges;raytec;raytecs;lap;laps;lap sponge;lap sponges;laparotomy sponges;lap pads
needle;needles;free needle;free needles;suture needle;suture needles;blade;blades;knife blades
knife handle;knife handles;suture;sutures;ties;stick ties;syringe;syringes;hypodermic;hypodermics
hypodermic needle;hypodermic needles;marking pen;marking pens;scissors;mayo scissors
metzenbaum scissors;suture scissors;clamp;clamps;hemostat;hemostats;kelly clamp;kelly clamps;kellys
kocher;kochers;kocher clamps;allis clamp;allis clamps;babcock;babcocks;towel clip;towel clips
needle holder;needle holders;needle drivers;retractor;retractors;forceps;pickups;adson forceps
debakey forceps;russian forceps;tissue forceps;grasper;graspers;trocar;trocars;cannula;cannulas
clip applier;clip appliers;clips;clip cartridge;stapler;staplers;staple loads;reloads;vessel loop
vessel loops;bulldog;bulldogs;bulldog clamps;bovie tip;bovie tips;cautery tip;cautery tips
scratch pad;scratch pads;suction tip;suction tips;yankauer;poole tip;light handle;light handles
cotton ball;cotton balls;peanut;peanuts;kittner;kittners;cottonoid;cottonoids;patties;tonsil sponges
umbilical tape;umbilical tapes;rubber shods;safety pin;safety pins;basin;basins;medicine cup
right angle;right angles;mixter;mixters;richardson;richardsons;army navy;army navys;weitlaner
deaver;deavers;malleable;malleables;balfour;bulb syringe;asepto;towel;towels;drain;drains;penrose
catheter;foley;specimen cup;dissector;dissectors;hook;hooks;nerve hook;scope;camera;light cord
eye sponges;spears;dental rolls;packing;throat pack;vaginal pack;drill bit;drill bits;screws;plates
wires;pins;guide wire;guide wires;bone wax;clip bars;tips;caps;bolster;bolsters;snares;rings;screw
wing nut;wing nuts;blade guard;tape;tapes;instruments;sharps;small items;miscellaneous""".replace(
    "\n", ";"
).split(";")

MEDICINES = """lidocaine;bupivacaine;ropivacaine;epinephrine;heparin;saline;sterile water;thrombin
normal saline;antibiotic irrigation;cefazolin;contrast;papaverine;methylene blue;dexamethasone
local;local with epi;plain lidocaine;morphine;fentanyl;propofol;ephedrine;dye;glycine;water
heparinized saline;lidocaine with epinephrine;bupivacaine with epinephrine""".replace(
    "\n", ";"
).split(";")

MONTHS = """january february march april may june july august september october november
december""".split()
LETTERS = list("bcdefghijklmnopqrstuvwxyz")
LETTER_WORDS = {
    "b": "bee", "c": "see", "d": "dee", "f": "eff", "g": "gee", "h": "aitch", "j": "jay",
    "k": "kay", "l": "el", "m": "em", "n": "en", "o": "oh", "p": "pea", "q": "cue", "r": "are",
    "s": "ess", "t": "tea", "u": "you", "v": "vee", "x": "ex", "y": "why", "z": "zee",
}  # fmt: skip
NATO = """alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november
oscar papa quebec romeo sierra tango uniform victor whiskey yankee zulu""".split()

WORDS = """correct count counts counting counted is are on the field in a pack packs of opened open
added add adding more passed off back table mayo stand ready please verify confirm confirmed initial
first closing final second relief third cavity fascia skin wound missing none no one recount found
cancel strike that correction undo yes okay plus minus total each small large short long curved
straight medium number size percent with without milligrams per milliliter milliliters micrograms
units grams expires expiration label labeled date time scrub circulator surgeon notified instruments
sharps miscellaneous soft goods next done start begin end stop bag bucket removed dropped replaced
contaminated broken intact pieces tip both left right incorrect item items again repeat hold wait
continue resume discard returned sterile unsterile floor drape counter pocket holder box board room
nurse tech doctor patient incision closure complete agree agreed match matches mismatch over under
short extra double single half quarter point zero oh hundred thousand and to two too for four won
ate ten tin nine five fine line mine dine none nun sex sick fix mix tree free thirst
heaven""".split()

HARD_PAIRS: list[tuple[str, str]] = [
    ("five", "nine"), ("one", "none"), ("two", "to"), ("four", "for"), ("six", "sixty"),
    ("four", "forty"), ("seven", "seventy"), ("eight", "eighty"), ("nine", "ninety"),
    ("thirteen", "thirty"), ("fourteen", "forty"), ("fifteen", "fifty"), ("sixteen", "sixty"),
    ("seventeen", "seventy"), ("eighteen", "eighty"), ("nineteen", "ninety"), ("one", "nine"),
    ("needle", "needles"), ("sponge", "sponges"), ("blade", "blades"), ("clamp", "clamps"),
    ("lap", "laps"), ("clip", "clips"), ("one", "four"), ("three", "eight"), ("ten", "eight"),
    ("seven", "eleven"), ("two", "three"), ("six", "eight"), ("zero", "four"), ("oh", "four"),
    ("nine", "nineteen"), ("eleven", "seven"), ("twelve", "twenty"), ("hypos", "peanuts"),
    ("correct", "incorrect"), ("to", "ten"), ("two", "ten"), ("six", "seven"), ("no", "oh"),
]  # fmt: skip

CHAT = """can you tilt the table a little to the left please|what time did the last case finish
i think we need more light over here|she is doing fine, pressure is good|turn the music down a bit
did anyone call the family yet|we are waiting for the pathology report|my son starts school tomorrow
hand me the suction, there is a lot of fluid here|please page the other surgeon when you can
how long until the next patient is in the room|the blood pressure dropped but it is coming back up
let us close in layers|i will need a bigger retractor for this|watch the nerve right there
that looks much better now|could you move the lamp|there is some bleeding behind the vessel
are you on call this weekend|we went hiking near the lake on sunday|the coffee here is terrible
okay everybody, time out|the patient is a sixty year old man with a hernia|antibiotics were given
no known allergies|imaging is up on the screen|the site is marked and the consent is signed
is the specimen labeled and sent|put the scope down on the table|warm up the fluids
i cannot see the bottom of the wound|get me another pair of gloves, size seven and a half
where is the anesthesiologist|the traffic was awful this morning|please irrigate again
hold this, gently, do not pull|there we go, nice and easy|what a beautiful view|thank you very much
the pump alarm keeps going off|would you check the tubing for air|let me know when you are ready
we will be finished in about half an hour|she asked for you earlier today
do you have the phone number
the monitor says ninety five percent|his heart rate is seventy two|turn up the oxygen a little
it was on the shelf under the window|i have never seen one like this before
please give me some slack
good morning everyone|does anybody have a concern|we should order lunch soon|it is raining outside
cut the stitch here, leave it a bit longer|the bed is too high for me|move that cable out of the way
i would rather use the small one for this part|the drain goes through here|take a deep breath
pull the curtain please|the residents are coming at noon|put a wet towel over it|have you eaten yet
this is the third case today|my shoulder hurts|there was a long discussion about the schedule
someone left the door open|the new software is slow|i am going to make a small incision
start closing the skin, please|did you see the game last night|they won by two points
one moment, i am on the phone|for the next one we need the other tray|too many people in here
we have to wait for an answer|come back to me in ten minutes|nobody told me about that""".replace(
    "\n", "|"
).split("|")


PHRASES = """never mind|forget that|take that back|no it's not|that's not right|make that
change that to|i lost count|i lost my place|let's start over|start that one again
say that again please|my relief is here|i am relieving you|taking over as scrub
taking over as circulator|you are relieved|we're closing|ready to close|starting to close
closing the fascia|closing the cavity|on skin|that doesn't match|it doesn't match|one too many
one too few|one short|the count is off|we are one over|everything is accounted for
all accounted for|count is complete|the count is not complete|tip up|tip down
handles toward the back|facing down|put that on the mayo|placing it on the back table
no expiration date|good until|use by|it has expired|i cannot read the date|handing you|received
packing is out|packing is in|it dropped|off the field|on the field|in the bucket|in the bag
broke in two pieces|broke in three pieces|both pieces are here|all pieces accounted for|only
not that one|and one more|that makes|we started with|should be|it should be|i have|i see
first closing sponge count|closing sharps count|closing small item count|final sponge count
final small item count|final sharps count|initial instrument count|relief sharps count
the sponge count is off|the sharps count is correct|the needle count is correct|baseline count
count before closing|cavity count|skin count|additional count|permanent relief count""".replace(
    "\n", "|"
).split("|")


def held_out_text(text: str) -> bool:
    """Whether ``text`` is kept out of training: at least three words, and the first byte of the
    SHA-256 of its words (lower case, one space between, no commas) is below 32.
    """
    words = re.sub(r"[^a-z' ]+", " ", text.lower()).split()
    digest = hashlib.sha256(" ".join(words).encode()).digest()
    return len(words) >= 3 and digest[0] < 32


def scored_text(text: str) -> bool:
    """Whether ``text`` may be scored: held out, or too short to be held out."""
    return held_out_text(text) or len(re.sub(r"[^a-z' ]+", " ", text.lower()).split()) < 3


def number_words(value: int, oh_hundred: bool = False) -> str:
    """``value`` (0 to 999) in words; ``oh_hundred`` says 105 as "one oh five"."""
    if value == 0:
        return "zero"
    if value < 10:
        return ONES[value - 1]
    if value < 20:
        return TEENS[value - 10]
    if value < 100:
        tens, ones = divmod(value, 10)
        return TENS[tens - 2] + (f" {ONES[ones - 1]}" if ones else "")
    hundreds, rest = divmod(value, 100)
    if oh_hundred and 0 < rest < 10:
        return f"{ONES[hundreds - 1]} oh {ONES[rest - 1]}"
    if oh_hundred and rest >= 10:
        return f"{ONES[hundreds - 1]} {number_words(rest)}"
    return f"{ONES[hundreds - 1]} hundred" + (f" {number_words(rest)}" if rest else "")


class TextGenerator:
    """Draws texts from one seed; the same seed gives the same texts."""

    def __init__(self, seed: int, general_words: list[str] | None = None) -> None:
        """Start from ``seed``; ``general_words`` are mixed into random sentences."""
        self.rng = random.Random(seed)
        self.general_words = general_words or []

    def number(self) -> str:
        """A number as counts have them: mostly 1 to 20, often to 100, seldom to 999."""
        r = self.rng
        k = r.random()
        if k < 0.62:
            return number_words(r.randint(1, 20))
        if k < 0.90:
            return number_words(r.randint(21, 99))
        if k < 0.95:
            return number_words(r.randint(100, 999), r.random() < 0.3)
        return r.choice(["zero", "none", "ten", "five"])

    def sequence(self) -> str:
        """Counting one by one, mostly from one."""
        r = self.rng
        first = 1 if r.random() < 0.75 else r.randint(2, 25)
        last = first + r.randint(1, 9)
        joint = r.choice([", ", ", ", " "])
        return joint.join(number_words(k) for k in range(first, last + 1))

    def medication(self) -> str:
        """A medication label read aloud: strength, volume, expiry, lot."""
        r = self.rng
        strength = r.choice(
            [
                f"{self.number()} percent",
                f"point {r.choice(['two five', 'five', 'seven five', 'one two five'])} percent",
                f"zero point {' '.join(r.choices(DIGITS, k=r.randint(1, 3)))} percent",
                f"{r.choice(ONES)} point {r.choice(DIGITS)} percent",
                f"one to {r.choice(['two hundred', 'one hundred', 'ten', 'fifty'])} thousand",
                f"one in {r.choice(['two hundred', 'one hundred', 'four hundred'])} thousand",
                f"{self.number()} milligrams per milliliter",
                f"{self.number()} micrograms per milliliter",
                f"{r.choice(['one', 'five', 'ten'])} thousand units per milliliter",
                f"{self.number()} units",
                f"{r.choice(['half', 'a quarter', 'one half'])} percent",
            ]
        )
        text = f"{strength} {r.choice(MEDICINES)}"
        if r.random() < 0.3:
            text = f"{r.choice(MEDICINES)} {strength}"
        if r.random() < 0.4:
            text += f", {self.number()} {r.choice(['milliliters', 'milligrams', 'grams', 'units'])}"
        if r.random() < 0.4:
            text += f", {self.expiry()}"
        if r.random() < 0.15:
            text += f", {self.lot()}"
        return text

    def expiry(self) -> str:
        """An expiry date."""
        r = self.rng
        year = "twenty " + number_words(r.randint(24, 35))
        if r.random() < 0.2:
            year = "two thousand " + number_words(r.randint(24, 35))
        day = f" {number_words(r.randint(1, 28))}" if r.random() < 0.2 else ""
        return f"{r.choice(['expires', 'expiration', 'good until'])} {r.choice(MONTHS)}{day} {year}"

    def lot(self) -> str:
        """A lot number: letters (by sound or spelling alphabet) and digits."""
        r = self.rng
        parts = [
            r.choice([LETTER_WORDS.get(c, c) for c in "bcdfghjklmnopqrstuvxyz"] + NATO)
            if r.random() < 0.45
            else r.choice([*DIGITS, "oh"])
            for _ in range(r.randint(2, 6))
        ]
        return "lot " + " ".join(parts)

    def count_phrase(self) -> str:
        """One phrase of a count."""
        r = self.rng
        item, other = r.choice(ITEMS), r.choice(ITEMS)
        number = self.number()
        makers = [
            (5, lambda: f"{item}, {self.sequence()}"),
            (4, lambda: f"{number} {item}"),
            (3, lambda: f"{item}, {number}"),
            (2, lambda: f"{item} {number}, {other} {self.number()}, {r.choice(ITEMS)} "
             + self.number()),
            (2, lambda: f"{r.choice(['adding', 'add', 'plus', 'opened', 'i have', 'we have'])} "
             f"{number} {item}"),
            (2, lambda: f"{r.choice(['adding', 'added'])} {number} {item}, total "
             + self.number()),
            (1, lambda: f"{r.choice(['a', 'one', 'another'])} pack of {number} {item}"),
            (1, lambda: f"{number} packs of {self.number()} {item}"),
            (1, lambda: f"{r.choice(['passed off', 'passing off', 'off the field'])} {number} "
             + item),
            (1, lambda: f"{number} {item} "
             + r.choice(["passed off", "on the field", "in the bag"])),
            (1, lambda: f"{number} {item} on the "
             + r.choice(["mayo stand", "back table", "field"])),
            (2, lambda: f"{r.choice(['strike that', 'correction', 'no', 'cancel that'])}, {number} "
             + item),
            (1, lambda: r.choice(["strike that", "correction", "undo that", "cancel",
                                  "scratch that"])),
            (2, lambda: f"{r.choice(['first', 'initial', 'closing', 'final', 'relief', 'second'])} "
             f"count {r.choice(['correct', 'is correct', 'start', 'begin', 'done', 'incorrect'])}"),
            (1, lambda: f"{r.choice(['start', 'begin', 'end'])} "
             f"{r.choice(['initial', 'first closing', 'final', 'cavity', 'skin', 'relief'])} "
             "count"),
            (1, lambda: f"{item} "
             + r.choice(["correct", "count is correct", "missing", "incorrect"])),
            (1, lambda: f"missing {number} {item}, recount please"),
            (1, lambda: r.choice(["all counts correct", "counts are correct", "count is correct",
                                  "surgeon notified", "i agree", "confirmed", "please verify"])),
            (1, lambda: f"{item}, {r.choice([*ONES, 'zero'])}, {r.choice(ONES)}, {r.choice(ONES)}"),
            (1, lambda: f"{r.choice(ONES)} {item} is broken, {number} pieces"),
            (1, lambda: f"{number} {item} "
             + r.choice(["returned", "dropped", "on the floor", "in the basin", "in the wound",
                         "packed in the wound", "removed", "replaced", "in the kick bucket"])),
            (1, lambda: f"{number} {r.choice(['small', 'large', 'long', 'short', 'curved'])} "
             + item),
            (1, lambda: f"{r.choice(['i see', 'there are', 'that is', 'that makes', 'total'])} "
             f"{number} {r.choice([item, 'total', 'on the field', 'altogether'])}"),
            (1, lambda: f"{item}, {r.choice(['on the table', 'on the mayo', 'off'])}, {number}"),
            (1, lambda: f"{number} and {self.number()} is {self.number()} {item}"),
        ]  # fmt: skip
        weights = [w for w, _ in makers]
        return r.choices([m for _, m in makers], weights)[0]()

    def single(self) -> str:
        """One isolated word or item."""
        r = self.rng
        k = r.random()
        if k < 0.55:
            return r.choice([*DIGITS, *DIGITS, "oh"])
        if k < 0.78:
            return number_words(r.randint(10, 99)) if r.random() < 0.5 else r.choice(TEENS + TENS)
        if k < 0.88:
            return r.choice(ITEMS)
        return r.choice(WORDS)

    def digits(self) -> str:
        """A run of digits or small numbers in any order, repeats included."""
        r = self.rng
        if r.random() < 0.15:
            return " ".join([r.choice(DIGITS)] * r.randint(2, 4))
        joint = r.choice([" ", ", ", ", ", ". "])
        pool = [*DIGITS, "oh"] if r.random() < 0.6 else ONES + TEENS + TENS
        return joint.join(r.choice(pool) for _ in range(r.randint(2, 7)))

    def hard_pair(self) -> str:
        """Easily confused words side by side or in the same frame."""
        r = self.rng
        pair = list(r.choice(HARD_PAIRS))
        r.shuffle(pair)
        k = r.random()
        if k < 0.4:
            return f"{pair[0]}, {pair[1]}"
        if k < 0.7:
            return f"{pair[0]} {r.choice(ITEMS)}, {pair[1]} {r.choice(ITEMS)}"
        return " ".join(r.choices(pair, k=r.randint(2, 4)))

    def general(self) -> str:
        """Random words: dictionary words for phone variety, or words of the trade."""
        r = self.rng
        pool = self.general_words if self.general_words and r.random() < 0.7 else WORDS
        return " ".join(r.choice(pool) for _ in range(r.randint(3, 8)))

    def phrase(self) -> str:
        """Words around a count, alone or beside one."""
        r = self.rng
        said = r.choice(PHRASES)
        k = r.random()
        if k < 0.5:
            return said
        if k < 0.75:
            return f"{said}, {self.count_phrase()}"
        return f"{self.count_phrase()}, {said}"

    def chat(self) -> str:
        """Talk in the room that is not a count."""
        return self.rng.choice(CHAT)

    def text(self) -> str:
        """One text of any kind, in the proportions used for training."""
        makers = [
            (34, self.count_phrase),
            (16, self.single),
            (13, self.digits),
            (8, self.hard_pair),
            (8, self.medication),
            (13, self.general),
            (8, self.chat),
            (8, self.phrase),
        ]
        return self.rng.choices([m for _, m in makers], [w for w, _ in makers])[0]()
