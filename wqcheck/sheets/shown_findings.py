"""Turns what is shown beside the results of a table (comments, number formats, merged cells) into findings."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from wqcheck.findings import Severity
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.marks import Place
from wqcheck.sheets.number_formats import shown_besides, text_besides
from wqcheck.sheets.recognise import unit_or_none
from wqcheck.sheets.result_cells import Positions
from wqcheck.units import Unit

_MOST_TOLD = 20


def say_shown(work: Extraction, unit: np.ndarray[tuple[int, ...], np.dtype[np.object_]]) -> None:
    """Hold for results that the sheet shows otherwise than they are stored; *unit* is the label of each of n."""
    marks = work.grid.sheet.marks
    if not (marks.comments or marks.formats or marks.shown or marks.merged):
        return
    places = _places(work)
    _say_comments(work, places)
    _say_formats(work, places, unit)
    _say_merged(work, places)


def _places(work: Extraction) -> dict[Place, int]:
    """Return which result stands in each place of the sheet."""
    rows, columns = (work.found.rows + work.grid.sheet.top).tolist(), work.found.columns.tolist()
    return {place: number for number, place in enumerate(zip(rows, columns, strict=True))}


def _say_comments(work: Extraction, places: dict[Place, int]) -> None:
    by_text: dict[str, list[int]] = {}
    for place, text in work.grid.sheet.marks.comments.items():
        if place in places:
            by_text.setdefault(text, []).append(places[place])
    for text, numbers in list(by_text.items())[:_MOST_TOLD]:
        message = "a comment stands on the cell of this result and may say that it does not hold; read it and decide"
        work.note("comment on result", message, work.where(np.sort(numbers)), text, Severity.HOLD)
    untold = [number for numbers in list(by_text.values())[_MOST_TOLD:] for number in numbers]
    if untold:
        message = f"{len(untold)} more results have comments; read them in the sheet"
        work.note("comment on result", message, work.where(np.sort(untold)), severity=Severity.HOLD)


def _say_formats(
    work: Extraction, places: dict[Place, int], unit: np.ndarray[tuple[int, ...], np.dtype[np.object_]]
) -> None:
    by_way: dict[tuple[str, str], list[int]] = {}
    marks = work.grid.sheet.marks
    for place, code in (*marks.formats.items(), *marks.shown.items()):
        number = places.get(place)
        if number is None:
            continue
        besides = text_besides if place in marks.shown else shown_besides
        way, added = besides(code, work.cells[place[0] - work.grid.sheet.top, place[1]])
        if way and not _is_its_unit(added, unit[number]):
            by_way.setdefault((way, code), []).append(number)
    for (way, code), numbers in by_way.items():
        message = (
            f"the number format of the cell {way}, so the sheet shows another result than the value that was read; ask "
            "which one holds and write it into the cell"
        )
        work.note("shown otherwise", message, work.where(np.sort(numbers)), code, Severity.HOLD)


def _is_its_unit(added: str, label: object) -> bool:
    unit: Unit | None = unit_or_none(added) if added else None
    return unit is not None and unit.label == label


def _say_merged(work: Extraction, places: dict[Place, int]) -> None:
    """Hold for one result in a cell that is merged over several rows or columns of results."""
    over = [
        places[start] for start, end in work.grid.sheet.marks.merged if start in places and _spans(work, start, end)
    ]
    if over:
        message = (
            "one result stands in a cell that is merged over several results; it was read for the first of them alone, "
            "and may be the sum of all: ask the laboratory, and write one result into each cell"
        )
        work.note("merged result", message, work.where(_sorted(over)), severity=Severity.HOLD)


def _sorted(numbers: list[int]) -> Positions:
    return np.sort(np.array(numbers, dtype=np.int64))


def _spans(work: Extraction, start: Place, end: Place) -> bool:
    """Return whether the merged cell reaches over a row that names an analyte or sample, or another result column."""
    top = work.grid.sheet.top
    results = set(work.table.with_role("analyte" if work.table.kind == "wide" else "result"))
    if len(results.intersection(range(start[1], end[1] + 1))) > 1:
        return True
    rows = slice(start[0] + 1 - top, end[0] + 1 - top)
    return any(work.grid.filled_cells()[rows, column].any() for column in _naming(work))


def _naming(work: Extraction) -> Iterator[int]:
    for role in ("parameter", "cas", "sample", "point", "batch", "sampled_at"):
        yield from work.table.with_role(role)
