"""Turns the keys of a sheet layout file into checked values, and keeps a sentence for each one that is not usable."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from wqcheck.errors import SheetLayoutError, UnknownUnitError
from wqcheck.near_names import did_you_mean
from wqcheck.parameters import catalogue
from wqcheck.plant_files import is_list_of_texts, is_text
from wqcheck.units import conversion, recognise_unit


class Checks:
    """Values of a layout file as they are taken out of it, and what was wrong with those that could not be."""

    def __init__(self) -> None:
        self.problems: list[str] = []

    def refuse(self, key: str, given: object, message: str) -> None:
        """Keep one problem: where, what was given, how to mend it."""
        self.problems.append(f"{key}: {message} (given: {given!r})")

    def refuse_problems(self, path: Path | str) -> None:
        """Raise :class:`SheetLayoutError` that lists all problems, if there are any."""
        if self.problems:
            listed = "\n".join(f"  {problem}" for problem in self.problems)
            raise SheetLayoutError(f"{path}: {len(self.problems)} problem(s), so nothing was loaded:\n{listed}")

    def only(self, entry: Mapping[str, Any], allowed: Collection[str], where: str) -> None:
        """Refuse every key that may not stand here."""
        for key in sorted(set(entry) - set(allowed)):
            self.refuse(_at(where, key), key, f"this key is not known; use one of {', '.join(sorted(allowed))}")

    def text(self, entry: Mapping[str, Any], key: str, where: str = "", *, blank: bool = False) -> str:
        """Return a text, blank where there is none; a blank text is refused unless it may be."""
        value = entry.get(key, "")
        if key in entry and not (is_text(value) or (blank and isinstance(value, str))):
            self.refuse(_at(where, key), value, "write a text between quotation marks, or leave the key out")
            return ""
        return str(value)

    def texts(self, entry: Mapping[str, Any], key: str, where: str = "") -> tuple[str, ...]:
        """Return a list of texts, none of them blank."""
        value = entry.get(key, [])
        if not is_list_of_texts(value):
            self.refuse(_at(where, key), value, 'write a list of texts, such as ["…", "…"]')
            return ()
        return tuple(value)

    def word(self, entry: Mapping[str, Any], key: str, words: Sequence[str], where: str = "") -> str:
        """Return one of *words*, blank where there is none."""
        value = entry.get(key, "")
        if key in entry and value not in words:
            self.refuse(_at(where, key), value, f"write one of {', '.join(map(repr, words))}")
            return ""
        return str(value)

    def flag(self, entry: Mapping[str, Any], key: str, where: str = "") -> bool:
        """Return a flag, false where there is none."""
        value = entry.get(key, False)
        if not isinstance(value, bool):
            self.refuse(_at(where, key), value, "write true or false, without quotation marks")
            return False
        return value

    def table(self, data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        """Return a section of keys and values, empty where there is none."""
        value = data.get(key, {})
        if not isinstance(value, dict):
            self.refuse(key, value, f"write lines such as {key}.SOMETHING = …")
            return {}
        return value

    def entries(self, data: Mapping[str, Any], key: str, where: str) -> Iterator[tuple[Mapping[str, Any], str]]:
        """Yield each entry of a list of tables with its place, counted from 1."""
        value = data.get(key, [])
        place = _at(where, key)
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.refuse(place, value, "write a list of tables, such as [{ … }, { … }]")
            return
        for number, entry in enumerate(value, start=1):
            yield entry, f"{place} {number}"

    def short_form(
        self, value: Any, key: str, allowed: Collection[str], where: str, kinds: tuple[type, ...] = (str,)
    ) -> Mapping[str, Any]:
        """Return an answer that may stand as a table or as its one value."""
        if isinstance(value, dict):
            self.only(value, allowed, where)
            return value
        if isinstance(value, kinds):
            return {key: value}
        self.refuse(where, value, f"write the {key} alone, or a table with {', '.join(sorted(allowed))}")
        return {}

    def checked_text(self, value: Any, where: str, problem_of: Callable[[str], str]) -> str:
        """Return a text with which *problem_of* finds no problem, else blank."""
        if not is_text(value):
            self.refuse(where, value, "write a text between quotation marks")
            return ""
        problem = problem_of(value)
        if problem:
            self.refuse(where, value, problem)
            return ""
        return str(value)


def parameter_problem(code: str) -> str:
    """Return what is wrong with a parameter code, blank when the catalogue has it."""
    return "" if code in catalogue() else f"it is no parameter code of the catalogue; {did_you_mean(code)}"


def unit_problem(text: str) -> str:
    """Return what is wrong with a unit text, blank when the unit is known."""
    try:
        recognise_unit(text)
    except UnknownUnitError:
        return "the unit is not known; write one such as 'mg/L', 'µg/L', 'µS/cm' or 'CFU/100 mL'"
    return ""


def misfit(text: str, code: str) -> str:
    """Return why results of the parameter *code* cannot be in the unit *text*, blank when they can."""
    if unit_problem(text) or code not in catalogue():
        return unit_problem(text)
    unit, parameter = recognise_unit(text), catalogue()[code]
    if not parameter.unit or not math.isnan(conversion(code, unit.label, unit.basis, parameter.unit, "").high):
        return ""
    return f"{parameter.name} is given in units such as {parameter.unit}, into which this one cannot be turned"


def basis_problem(basis: str, code: str) -> str:
    """Return what is wrong with a basis of the parameter *code*, blank when results are expressed on it."""
    if code not in catalogue():
        return ""
    bases = sorted({*catalogue()[code].bases, catalogue()[code].basis} - {""})
    if basis in bases:
        return ""
    name = catalogue()[code].name
    return f"{name} is expressed as {' or '.join(bases)}" if bases else f"{name} has no basis; leave it out"


def _at(where: str, key: str) -> str:
    return f"{where}.{key}" if where else key
