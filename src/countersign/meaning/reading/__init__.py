"""Turns a tagged document into events: the one place where words become meaning.

``steps`` says which function reads which piece. ``counts``, ``items``, ``verbs``, ``packs`` and
``totals`` put a count together in a ``clause``; ``closing`` begins and ends it and ``count_event``
makes its event. ``phases``, ``verdicts``, ``corrections``, ``places``, ``remarks`` and
``medications`` read the other phrases; ``talk`` and ``meanwhile`` tell what was only said in
passing. All of them work on the one ``state`` of a pass.

A new phrase is a rule in ``cues.RULES``, a function ``(state, index) -> next index`` in a module
here, and its line in ``steps.CUES``.
"""

from countersign.meaning.reading.state import Before, Carried, Read
from countersign.meaning.reading.steps import read

__all__ = ["Before", "Carried", "Read", "read"]
