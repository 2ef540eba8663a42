from countersign.tally.build import build_record
from countersign.tally.record import Act, CountRecord, Decision, Line, LineState, Role, Total
from countersign.tally.whole import can_confirm_whole, reasons_against_whole

__all__ = [
    "Act",
    "CountRecord",
    "Decision",
    "Line",
    "LineState",
    "Role",
    "Total",
    "build_record",
    "can_confirm_whole",
    "reasons_against_whole",
]
