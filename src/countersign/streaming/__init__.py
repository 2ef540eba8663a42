"""A microphone without a browser: sound that comes here goes to a case on a server of the pages."""

from countersign.streaming.entering import Session, begin_case, end_case, sign_in
from countersign.streaming.sending import send

__all__ = ["Session", "begin_case", "end_case", "send", "sign_in"]
