"""Turns the picture of a sheet into a grid on the page, in which a cell is chosen by mouse, by keys or by its name."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from wqcheck.findings import Finding
from wqcheck.page.as_read import readings_table
from wqcheck.page.sheet_picture import (
    CELL,
    CELL_NAME,
    COLUMN,
    REASON,
    ROLE,
    ROW,
    SHEET,
    SIGN,
    TEXT,
    cell_findings,
    column_number,
    grid_html,
    kind_counts,
    legend_html,
    picture_cells,
    picture_rows,
)
from wqcheck.page.spoken import count_text, say
from wqcheck.page.words import plain
from wqcheck.sheets import ReadResult
from wqcheck.sheets.roles import column_name
from wqcheck.tables import Readings

BOOK_KEY = "workbook of the picture"
SHEET_KEY = "sheet of the picture"
UNREAD_KEY = "only what was not read"
ROW_KEY = "first row of the picture"
COLUMN_KEY = "columns of the picture"
CELL_KEY = "cell of the picture"
GRID_KEY = "grid"
CELLS_KEY = "cells of the picture"
ROWS_SHOWN, COLUMNS_SHOWN, ROWS_ABOVE = 40, 26, 5

STYLE = """
.sheet {color: var(--st-text-color); font: 0.8rem/1.25 var(--st-font);}
.box {max-height: 27rem; overflow: auto; border: 1px solid currentColor;}
.box:focus-within {outline: 2px solid var(--st-primary-color);}
table {border-collapse: separate; border-spacing: 0;}
th {position: sticky; z-index: 1; background: var(--st-secondary-background-color); font-weight: 400;
    padding: 0 0.4rem;}
thead th, thead td {top: 0; position: sticky; background: var(--st-secondary-background-color); z-index: 2;}
tbody th {left: 0; text-align: right;}
td {border: 1px solid color-mix(in srgb, currentColor 25%, transparent); min-width: 4.2rem; max-width: 11rem;
    height: 2.1rem; padding: 0.1rem 0.3rem; vertical-align: top; cursor: pointer;}
td span {display: block; overflow: hidden; text-overflow: ellipsis; white-space: nowrap;
    background: color-mix(in srgb, var(--st-background-color) 85%, transparent);}
td b, .swatch b {font-size: 0.69rem; font-weight: 600; background: var(--st-background-color); padding: 0 0.15rem;}
td i, .swatch i {font-style: normal; font-weight: 700; background: var(--st-background-color); padding: 0 0.15rem;}
td:focus {outline: 3px solid var(--st-primary-color); outline-offset: -3px;}
td[aria-selected="true"] {outline: 3px double currentColor; outline-offset: -3px;}
.result span {font-weight: 700;}
td.result, .swatch.result {border: 2px solid currentColor;}
td.unreadable, .swatch.unreadable {border: 3px dashed currentColor;
    --line: color-mix(in srgb, currentColor 35%, transparent);
    background: repeating-linear-gradient(45deg, transparent 0 4px, var(--line) 4px 5px),
    repeating-linear-gradient(-45deg, transparent 0 4px, var(--line) 4px 5px);}
.unused, .name, .unit, .limit, .heading, .date, .where, .how, .untested {
    --line: color-mix(in srgb, currentColor 22%, transparent);}
.unused {background: repeating-linear-gradient(45deg, transparent 0 5px, var(--line) 5px 6px),
    repeating-linear-gradient(-45deg, transparent 0 5px, var(--line) 5px 6px);}
.untested {background: repeating-linear-gradient(0deg, transparent 0 6px, var(--line) 6px 7px),
    repeating-linear-gradient(90deg, transparent 0 6px, var(--line) 6px 7px);}
td.name, .swatch.name {border-left: 5px solid currentColor;}
.unit {background: radial-gradient(var(--line) 1.2px, transparent 1.4px) 0 0 / 6px 6px;}
.limit {background: repeating-linear-gradient(90deg, transparent 0 4px, var(--line) 4px 6px);}
.heading {background: repeating-linear-gradient(0deg, transparent 0 3px, var(--line) 3px 5px);}
.date {background: repeating-linear-gradient(-45deg, transparent 0 6px, var(--line) 6px 8px);}
.where {background: repeating-linear-gradient(45deg, transparent 0 6px, var(--line) 6px 8px);}
td.said, .swatch.said {border-right: 4px double currentColor;}
td.how, .swatch.how {border-bottom: 4px double currentColor;}
td.text span {font-style: italic;}
.legend {display: flex; flex-wrap: wrap; gap: 0.25rem 1rem; list-style: none; margin: 0 0 0.2rem 0; padding: 0;}
.swatch {display: inline-block; padding: 0 0.35rem;
    border: 1px solid color-mix(in srgb, currentColor 40%, transparent);}
