"""Turns the result cells of one sheet, with all that belongs to them, into a frame of readings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from wqcheck.findings import Severity
from wqcheck.near_names import nearest_word
from wqcheck.parameters import catalogue
from wqcheck.sheets.answers import told_places
from wqcheck.sheets.coded import Coded, Numbers
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.identity import TIMES, owners, times, with_fact
from wqcheck.sheets.magnitudes import say_mixed_magnitudes
from wqcheck.sheets.measures import analytes, measures, reporting_limits, signs, uncertainties
from wqcheck.sheets.roles import cell_name_texts
from wqcheck.tables import Readings, Sign

_FRACTION_WORDS = {"total": "total", "dissolved": "dissolved", "filtered": "dissolved", "t": "total", "d": "dissolved"}
_ORPHANS_TOLD = 20


def extract(work: Extraction) -> pd.DataFrame:
    """Return the n readings of one sheet with the columns and types of ``tables.Readings``."""
    names, found = analytes(work)
    code = found.attribute("code")
    parts = measures(work, code, found)
    sign, qualifier = signs(work)
    limit = reporting_limits(work, code, parts)
    value = work.parsed.part("value").numbers()
    sign = _none_found(sign, code, value, parts.volume_ml)
    value = np.where(np.isnan(value) & sign.equal_to(Sign.LESS), limit, value)
    fraction = found.attribute("fraction").or_else(work.row_texts("fraction").map(_fraction))
    texts = told_places(work, owners(work))
    texts |= {role: with_fact(work, role, work.row_texts(role)) for role in ("method", "lab")}
    texts |= {
        "parameter": code, "parameter_text": names, "fraction": fraction, "reported": work.parsed.part("text"),
        "sign": sign, "unit": parts.unit, "unit_text": parts.unit_text, "basis": parts.basis, "qualifier": qualifier,
        "workbook": Coded.all_the_same(work.workbook, work.count),
        "sheet": Coded.all_the_same(work.grid.sheet.name, work.count),
    }  # fmt: skip
    numbers = {
        "value": value, "value_high": work.parsed.part("value_high").numbers(), "volume_ml": parts.volume_ml,
        "reporting_limit": limit, "uncertainty": uncertainties(work, value, code, parts),
    }  # fmt: skip
    data: dict[str, pd.Series[Any]] = {name: column.texts() for name, column in texts.items()}
    data |= {name: pd.Series(array, dtype="float64") for name, array in numbers.items()}
    data |= {role: pd.Series(times(work, role), dtype="datetime64[us]") for role in TIMES}
    data["cell"] = cell_name_texts(work.found.rows + work.grid.sheet.top, work.found.columns)
    _say_unreadable(work)
    say_mixed_magnitudes(work, code, parts.unit, sign, value)
    return pd.DataFrame({name: data[name] for name in Readings.to_schema().columns})


def _none_found(sign: Coded, code: Coded, value: Numbers, volume_ml: Numbers) -> Coded:
    """Read *not detected* as *absent* for organisms that were looked for in a stated volume."""
    organism = code.flags(lambda parameter: catalogue()[parameter].kind == "microbiological")
    none = sign.equal_to(Sign.LESS) & np.isnan(value) & organism & ~np.isnan(volume_ml)
    return sign.without(none).or_else(Coded.all_the_same(Sign.ABSENT, len(value)).without(~none))


def _fraction(text: str) -> str | None:
    return _FRACTION_WORDS.get(text.strip().lower())


def _say_unreadable(work: Extraction) -> None:
    """Report each text that could not be read as a result, and values that no row of theirs owns."""
    problem = work.parsed.part("problem")
    for text, positions in work.parsed.part("text").groups(problem.known()):
        near = nearest_word(str(text))
        offered = f"; did the laboratory mean {near!r}?" if near else ""
        message = f"the result {problem.distinct[problem.codes[positions[0]]]}{offered}"
        work.note("unreadable result", message, work.where(positions), str(text))
    for row, column in work.found.orphans[:_ORPHANS_TOLD]:
        message = "a value stands in a row that names no sample, point, date or analyte; it is not used"
        work.note("value without owner", message, work.at(row, column), str(work.cells[row, column]), Severity.HOLD)
    untold = len(work.found.orphans) - _ORPHANS_TOLD
    if untold > 0:
        work.note("value without owner", f"{untold} more such values stand in the ledger", work.workbook)
