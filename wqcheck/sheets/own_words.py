"""Turns a laboratory's own words in result cells into what its sheet layout says that they mean."""

from __future__ import annotations

from dataclasses import replace

from wqcheck.results import ReportedResult, parse_result
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheets.columns import ParsedResults
from wqcheck.tables import Sign

_WRITTEN = {"below": "BDL", "too numerous": "TNTC"}
"""How a meaning is written where its own name is no word of ``result_words.csv``."""


def with_own_words(parsed: ParsedResults, layout: SheetLayout) -> ParsedResults:
    """Return *parsed* with the cells that say no result otherwise read as *layout* says of their word."""
    if not layout.words:
        return parsed
    return replace(parsed, others=tuple(_read(result, layout) for result in parsed.others))


def _read(result: ReportedResult, layout: SheetLayout) -> ReportedResult:
    meaning = layout.word_of(result.text) if result.sign in {Sign.UNREADABLE, Sign.NOT_DONE} else None
    return result if meaning is None else replace(parse_result(_WRITTEN.get(meaning, meaning)), text=result.text)
