"""Questions and how their sentences begin."""

from countersign.meaning.event import Question, QuestionCode
from countersign.number_words import spell


def ask(code: QuestionCode, sentence: str) -> Question:
    """A question."""
    return Question(code=code, sentence=sentence)


def doubt(sentence: str) -> Question:
    """A question about something that could also have been meant otherwise."""
    return Question(code=QuestionCode.OTHER_READING, sentence=sentence)


def said(number: int) -> str:
    """The number in words with a capital, for the start of a sentence."""
    return spell(number).capitalize()
