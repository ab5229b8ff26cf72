"""Turns what a reader could not know about a laboratory's sheets into questions, and answers into a sheet layout."""

from wqcheck.questions.answering import answered
from wqcheck.questions.asking import questions
from wqcheck.questions.keeping import can_be_kept, can_be_taken_back, is_of_one_sheet, keep_answers, take_back
from wqcheck.questions.proposal import propose_layout
from wqcheck.questions.records import NO_PARAMETER, Question, QuestionKind, Waiting

__all__ = [
    "NO_PARAMETER",
    "Question",
    "QuestionKind",
    "Waiting",
    "answered",
    "can_be_kept",
    "can_be_taken_back",
    "is_of_one_sheet",
    "keep_answers",
    "propose_layout",
    "questions",
    "take_back",
]
