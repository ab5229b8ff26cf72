"""Turns a sheet with analyte names across into a wide table: units, limits and computed rows told from samples."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from wqcheck.sheets.coded import Coded
from wqcheck.sheets.content import Kind, Profile, kind_of, kinds_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.part_rows import part_rows, rows_beside
from wqcheck.sheets.recognise import unit_or_none
from wqcheck.sheets.shown_columns import with_analytes_between
from wqcheck.sheets.table import IDENTITY, SPECIAL_ROWS, Column, Table

_FIELD_FORMAT = re.compile(r"\d{1,4}[sdnt]")


def analytes_across(
    cells: Cells, header: int, columns: dict[int, Column], profiles: list[Profile], special: Mapping[int, str]
) -> Table:
    """Return the layout of a table with analytes across; *special* are rows already known to hold no results."""
    label, parts = part_rows(cells[header + 1 :])
    parts = {row + header + 1: role for row, role in parts.items()}
    special = {**special, **_wide_special_rows(cells, header, columns)}
    special = {row: role for row, role in special.items() if row not in parts}
    owners = [c for c, column in columns.items() if column.role in IDENTITY and c != label]
    units = {
        c: str(cells[row, c])
        for row, role in special.items()
        if role == "unit"
        for c in columns
        if cells[row, c] is not None and kind_of(cells[row, c]) != Kind.ANALYTE
    }
    columns = {c: _with_unit_below(column, units.get(c, "")) for c, column in columns.items()}
    for c, column in columns.items():
        unknown = column.role in {"", "other"} and column.heading and profiles[c].number > 0.5
        if unknown and column.unit is not None and ("/" in column.unit.label or column.unit.volume_ml):
            columns[c] = Column("analyte", column.heading, None, column.unit, column.unit_text)
    columns = with_analytes_between(columns, profiles)
    return Table(
        kind="wide", header=header, first=header + 1, columns=columns, special=special, parts=parts,
        rows_beside=rows_beside(cells, parts, [*range(header + 1), *special], owners) if parts else {},
        why="analytes across, samples down",
    )  # fmt: skip


def _is_field_format(cell: object) -> bool:
    """Return whether *cell* states the width and kind of its column (``5s``, ``10d``), as exports of data bases do."""
    return isinstance(cell, str) and _FIELD_FORMAT.fullmatch(cell.strip()) is not None


def _with_unit_below(column: Column, text: str) -> Column:
    unit = unit_or_none(text.strip()) or unit_or_none(text.strip(" ()[]"))
    if not text or (column.unit is not None and unit is None):
        return column
    return Column(column.role, column.heading, column.analyte, unit or column.unit, text)


def _wide_special_rows(cells: Cells, header: int, columns: Mapping[int, Column]) -> dict[int, str]:
    special = {}
    analytes = [c for c, column in columns.items() if column.role == "analyte"]
    for row in [r for r in range(max(0, header - 1), min(header + 5, len(cells))) if r != header]:
        kinds = kinds_of(cells[row : row + 1, analytes])[0]
        filled = int((kinds != 0).sum())
        units = int(((kinds & int(Kind.UNIT)) != 0).sum())
        with_units = int(((kinds & int(Kind.NUMBER_WITH_UNIT)) != 0).sum())
        stated = ((kinds & int(Kind.UNIT)) != 0) & ((kinds & int(Kind.NOT_DONE)) == 0)
        if stated.any() and units >= 0.5 * filled and not (kinds & int(Kind.NUMBER)).any():
            special[row] = "unit"
        elif row > header and filled and with_units >= 0.5 * filled and "unit" in special.values():
            special[row] = "reporting_limit"
        elif row > header and all(cell is None or _is_field_format(cell) for cell in cells[row]) and filled:
            special[row] = "format"
    for row, role in _labelled_rows(cells, columns, analytes).items():
        if row > header:
            special.setdefault(row, role)
    return special


def _labelled_rows(cells: Cells, columns: Mapping[int, Column], analytes: list[int]) -> dict[int, str]:
    """Return the rows whose first text names a unit, a limit, a mean … and that have no date of their own."""
    ahead = [c for c, column in columns.items() if column.role not in {"analyte", "other"} and c < min(analytes)]
    labels = ahead[:3] or [0]
    first = Coded.of(cells[:, labels[0]])
    for label in labels[1:]:
        first = first.or_else(Coded.of(cells[:, label]))
    roles = first.map(lambda text: _row_role(text) if isinstance(text, str) else None)
    dates = [c for c, column in columns.items() if column.role == "sampled_at" and c != labels[0]]
    undated = [int(row) for row in np.flatnonzero(roles.known()) if all(cells[row, c] is None for c in dates)]
    return {row: roles.distinct[roles.codes[row]] for row in undated}


def _row_role(text: str) -> str | None:
    """Return the role of a row that its first text gives to the whole of it, None for the name of a sample."""
    role = heading_role(text.rstrip(" :"))
    return role if role in SPECIAL_ROWS and len(text.split()) <= 4 else None
