"""What a label on the sterile field has to bear."""

from countersign.meaning.event import MedicationDetail, Question, QuestionCode
from countersign.meaning.medication.amounts import UNITS_ALONE
from countersign.meaning.questions import doubt

_HOLDS_ML = {"cup": 100, "syringe": 60}
"""What the small containers of a sterile field hold, about (common practice, no source)."""


def label_questions(detail: MedicationDetail, *, diluent_known: bool = False) -> list[Question]:
    """What a label lacks of name, strength and amount, and what its container cannot hold.

    The Joint Commission NPSG.03.04.01 (from memory): a label on the sterile field bears the name,
    strength, amount, diluent and volume, and the expiry when not used within 24 hours. Diluent and
    expiry depend on the preparation, so only the elements that always apply are asked for; the
    medication account asks for the others. An amount without a volume ("one gram") needs none.
    """
    missing = []
    if detail.name is None:
        missing.append("name")
    if detail.strength is None and not diluent_known:
        missing.append("strength")
    powder = detail.strength is not None and detail.strength.unit in UNITS_ALONE
    if detail.volume_ml is None and not powder:
        missing.append("amount")
    if detail.additive is not None and detail.additive_strength is None:
        missing.append("strength of the additive")
    holds = _HOLDS_ML.get(detail.container or "")
    overfull = []
    if holds is not None and detail.volume_ml is not None and detail.volume_ml > holds:
        overfull.append(
            doubt(f"{detail.volume_ml} mL was heard, more than a {detail.container} holds.")
        )
    if not missing:
        return overfull
    listed = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} and {missing[-1]}"
    return [
        Question(
            code=QuestionCode.LABEL_INCOMPLETE,
            sentence=f"The label lacks the {listed}.",
        ),
        *overfull,
    ]
