"""Hypothesis strategies: result texts, and whole workbooks of mixed and broken content."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

Row = list[Any]

NUMBERS = st.one_of(
    st.integers(0, 99_999).map(float),
    st.decimals(0, 9_999, places=3, allow_nan=False, allow_infinity=False).map(float),
    st.floats(1e-9, 1e12, allow_nan=False, allow_infinity=False),
)
RESULT_TEXTS = st.sampled_from(
    [
        "<0.01",
        "< 0,01",
        "<LOQ",
        "ND",
        "absent/100 mL",
        "Absent",
        "TNTC",
        ">300",
        "0.150U",
        "1.8(BDL)",
        "z150",
        "O.5",
        "27,385",
        "1.2 ± 0.3",
        "6.5-8.5",
        "0.5 mg/L",
        "NA",
        "-",
        "1 234,5",
        "5½",
        "12/03/2026",
        "2·10⁻³",
        "5%",
        "x",
    ]
)
ANALYTES = st.sampled_from(
    [
        "Nitrate (as NO3)",
        "Lead",
        "pH",
        "E. coli",
        "Turbidity",
        "Arsenic µg/L",
        "Conductivity (µS/cm)",
        "Chlorures",
        "Ferro",
        "Sulfat",
        "Coliformes totales",
        "Sodium, mg/L",
        "Unobtainium",
        "Total hardness as CaCO3",
        "Chloroform",
    ]
)
UNITS = st.sampled_from(["mg/L", "µg/l", "ug/L", "NTU", "CFU/100 mL", "-", "°C", "mg/L as N", "furlong", "pH", "%"])
HEADINGS = st.sampled_from(
    [
        "Sample ID",
        "Date",
        "Sampling point",
        "Parameter",
        "Result",
        "Unit",
        "LOQ",
        "Method",
        "Limit",
        "Verdict",
        "Batch",
        "Uncertainty",
        "Sign",
        "Remarks",
        "Échantillon",
        "Data da coleta",
        "Einheit",
        "Risultato",
        "Muestra",
        "CAS",
    ]
)
LABELS = st.sampled_from(["Batch:", "Sampled on:", "Laboratory:", "Certificate no:", "Notes", "All results in mg/L"])
DATES = st.one_of(
    st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2035, 1, 1)).map(lambda moment: moment.replace(microsecond=0)),
    st.sampled_from(["2026-03-01", "03/04/2026", "31.12.2025", "1 mars 2026", "March 2026", "29/02/2026"]),
)
JUNK = st.one_of(
    st.text(max_size=12), st.booleans(), st.sampled_from(["Total", "Mean", "WHO limit", "***", "a:b", "=A1"])
)
BLANK = st.none()
CELLS = st.one_of(BLANK, NUMBERS, RESULT_TEXTS, ANALYTES, UNITS, HEADINGS, LABELS, DATES, JUNK)
RESULTS = st.one_of(NUMBERS, RESULT_TEXTS, BLANK, JUNK)

NOISE = st.lists(st.lists(CELLS, max_size=7), max_size=10)
LABEL_BLOCK = st.lists(st.tuples(LABELS, CELLS).map(list), max_size=3)


def _wide(names: Sequence[str], units: Sequence[str], rows: Sequence[Row]) -> list[Row]:
    return [["Sample ID", "Date", *names], *([[None, None, *units]] if units else []), *rows]


@st.composite
def wide_sheets(draw: st.DrawFn) -> list[Row]:
    """Draw analytes across, samples down, perhaps with a row of units."""
    names = draw(st.lists(ANALYTES, min_size=1, max_size=4))
    units = draw(st.one_of(st.just([]), st.lists(UNITS, min_size=len(names), max_size=len(names))))
    row = st.tuples(st.sampled_from(["S1", "S2", "Mean", None]), DATES, *[RESULTS] * len(names)).map(list)
    return _wide(names, units, draw(st.lists(row, min_size=1, max_size=6)))


@st.composite
def long_sheets(draw: st.DrawFn) -> list[Row]:
    """Draw one result per row, below headings in any order."""
    makers: dict[str, st.SearchStrategy[Any]] = {
        "Sample ID": st.sampled_from(["S1", "S2", None]),
        "Parameter": ANALYTES,
        "Result": RESULTS,
        "Unit": UNITS,
    }
    makers |= {"LOQ": RESULTS, "Date": DATES, "Limit": RESULTS, "Sign": st.sampled_from(["<", "=", ">", None])}
    heads = draw(st.permutations(list(makers)))[: draw(st.integers(3, len(makers)))]
    row = st.tuples(*(makers[head] for head in heads)).map(list)
    return [list(heads), *draw(st.lists(row, min_size=1, max_size=6))]


@st.composite
def crosstabs(draw: st.DrawFn) -> list[Row]:
    """Draw analytes down, points or dates across."""
    across = draw(st.lists(st.one_of(DATES, st.sampled_from(["Raw", "Permeate", "Tank"])), min_size=1, max_size=4))
    row = st.tuples(ANALYTES, UNITS, *[RESULTS] * len(across)).map(list)
    return [["Parameter", "Unit", *across], *draw(st.lists(row, min_size=1, max_size=6))]


@st.composite
def sheets(draw: st.DrawFn) -> list[Row]:
    """Draw any of the layouts between a block of labels and some noise, or nothing but noise."""
    table = draw(st.one_of(wide_sheets(), long_sheets(), crosstabs(), NOISE))
    return [*draw(LABEL_BLOCK), *table, *draw(st.lists(st.lists(CELLS, max_size=4), max_size=2))]
