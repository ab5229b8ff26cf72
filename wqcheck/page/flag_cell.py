"""Turns a cell of a workbook into a drawing of the cells around it, the cell itself marked by a frame and a text."""

from __future__ import annotations

from html import escape

import streamlit as st

from wqcheck.page.spoken import say
from wqcheck.page.words import plain
from wqcheck.sheets.surroundings import Surroundings

LONGEST = 60
"""Characters of a cell that are shown; the working gives the text of the flagged cell in full."""

_STYLE = """<style>
.cells {overflow-x: auto; font-size: 0.86rem;}
.cells table {border-collapse: collapse; margin: 0;}
.cells th, .cells td {border: 1px solid rgba(128, 128, 128, 0.55); padding: 0.18rem 0.4rem; text-align: left;
  vertical-align: top; min-width: 2.4rem; max-width: 11rem; overflow-wrap: break-word;}
.cells th {font-weight: 400; opacity: 0.85;}
.cells tr.heads td {font-weight: 600;}
.cells td.marked {outline: 3px solid currentColor; outline-offset: -3px; font-weight: 700; padding: 0.35rem 0.5rem;}
.cells caption {text-align: left; caption-side: top; padding-bottom: 0.3rem;}
</style>"""


def draw_cells(around: Surroundings, workbook: str) -> None:
    """Draw the cells around one; numbers of rows and letters of columns are those of the file."""
    st.html(_STYLE + cells_markup(around, workbook))
    if around.headings:
        rows = ", ".join(str(number) for number in sorted(around.headings))
        st.caption(say("Rows that were read as headings: {rows}.", rows=rows))


def cells_markup(around: Surroundings, workbook: str) -> str:
    """Write the cells as a table; every text of the sheet is escaped."""
    where = f"{workbook} · {around.sheet or say('the only sheet')} · {around.column}{around.row}"
    heads = "".join(f'<th scope="col">{letter}</th>' for letter in around.columns)
    rows = []
    for number, texts in zip(around.rows, around.texts, strict=True):
        kind = ' class="heads"' if number in around.headings else ""
        cells = "".join(
            _cell(text, marked=number == around.row and letter == around.column)
            for letter, text in zip(around.columns, texts, strict=True)
        )
        rows.append(f'<tr{kind}><th scope="row">{number}</th>{cells}</tr>')
    return (
        f'<div class="cells" tabindex="0"><table><caption>{escape(where)}</caption>'
        f'<tr><th scope="col"></th>{heads}</tr>{"".join(rows)}</table></div>'
    )


def draw_no_cells(where: str) -> None:
    """Say that the cell cannot be shown."""
    if where:
        st.caption(say("The cell cannot be shown: the workbook of {where} is not at hand, or has no such cell.",
                       where=plain(where)))  # fmt: skip
    else:
        st.caption(say("No single cell stands behind this flag."))


def _cell(text: str, *, marked: bool) -> str:
    shown = text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
    if not marked:
        return f"<td>{escape(shown)}</td>"
    return f'<td class="marked">▶&nbsp;{escape(shown) or escape(say("(empty)"))}&nbsp;◀</td>'
