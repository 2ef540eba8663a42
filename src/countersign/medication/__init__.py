"""The medication room: the record's lines in, what is on the sterile field out."""

from countersign.medication.account import medication_account, questions_by_line
from countersign.medication.concentration import (
    amount_in,
    diluted,
    form_of,
    in_one_ml,
    same_strength,
    stock_volume_ml,
)
from countersign.medication.published import PublishedDose, published_doses
from countersign.medication.units import Amount, converted
from countersign.medication.values import (
    Drawn,
    Finding,
    LabelState,
    MedicationAccount,
    Preparation,
    SubstanceTotal,
)

__all__ = [
    "Amount",
    "Drawn",
    "Finding",
    "LabelState",
    "MedicationAccount",
    "Preparation",
    "PublishedDose",
    "SubstanceTotal",
    "amount_in",
    "converted",
    "diluted",
    "form_of",
    "in_one_ml",
    "medication_account",
    "published_doses",
    "questions_by_line",
    "same_strength",
    "stock_volume_ml",
]
