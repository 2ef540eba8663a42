"""How the bundled acoustic model numbers its phones, states and transitions.

The network gives one score a frame for a blank (CTC) and for each of the 39 phones of the CMU
Pronouncing Dictionary. Kaldi sees a hidden Markov model: silence is the blank; every phone comes
in the four word positions that its word alignment needs (begin, end, internal, singleton). A phone
inside a word may be followed by blank frames of its own; after the last phone of a word, blank
frames belong to silence, so that words end where speech ends.

The numbering follows Kaldi's ``TransitionModel``: transition ids count from 1 over the sorted
(phone, state) pairs and the transitions of each state.
"""

from dataclasses import dataclass

PHONES: tuple[str, ...] = tuple(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW"
    " V W Y Z ZH".split()
)
"""Output k + 1 of the network is phone k; output 0 is the blank."""

POSITIONS: tuple[str, ...] = ("begin", "end", "internal", "singleton")
SILENCE = 1
BLANK = 0
_MAY_REST = ("begin", "internal")


@dataclass(frozen=True)
class State:
    """One emitting state: its phone, its number in the phone, the network output it reads."""

    phone: int
    number: int
    output: int
    targets: tuple[int, ...]


def phone_id(phone: str, position: str) -> int:
    """Kaldi's number of a phone in a word position; ``ValueError`` for an unknown phone."""
    return 2 + 4 * PHONES.index(phone) + POSITIONS.index(position)


def phone_names() -> dict[int, str]:
    """All phone numbers with their names, in Kaldi's spelling (``AA_B`` and so on)."""
    names = {SILENCE: "SIL"}
    for phone in PHONES:
        for position in POSITIONS:
            names[phone_id(phone, position)] = f"{phone}_{position[0].upper()}"
    return names


def word_boundaries() -> dict[int, str]:
    """The role of each phone number, as in Kaldi's ``word_boundary.int``."""
    roles = {SILENCE: "nonword"}
    for phone in PHONES:
        for position in POSITIONS:
            roles[phone_id(phone, position)] = position
    return roles


def states() -> list[State]:
    """All emitting states in Kaldi's order. ``targets`` are states of the same phone; the first
    is the state itself, the last is its end.
    """
    result = [State(SILENCE, 0, BLANK, (0, 1))]
    for index, phone in enumerate(PHONES):
        for position in POSITIONS:
            number = phone_id(phone, position)
            if position in _MAY_REST:
                result.append(State(number, 0, index + 1, (0, 1, 2)))
                result.append(State(number, 1, BLANK, (1, 2)))
            else:
                result.append(State(number, 0, index + 1, (0, 1)))
    return result


def transition_ids() -> dict[tuple[int, int, int], int]:
    """Transition id of (phone, state, index of the transition in ``targets``)."""
    ids: dict[tuple[int, int, int], int] = {}
    for state in states():
        for index in range(len(state.targets)):
            ids[state.phone, state.number, index] = len(ids) + 1
    return ids