.total {margin: 0.1rem 0 0.4rem 0;}
"""

# One cell of the grid can be reached with Tab, the arrows move on, Enter or a click chooses.
SCRIPT = """
export default function ({data, parentElement, setTriggerValue}) {
  const sheet = parentElement.querySelector(".sheet");
  if (sheet.dataset.shown !== data.digest) {
    sheet.innerHTML = data.html;
    sheet.dataset.shown = data.digest;
  }
  const grid = sheet.querySelector("table"), cells = [...grid.querySelectorAll("tbody td")];
  const reach = (cell) => cells.forEach((one) => one.tabIndex = one === cell ? 0 : -1);
  const chosen = cells.find((one) => data.chosen && one.dataset.cell === data.chosen);
  cells.forEach((one) => one.setAttribute("aria-selected", one === chosen));
  reach(chosen || cells.find((one) => one.dataset.cell) || cells[0]);
  const choose = (cell) => { if (cell && cell.dataset.cell) setTriggerValue("cell", cell.dataset.cell); };
  grid.onclick = (event) => choose(event.target.closest("tbody td"));
  grid.onkeydown = (event) => {
    const cell = event.target.closest("tbody td");
    const moves = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1]};
    if (!cell) return;
    if (event.key === "Enter" || event.key === " ") choose(cell);
    else if (!moves[event.key]) return;
    else {
      const [down, right] = moves[event.key], line = grid.tBodies[0].rows[cell.parentElement.sectionRowIndex + down];
      const next = line && line.cells[cell.cellIndex + right];
      if (next && next.tagName === "TD") { reach(next); next.focus(); }
    }
    event.preventDefault();
  };
}
"""

_grid = st.components.v2.component("wqcheck_sheet", html='<div class="sheet"></div>', css=STYLE, js=SCRIPT)


def draw_picture(books: Sequence[ReadResult], findings: Sequence[Finding], key: str) -> None:
    """Draw the choice of workbook and sheet, its picture with the legend, and what the chosen cell was taken for.

    Parameters
    ----------
    books : sequence of ReadResult
        The workbooks as they were read.
    findings : sequence of Finding
        Everything that is odd about them.
    key : str
        Changes when the sheets were read again.
    """
    shown = [place for place, book in enumerate(books) if book.cells]
    if not shown:
        st.info(say("No sheet has a cell with content."))
        return
    place = shown[0]
    if len(shown) > 1:
        place = st.selectbox(say("Workbook"), shown, format_func=lambda place: books[place].name, key=BOOK_KEY,
                             on_change=_from_the_top)  # fmt: skip
    book = books[place]
    cells = _cells(book, findings, f"{key} {place} {len(findings)}")
    sheets = list(cells[SHEET].unique())
    sheet = sheets[0]
    if len(sheets) > 1:
        sheet = st.selectbox(say("Sheet"), sheets, key=f"{SHEET_KEY} {place}", on_change=_from_the_top)
    cells = cells[cells[SHEET].eq(sheet)]
    chosen = _draw_window(cells)
    _draw_chosen(book, cells, findings, chosen)


def _cells(book: ReadResult, findings: Sequence[Finding], key: str) -> pd.DataFrame:
    """Give the cells of a workbook, made once for as long as it is shown."""
    kept: tuple[str, pd.DataFrame] | None = st.session_state.get(CELLS_KEY)
    if kept is None or kept[0] != key:
        with st.spinner(say("Drawing the sheet")):
            kept = key, picture_cells(book, findings)
        st.session_state[CELLS_KEY] = kept
    return kept[1]


def _draw_window(cells: pd.DataFrame) -> str:
    """Draw one window of a sheet with its legend, and give the name of the chosen cell, blank where there is none."""
    last, widest = int(cells[ROW].max()), int(cells[COLUMN].max())
    unread = st.toggle(say("Show only rows with cells that were not read"), key=UNREAD_KEY)
    boxes = st.columns(3)
    st.session_state[ROW_KEY] = min(st.session_state.get(ROW_KEY, 1), last)
    first = boxes[0].number_input(
        say("From row (of {last})", last=count_text(last)), 1, last, step=ROWS_SHOWN, key=ROW_KEY
    )
    starts = list(range(0, widest + 1, COLUMNS_SHOWN))
    if st.session_state.get(COLUMN_KEY) not in starts:
        st.session_state[COLUMN_KEY] = 0
    start = boxes[1].selectbox(
        say("Columns"), starts, key=COLUMN_KEY, disabled=len(starts) == 1,
        format_func=lambda at: f"{column_name(at)} – {column_name(min(at + COLUMNS_SHOWN - 1, widest))}",
    )  # fmt: skip
    chosen = boxes[2].text_input(say("Cell"), key=CELL_KEY, placeholder="B12", on_change=_go_to_cell).strip().upper()
    rows = picture_rows(cells, int(first), ROWS_SHOWN, unread_only=unread)
    columns = list(range(start, min(start + COLUMNS_SHOWN, widest + 1)))
    signs = {str(name): int(number) for name, number in cells[SIGN].value_counts().items() if name}
    caption = say("The sheet as it was read, rows {first} to {last}", first=rows[0] if rows else 0,
                  last=rows[-1] if rows else 0)  # fmt: skip
    if not rows:
        st.info(say("From this row on every cell was read or is no result."))
    html = legend_html(kind_counts(cells), signs) + f'<div class="box">{grid_html(cells, rows, columns, caption)}</div>'
    digest = f"{hash(html)}"
    _grid(key=GRID_KEY, data={"html": html, "digest": digest, "chosen": chosen}, on_cell_change=_chosen_in_grid)
    st.caption(say("Choose a cell with a click, or with Tab, the arrow keys and Enter, or write its name above."))
    return chosen


def _draw_chosen(book: ReadResult, cells: pd.DataFrame, findings: Sequence[Finding], chosen: str) -> None:
    """Say what one cell was taken for and why, and how it was read if it is a result."""
    if not chosen:
        return
    here = cells[cells[CELL].eq(chosen)]
    if here.empty:
        st.info(say("{cell} is blank, or no cell of this sheet.", cell=plain(chosen)))
        return
    cell = here.iloc[0]
    why = f": {plain(cell[REASON])}" if cell[REASON] else ""
    st.markdown(
        f"**{chosen}** — {plain(cell[TEXT])}  \n" + say("Taken for") + f" **{plain(say(str(cell[ROLE])))}**{why}"
    )
    about = cell_findings(book.name, findings)
    about = about[about[SHEET].eq(cell[SHEET]) & about[CELL].eq(chosen)]
    if len(about):
        st.markdown("\n".join(f"- {plain(message)}" for message in about["message"]))
    same = book.readings[Readings.sheet].fillna("").eq(cell[SHEET]) & book.readings[Readings.cell].eq(chosen)
    if same.any():
        read = readings_table(book.readings[same]).T.reset_index()
        read.columns = pd.Index([say("What"), *(say("As it was read") for _ in range(read.shape[1] - 1))])
        st.table(read[read.iloc[:, 1:].map(bool).any(axis=1)].map(plain), hide_index=True)


def _from_the_top() -> None:
    """Show another sheet from its first row, without a chosen cell."""
    st.session_state.update({ROW_KEY: 1, COLUMN_KEY: 0, CELL_KEY: ""})


def _chosen_in_grid() -> None:
    """Take over the cell that was chosen in the grid."""
    st.session_state[CELL_KEY] = st.session_state[GRID_KEY].cell or st.session_state.get(CELL_KEY, "")


def _go_to_cell() -> None:
    """Show the window in which the cell stands that was written."""
    named = CELL_NAME.match(st.session_state[CELL_KEY].strip().upper())
    if named:
        st.session_state[ROW_KEY] = max(1, int(named[2]) - ROWS_ABOVE)
        st.session_state[COLUMN_KEY] = column_number(named[1]) // COLUMNS_SHOWN * COLUMNS_SHOWN
