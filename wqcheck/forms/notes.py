"""Turns a blank form into the words of its notes and the rows of its list of bottles."""

from __future__ import annotations

from collections.abc import Iterator

from wqcheck.forms.blank_form import BlankForm, FormLine
from wqcheck.forms.sample_bottles import Bottle, all_bottles

BOTTLE_LETTERS = "ABCDEFGHJKLMPQRSTUVWYZ"
"""Letters of bottles; I, N, O and X look like numbers or marks."""

POINTS_HEADING = "Sampling points of the plant"
_NAMED = 15
"""How many tests of one bottle are named."""

_NOTES = {
    "The block at the top": "is about the run and the sample. It holds for every row that says nothing else.",
    "One row is one result.": "Amber cells are required for release. Leave a result blank where nothing was ordered.",
    "A number": "goes in as a number, in the unit of its row. For another unit, choose it there or write it.",
    "<0.5": "says that nothing was found and that 0.5 is the limit of quantification. Give the LOQ beside numbers too.",
    "absent, present": "are for organisms, in the volume of the unit. If you examined less, write that volume instead; "
    "absence in 100 mL does not show absence in 250 mL.",
    "TNTC": "(too numerous to count) or >300 says that there were more than could be counted.",
    "not tested": "says that a test was ordered and not done. If it is required, the batch is held until it is.",
    "ND or BDL alone": "leaves open how much could have been missed. Write < and the LOQ instead, such as <0.5.",
    "Uncertainty": "is the expanded one (k = 2), an amount in the unit of the row or a percentage such as 15%.",
    "Dates": "are written 2026-03-31, with the time of day where it is known, as in 2026-03-31 08:40.",
    "A second sample": "takes rows of its own, with its Sample ID and its sampling point.",
    "Free rows": "at the end are for what is not listed, also for a sum that is reported as one number.",
    "The strictest limit": "helps to choose a method whose LOQ lies well below it. The limit tables decide, not this "
    "sheet.",
    "Headings": "stay as they are. Rows may be added, sorted and deleted.",
}
"""Words that stand in bold → the rest of the sentence."""

_EACH_PESTICIDE = {
    "Pesticides": "have a limit each, listed or not. Write every one that you measure in a row of its own."
}


def notes(form: BlankForm) -> Iterator[tuple[str, str]]:
    """Yield the notes: the words that stand in bold, and the rest of the sentence."""
    yield from (_NOTES | (_EACH_PESTICIDE if form.each_pesticide else {})).items()


def bottle_letters(form: BlankForm) -> dict[Bottle, str]:
    """Return a letter for each kind of bottle that the form needs, in the order of ``sample_handling.csv``."""
    needed = {line.bottle for line in form.lines}
    return dict(zip((bottle for bottle in all_bottles() if bottle in needed), BOTTLE_LETTERS, strict=False))


def bottle_rows(form: BlankForm) -> Iterator[tuple[str, ...]]:
    """Yield letter, tests, container, amount, preservation, how soon the analysis begins, and source of each bottle."""
    for bottle, letter in bottle_letters(form).items():
        lines = [line for line in form.lines if line.bottle == bottle]
        yield (
            letter, _tests(lines), bottle.container, _amount(bottle, lines), bottle.preservation, bottle.start_within,
            bottle.source,
        )  # fmt: skip


def _tests(lines: list[FormLine]) -> str:
    more = f" and {len(lines) - _NAMED} more" if len(lines) > _NAMED else ""
    return f"{len(lines)} test{'s' if len(lines) > 1 else ''}: {', '.join(line.name for line in lines[:_NAMED])}{more}"


def _amount(bottle: Bottle, lines: list[FormLine]) -> str:
    counted = sum(line.volume_ml or 0 for line in lines)
    return f"{bottle.amount} ({counted:,.0f} mL for the counts here)" if counted else bottle.amount
