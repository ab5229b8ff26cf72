"""Turns the tables of a workbook that hold no results but say of which samples and parameters those of others are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from wqcheck.findings import Finding
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.joining import explain_list, say_list
from wqcheck.sheets.layouts import FoundTable
from wqcheck.sheets.parameter_lists import ParameterList, explain_parameters, parameter_lists, say_parameters
from wqcheck.sheets.roles import RoleGrid
from wqcheck.sheets.sample_lists import NO_LISTS, SampleList, SampleLists, sample_lists
from wqcheck.sheets.table import Table


@dataclass(frozen=True, eq=False)
class Lists:
    """The lists of one workbook."""

    samples: SampleLists = NO_LISTS
    parameters: tuple[ParameterList, ...] = ()

    def of_part(self, part: Sheet) -> Table | None:
        """Return a list without results as a table, so that labels are looked for above it alone; None for no list."""
        lists: list[SampleList | ParameterList] = [*self.samples.without_results().lists, *self.parameters]
        one = next((one for one in lists if one.part is part), None)
        return None if one is None else Table(kind="list", header=one.header, first=one.header + 1, columns=one.columns)

    def explained(self, grids: Iterable[RoleGrid], workbook: str) -> Iterator[Finding]:
        """Give the cells of the lists their roles in *grids* (of tables without results), and yield their uses."""
        by_part = {id(grid.sheet): grid for grid in grids}
        for one in self.parameters:
            if id(one.part) in by_part:
                explain_parameters(by_part[id(one.part)], one)
            yield from say_parameters(one, workbook) if one.used else ()
        for each in self.samples.lists:
            if each.alone and id(each.part) in by_part:
                explain_list(by_part[id(each.part)], each)
            yield from say_list(each, workbook) if each.used else ()


def lists_of(tables: Sequence[FoundTable]) -> Lists:
    """Return the lists among the *tables* of a workbook."""
    return Lists(sample_lists(tables), parameter_lists(tables))
