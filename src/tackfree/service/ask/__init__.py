"""Quick answers: one question, one number, its formula and its source. No job needed."""

from tackfree.service.ask.page import AskPage, asking_page
from tackfree.service.ask.questions import QUESTIONS, Argument, Question, ask
from tackfree.service.ask.types import SCHEMA, Amount, Answer, Told, spoken

__all__ = [
    "QUESTIONS",
    "SCHEMA",
    "Amount",
    "Answer",
    "Argument",
    "AskPage",
    "Question",
    "Told",
    "ask",
    "asking_page",
    "spoken",
]
