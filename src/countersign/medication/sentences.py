"""The sentences of the questions about medications and solutions, one each."""

from collections.abc import Sequence
from datetime import date

from countersign.meaning.event import EventKind
from countersign.medication.words import in_sentence


def received_again(what: str, line: int) -> str:
    """The same receipt twice in a row."""
    return f"{what} was already received in line {line}; is this more of it, or the read-back?"


def no_volume_to_dilute(what: str) -> str:
    """A diluent's volume without the medication's."""
    return (
        f"The strength of {in_sentence(what)} after dilution is not known, "
        "because its volume was not heard."
    )


def label_lacks(what: str, missing: Sequence[str]) -> str:
    """Required elements that a label does not have."""
    return f"The label of {in_sentence(what)} lacks the {listing(missing)}."


def label_without_receipt(what: str, container: str | None) -> str:
    """A label for something that nobody was heard receiving or drawing."""
    where = f" in a {container}" if container else ""
    return (
        f"A label was heard for {in_sentence(what)}{where}, but nothing of it was received before."
    )


def label_for_which(what: Sequence[str]) -> str:
    """A label that fits more than one container."""
    return f"It is not clear which container the label is for: {listing(_each_in(what), 'or')}."


def other_container(what: str, received: str, labelled: str) -> str:
    """Received in one kind of container, labelled in another."""
    return f"{what} was received in a {received}, but the label is on a {labelled}."


def strength_differs(what: str, received: str, said: str, act: str) -> str:
    """A strength that is not the one of what is on the field."""
    return f"{what} is on the field as {received}, but the {act} says {said}."


def additive_differs(what: str, said: str, received: str | None, act: str) -> str:
    """An additive that what is on the field does not have."""
    there = f"with {in_sentence(received)}" if received else "without an additive"
    return f"{what} is on the field {there}, but the {act} names {in_sentence(said)}."


def amount_differs(what: str, received: str, said: str) -> str:
    """An amount on a label that fits neither what was received nor what is left."""
    return f"{what}: the label says {said}, but the container holds {received}."


def expiry_differs(what: str, received: date, said: date) -> str:
    """Two dates of expiry for one thing."""
    return (
        f"{what}: the label says it expires {said.isoformat()}, "
        f"but {received.isoformat()} was said on receipt."
    )


def drawn_unknown(what: str) -> str:
    """A draw of something that is not on the field."""
    return f"{what} was drawn, but none was received before."


def drawn_from_other(what: str, said: str, known: str) -> str:
    """A draw from a kind of container in which it is not."""
    return f"{what} was drawn from a {said}, but it is in a {known}."


def drawn_from_which(what: Sequence[str]) -> str:
    """A draw that fits more than one container."""
    return f"It is not clear which was drawn: {listing(_each_in(what), 'or')}."


def drawn_unlabelled(what: str, container: str | None) -> str:
    """A draw from a container whose label was not heard."""
    return f"{what} was drawn from a {container or 'container'} whose label was not heard."


def drawn_expired(what: str) -> str:
    """A draw of something expired."""
    return f"{what} was drawn, though the expiry that was said for it has passed."


def more_drawn(what: str, said: str, left: str) -> str:
    """More drawn than there is."""
    return f"{said} of {in_sentence(what)} drawn, but only {left} should be left."


def verification_due(what: Sequence[tuple[str, str | None]], kind: EventKind | None) -> str:
    """Labels nobody has verified since this line; ``kind`` is ``None`` for a relief."""
    since = {
        None: "the relief",
        EventKind.DRAW: "it was drawn up",
        EventKind.RECEIPT: "more of it was added",
    }.get(kind, "it changed hands")
    names = [
        f"{in_sentence(name)} ({container or 'container not said'})" for name, container in what
    ]
    noun, verb = ("label", "has") if len(names) == 1 else ("labels", "have")
    return f"The {noun} of {listing(names)} {verb} not been verified since {since}."


def like_containers(what: Sequence[str], container: str, bare: Sequence[str]) -> str:
    """Different things in the same kind of container, not all labelled."""
    first = listing(_each_in(what))
    verb = "has" if len(bare) == 1 else "have"
    return (
        f"{first[:1].upper()}{first[1:]} are each in a {container}, "
        f"but {listing(_each_in(bare))} {verb} no label."
    )


def listing(names: Sequence[str], last: str = "and") -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return f" {last} ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def _each_in(what: Sequence[str]) -> list[str]:
    return [in_sentence(each) for each in what]
