"""Turns the cells around a result into what it belongs to: sample, point, batch, laboratory, method and times."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.columns import texts_of
from wqcheck.sheets.date_parts import date_parts, whole_dates
from wqcheck.sheets.dates import ParsedDates, parse_dates, parse_time
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.groups import group_starts
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.joining import joined, listed_times, say_other_times
from wqcheck.sheets.result_cells import group_names
from wqcheck.sheets.roles import cell_text, column_name, first_cells
from wqcheck.sheets.sheet_names import point_of_sheet

OWNERS = ("sample", "batch", "point", "stage", "replicate")
"""What a crosstab says above its columns, and every other layout in its rows."""

_LAST_WORD = re.compile(r"[\s_/:-]+[^\W\d_]+$")

TIMES = ("sampled_at", "received_at", "analysed_at")


def owner_texts(work: Extraction, role: str) -> Coded:
    """Return the *role* (``sample``, ``point`` …) of each result as text, blank where nothing says it."""
    if work.table.kind == "crosstab":
        texts = _above_columns(work, role).or_else(work.row_texts(role))
    elif work.table.kind == "list" and work.table.header is None and role == "point":
        work.grid.mark_all(work.grid.unexplained(), "point", "name of the point, or of the points below it")
        texts = Coded.of(group_names(work.cells, work.found.rows))
    else:
        texts = _with_wider_places(work, work.row_texts(role)) if role == "point" else work.row_texts(role)
        if work.table.kind == "list" and role == "point":
            texts = _below_groups(work, texts)
        if work.table.kind == "long" and role in {"sample", "point", "batch"}:
            texts = _carried(work, role, texts)
        row = work.special_row("point") if work.table.kind == "wide" and role == "point" else None
        texts = texts if row is None else _with_place_above(texts, texts_of(work.per_column(row)))
    return texts


def _below_groups(work: Extraction, texts: Coded) -> Coded:
    """Return the points of a list with the name before them of the row above that names a group and has no result."""
    column = work.column_of("point")
    if column is None:
        return texts
    alone = work.grid.filled_cells()[work.table.first :].sum(axis=1) == 1
    rows = work.table.first + np.flatnonzero(alone & work.grid.filled_cells()[work.table.first :, column])
    if len(rows) < 2 or rows[0] > work.result_rows.min():
        return texts
    work.grid.mark(rows, column, "point", "name of the group of points below it")
    names = work.grid.sheet.column(column).taken(rows[np.searchsorted(rows, work.found.rows) - 1])
    return _with_place_above(texts_of(names), texts)


def _with_wider_places(work: Extraction, texts: Coded) -> Coded:
    """Return the points with the place of another column before or behind them where neither alone tells them apart.

    ``Point 1`` and ``Point 2`` of two beaches are four points; a name and a number of one point are one.
    """
    used = work.column_of("point")
    if used is None or work.beside.get("point"):
        return texts
    for column in work.table.with_role("point"):
        if column == used:
            continue
        other = texts_of(work.per_row(column))
        both = texts.known() & other.known()
        pairs = len(np.unique(np.stack([texts.codes[both], other.codes[both]]), axis=1).T)
        alone = [len(np.unique(part.codes[both])) for part in (texts, other)]
        if min(alone, default=0) > 1 and pairs > max(alone):
            ahead, behind = (other, texts) if column < used else (texts, other)
            texts = _with_place_above(ahead, behind)
    return texts


def _with_place_above(texts: Coded, above: Coded) -> Coded:
    """Return the point of each result: of its row, of its column, or both where both name one (*Site 3 / Raw*)."""
    both = texts.known() & above.known()
    joined = np.full(len(both), None, dtype=object)
    joined[both] = texts.objects()[both] + " / " + above.objects()[both]
    return Coded.of(joined).or_else(texts).or_else(above)


def owners(work: Extraction) -> dict[str, Coded]:
    """Return each of :data:`OWNERS` of each result: of its row or column, of a list of samples, of a label."""
    texts = {role: owner_texts(work, role) for role in OWNERS}
    texts = joined(work, {**texts, "sample": with_fact(work, "sample", texts["sample"])})
    texts = {role: with_fact(work, role, given) for role, given in texts.items()}
    return {**texts, "point": point_of_sheet(work, texts["point"], work.sheet_points)}


def with_fact(work: Extraction, role: str, texts: Coded) -> Coded:
    """Fill blanks with what a label outside the table says of all results."""
    fact = work.facts.get(role)
    return texts if fact is None else texts.or_else(Coded.all_the_same(cell_text(fact.value), work.count))


def _above_columns(work: Extraction, role: str) -> Coded:
    row = work.special_row(role)
    texts = Coded.blank(work.count) if row is None else texts_of(Coded.of(_spread(work, row)))
    if role != _header_role(work) or work.table.header is None:
        return texts
    return texts.or_else(work.of_columns(_names_across(work)).without(_dated_headings(work)))


def _names_across(work: Extraction) -> dict[int, str | None]:
    """Return the heading of each column; one merged over columns that another row tells apart names them all."""
    names = {c: _point_name(column.heading) for c, column in work.table.columns.items()}
    names |= _without_common_end([(c, names[c] or "") for c in work.table.with_role("result")])
    for left, right in pairwise(work.table.with_role("result")):
        if names[right] is None and any(work.cells[row, right] is not None for row in work.table.special):
            names[right] = names[left]
    return names


def _without_common_end(names: list[tuple[int, str]]) -> dict[int, str]:
    """Return the names of result columns without the word for a result that all of them end in (``BH-2 Result``)."""
    shorter = {column: _LAST_WORD.sub("", name) for column, name in names}
    words = {name[len(shorter[column]) :].strip(" _-/:").lower() for column, name in names}
    if len(names) < 2 or len(words) != 1 or heading_role(words.pop()) != "result" or "" in shorter.values():
        return {}
    return shorter


def _header_role(work: Extraction) -> str:
    """Return what the row of headings of a crosstab names above its results: a point unless its corner says else."""
    header, across = work.table.header, work.table.with_role("result")
    if header is None or not across:
        return "point"
    label = next((str(cell) for cell in work.cells[header, : across[0]] if cell is not None), "")
    role = heading_role(label.rstrip(" :"))
    return role if role in OWNERS else "point"


def _spread(work: Extraction, row: int) -> Cells:
    """Return, for each result, the cell above it in *row*; a merged cell stands for all columns that it spans."""
    across = work.table.with_role("result")
    spread = work.cells[row].copy()
    starts = group_starts(work.table, across)
    for result, (start, end) in zip(across, pairwise([*starts, len(spread)]), strict=True):
        spread[result] = next((cell for cell in spread[start:end] if cell is not None), None)
    for left, right in pairwise(across):
        if spread[right] is None:
            spread[right] = spread[left]
    return np.asarray(spread[work.found.columns], dtype=object)


def _point_name(heading: str) -> str | None:
    return None if not heading or heading_role(heading.rstrip(" 0123456789")) == "result" else heading


def _dated_headings(work: Extraction) -> Flags:
    header = work.table.header
    if header is None:
        return np.zeros(work.count, dtype=bool)
    return np.asarray(~np.isnat(parse_dates(work.per_column(header)).times))


def _carried(work: Extraction, role: str, texts: Coded) -> Coded:
    """Carry a sample, point or batch down a long table where only the first row of each group names it."""
    column = work.column_of(role)
    if column is None or texts.known().all():
        return texts
    blank = ~texts.known() & ~_named_rows(work)
    grouped = blank.mean() >= 0.5
    if not blank.any() or not grouped:
        return texts
    heading = work.table.columns[column].heading or column_name(column)
    message = f"{int(blank.sum())} rows name no sample; {heading!r} is taken from the row above them"
    work.note("carried down", message, work.where(np.flatnonzero(blank)))
    return carried_down(texts, blank)


def _named_rows(work: Extraction) -> Flags:
    """Return, for each result, whether its row names a sample, point, batch or date."""
    naming = [c for named in ("sample", "point", "batch", "sampled_at") for c in work.table.with_role(named)]
    return np.asarray(work.grid.filled_cells()[:, naming].any(axis=1))[work.found.rows]


def carried_down(texts: Coded, blank: Flags) -> Coded:
    """Return *texts* with each flagged row filled from the last row above it that is not flagged."""
    last = np.maximum.accumulate(np.where(blank, -1, np.arange(len(blank))))
    return Coded(np.where(last >= 0, texts.codes[np.maximum(last, 0)], -1), texts.distinct)


def times(work: Extraction, role: str) -> npt.NDArray[np.datetime64]:
    """Return one of :data:`TIMES` for each result (shape (n,)), NaT where it is blank or no full date; says which."""
    cells, where = _time_cells(work, role)
    of_row = cells.known()
    fact, listed = work.facts.get(role), listed_times(work, role)
    if fact is not None:
        cells = cells.or_else(Coded.all_the_same(fact.value, work.count))
    dates = _with_told_order(work, role, cells, parse_dates(cells), where)
    if dates.ambiguous:
        message = (
            f"the order of day and month in {role!r} cannot be told; write dates as 2026-03-31, or the order once in a "
            "sheet layout"
        )
        work.ambiguous[role] = (where, first_cells(dates.ambiguous))
        work.note("ambiguous date", message, where, first_cells(dates.ambiguous))
    if dates.unread:
        message = f"{role!r} holds texts that are no full date; these results count as undated"
        work.note("no full date", message, where, first_cells(dates.unread))
    say_other_times(work, role, dates.times, listed)
    stated = np.where(of_row | np.isnat(listed), dates.times, listed)
    return _with_clock(work, stated) if role == "sampled_at" else stated


def _with_told_order(work: Extraction, role: str, cells: Coded, dates: ParsedDates, where: str) -> ParsedDates:
    """Return *dates* in the order of day and month that a sheet layout says, where the column proves none."""
    told = work.layout.dates.get(role, "")
    work.orders[role] = dates.order or ("?" if dates.ambiguous else "")
    if not told or (not dates.ambiguous and dates.order in {"", told}):
        return dates
    if dates.order and told != "ymd":
        message = f"the column {role!r} proves another order of day and month than the sheet layout says; it holds"
        work.note("layout not used", message, where, f"{dates.order}; layout: {told}")
        return dates
    ordered = parse_dates(cells, told)
    work.supply("the order of day and month", ~np.isnat(ordered.times) & np.isnat(dates.times))
    return ordered


def _time_cells(work: Extraction, role: str) -> tuple[Coded, str]:
    if work.table.kind != "crosstab":
        parts = date_parts(work.table) if role == "sampled_at" else {}
        if parts and set(work.table.with_role(role)) == set(parts.values()) and {"year", "month"} <= set(parts):
            return whole_dates(work, parts)
        return _time_column(work, role, list(parts.values()))
    row = work.special_row(role)
    if row is not None:
        return Coded.of(_spread(work, row)), work.at(row, int(work.found.columns.min()))
    header = work.table.header
    if role == "sampled_at" and header is not None and _dated_headings(work).any():
        return work.per_column(header), work.at(header, int(work.found.columns.min()))
    return _time_column(work, role, [])


def _time_column(work: Extraction, role: str, parts: list[int]) -> tuple[Coded, str]:
    """Return the cells of the column of *role*, of the table or of the group of each result, and where it begins."""
    own = work.beside.get(role, {})
    column = work.column_of(role, instead_of=parts)
    given = work.cells_of(role) if own else None if column is None else work.per_row(column)
    if given is None:
        return Coded.blank(work.count), ""
    if work.table.kind == "long" and role == "sampled_at":
        given = carried_down(given, ~given.known() & ~_named_rows(work))
    first = min(own.values()) if column is None else column
    return given, work.at(int(work.result_rows[0]), first)


def _with_clock(work: Extraction, moments: npt.NDArray[np.datetime64]) -> npt.NDArray[np.datetime64]:
    """Add the time of day that stands in a column of its own to dates that have none."""
    if work.table.kind == "crosstab":
        return moments
    seconds = np.nan_to_num(work.row_texts("sampled_time").map(parse_time).numbers())
    midnight = moments == moments.astype("datetime64[D]")
    return np.where(midnight, moments + (seconds * 1e6).astype("timedelta64[us]"), moments)
