"""Turns the tables of a workbook and the sheet layouts of a folder into the layout that holds for this workbook.

A layout matches when it knows the fingerprint of at least one table of the workbook, and when the laboratory that it
names is the one that the sheets name, where both name one. The layout that knows most tables is taken; where two know
as many, none is. A layout that was made for this very file, known by its digest, comes before all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.sheet_layouts.loading import layout_of_one_sheet, load_layout, load_layouts
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheet_layouts.saving import save_layout
from wqcheck.sheets.fingerprints import fingerprint, headings_of
from wqcheck.sheets.grid import Book, Sheet
from wqcheck.sheets.labels import read_labels
from wqcheck.sheets.layout import find_table
from wqcheck.sheets.roles import RoleGrid, cell_text
from wqcheck.sheets.stacked import split_tables
from wqcheck.sheets.table import Table

Layouts = Path | SheetLayout | Sequence[SheetLayout] | None
"""A folder of layout files, one layout that holds in any case, layouts of which the matching one holds, or none."""

NEARLY = 0.7
"""Share of headings in common from which a layout is said to nearly fit (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class FoundTable:
    """One table as the reader found it, before any sheet layout: its part of the sheet, and its layout or why none."""

    part: Sheet
    found: Table | str

    @cached_property
    def fingerprint(self) -> str:
        """By what a sheet layout knows the table again; blank where it has too few headings."""
        return fingerprint(self.part.cells, self.found)

    @cached_property
    def headings(self) -> frozenset[str]:
        """The headings that stay the same from sheet to sheet, normalised."""
        return frozenset(headings_of(self.part.cells, self.found))


def find_tables(sheet: Sheet) -> tuple[FoundTable, ...]:
    """Return the tables of one sheet, from top to bottom."""
    return tuple(FoundTable(part, find_table(part.cells)) for part in split_tables(sheet))


def matching_layout(book: Book, folder: Path) -> SheetLayout | None:
    """Return the layout of *folder* that holds for *book*, or None.

    Raises
    ------
    SheetLayoutError
        A file of the folder is not usable.
    """
    tables = [table for sheet in book.sheets for table in find_tables(sheet)]
    return choose_layout(tables, folder, book.name, book.sha256)[0]


def choose_layout(
    tables: Sequence[FoundTable], layouts: Layouts, workbook: str, sha256: str = ""
) -> tuple[SheetLayout | None, list[Finding]]:
    """Return the layout that holds for the *tables* of a workbook, and what is to be said of those that nearly do.

    With *sha256*, the digest of the workbook, a layout of the folder that was made for it alone is taken first.
    """
    if layouts is None or isinstance(layouts, SheetLayout):
        return layouts, []
    if isinstance(layouts, Path) and (own := layout_of_one_sheet(layouts, sha256)) is not None:
        return own, []
    candidates = load_layouts(layouts) if isinstance(layouts, Path) else tuple(layouts)
    known = {table.fingerprint for table in tables} - {""} if candidates else set()
    scores = [(len(known & _fingerprints(layout)), layout) for layout in candidates]
    most = max((score for score, _ in scores), default=0)
    best = [layout for score, layout in scores if score == most and score]
    if best:
        labs = set(_stated_labs(tables))
        best = [layout for layout in best if not layout.lab or not labs or normalise(layout.lab) in labs]
    if len(best) > 1:
        names = ", ".join(Path(layout.path).name or layout.name for layout in best)
        message = f"{len(best)} sheet layouts fit this workbook equally well, so none is applied; leave one of them"
        finding = Finding(
            code="several sheet layouts", severity=Severity.HOLD, message=message, where=workbook, given=names
        )
        return None, [finding]
    return (best[0], []) if best else (None, list(_nearly(tables, candidates, workbook)))


def _fingerprints(layout: SheetLayout) -> set[str]:
    return {text for table in layout.tables for text in table.fingerprints}


def _stated_labs(tables: Iterable[FoundTable]) -> Iterator[str]:
    """Yield the laboratories that labels above the tables name, normalised."""
    for table in tables:
        layout = None if isinstance(table.found, str) else table.found
        facts, _ = read_labels(RoleGrid(table.part), layout, len(table.part.cells))
        if "lab" in facts:
            yield normalise(cell_text(facts["lab"].value))


def _nearly(tables: Sequence[FoundTable], layouts: Iterable[SheetLayout], workbook: str) -> Iterator[Finding]:
    """Yield a finding for each table that some layout would fit but for a few headings."""
    for table in tables:
        for layout in layouts:
            for answer in layout.tables:
                told = frozenset(normalise(column.heading) for column in answer.columns if column.heading)
                both, all_of_them = told & table.headings, told | table.headings
                if table.fingerprint and len(told) > 2 and NEARLY * len(all_of_them) <= len(both):
                    other = ", ".join(sorted(all_of_them - both)) or "their order or kind"
                    yield Finding(
                        code="layout nearly fits", severity=Severity.NOTE, where=workbook, given=other,
                        message=f"the sheet layout {layout.name!r} is for headings that differ in a few, so it is not "
                        f"applied; where it is the same form, add the fingerprint {table.fingerprint} to its table",
                    )  # fmt: skip


__all__ = ["FoundTable", "Layouts", "choose_layout", "find_tables", "load_layout", "matching_layout", "save_layout"]
