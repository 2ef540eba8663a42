from countersign.kit.check import check_kit
from countersign.kit.mistake import Mistake
from countersign.kit.model import Group, Item, Kit, Medication, SetUpNote
from countersign.kit.pronounce import pronunciations_of
from countersign.kit.read import demo_kit_path, read_kit

__all__ = [
    "Group",
    "Item",
    "Kit",
    "Medication",
    "Mistake",
    "SetUpNote",
    "check_kit",
    "demo_kit_path",
    "pronunciations_of",
    "read_kit",
]
