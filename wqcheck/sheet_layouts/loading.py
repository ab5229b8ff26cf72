"""Turns a sheet layout file (TOML) into its record, or into one error that lists everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from wqcheck.errors import PlantFileError, SheetLayoutError
from wqcheck.parameters import normalise
from wqcheck.plant_files import read_plant_file
from wqcheck.sheet_layouts.checks import Checks, basis_problem, misfit, parameter_problem, unit_problem
from wqcheck.sheet_layouts.records import (
    COLUMN_ROLES,
    DATE_ORDERS,
    DATE_ROLES,
    DECIMAL_MARKS,
    MEANINGS,
    ColumnAnswer,
    NameAnswer,
    PointAnswer,
    SheetLayout,
    TableAnswer,
    TextAnswer,
    VolumeAnswer,
    folded_word,
)
from wqcheck.units import fold

Answer = TypeVar("Answer")

ONE_SHEET = "for_one_sheet"
"""Folder, within that of the sheet layouts, of layouts that hold for one file each and never for the next one."""

_KEYS = frozenset([
    "name", "lab", "decimal", "dates", "aliases", "units", "bases", "volumes", "unit_spellings", "points", "words",
    "signs", "not_parameters", "tables",
])  # fmt: skip
_TABLE_KEYS = frozenset(["fingerprints", "sheet", "kind", "header", "parameter", "unit", "columns", "replace"])
_COLUMN_KEYS = frozenset(["heading", "column", "nth", "role", "parameter", "basis", "fraction", "unit", "replace"])
_NAME_KEYS = frozenset(["parameter", "basis", "fraction", "unit", "replace"])
_FRACTIONS = ("total", "dissolved")


def load_layout(path: Path | str) -> SheetLayout:
    """Read a sheet layout; every key is optional, and no key is passed over.

    Raises
    ------
    SheetLayoutError
        The text lists every problem with file, key, what was given and how to mend it; nothing of the file is used.
    """
    try:
        data, digest = read_plant_file(path)
    except PlantFileError as problem:
        raise SheetLayoutError(str(problem)) from problem
    checks = Checks()
    layout = layout_from(data, checks, default_name=Path(path).stem, path=str(path))
    checks.refuse_problems(path)
    return replace(layout, digest=digest)


def load_layouts(folder: Path) -> tuple[SheetLayout, ...]:
    """Read every ``.toml`` file of *folder*, in the order of their names.

    Raises
    ------
    SheetLayoutError
        The folder is none, or a file in it is not usable.
    """
    if not folder.is_dir():
        raise SheetLayoutError(f"{folder} is not a folder; give the folder that holds the sheet layouts")
    return tuple(load_layout(path) for path in sorted(folder.glob("*.toml")))


def file_of_one_sheet(folder: Path, sha256: str) -> Path:
    """Return where the answers that hold for one file of a laboratory alone are kept, known by the file's digest."""
    return folder / ONE_SHEET / f"{sha256[:32]}.toml"


def layout_of_one_sheet(folder: Path, sha256: str) -> SheetLayout | None:
    """Return the sheet layout that holds for the one file with this digest, or None.

    Raises
    ------
    SheetLayoutError
        It is there and not usable.
    """
    path = file_of_one_sheet(folder, sha256)
    return load_layout(path) if sha256 and path.is_file() else None


def layout_files(folder: Path | None) -> tuple[tuple[str, bytes], ...]:
    """Return name and bytes of each sheet layout of a folder and of those for one sheet; none where it is none."""
    found = (folder, folder / ONE_SHEET) if folder is not None and folder.is_dir() else ()
    paths = [path for place in found for path in sorted(place.glob("*.toml"))]
    return tuple((path.name, path.read_bytes()) for path in paths)


def layout_from(data: Mapping[str, Any], checks: Checks, *, default_name: str, path: str) -> SheetLayout:
    """Return the record of the keys of a layout file; *checks* keeps what is wrong with them."""
    checks.only(data, _KEYS, "")
    known = parameter_problem
    return SheetLayout(
        name=checks.text(data, "name") or default_name,
        lab=checks.text(data, "lab"),
        decimal=checks.word(data, "decimal", DECIMAL_MARKS),
        dates=_section(data, "dates", checks, _one_of(DATE_ORDERS), key_problem=_date_role_problem),
        aliases=_section(data, "aliases", checks, _name_answer, fold_key=normalise),
        units=_section(data, "units", checks, _unit_answer, key_problem=known),
        bases=_section(data, "bases", checks, _basis_answer, key_problem=known),
        volumes=_section(data, "volumes", checks, _volume_answer, key_problem=known),
        unit_spellings=_section(data, "unit_spellings", checks, _known_unit, fold_key=fold),
        points=_section(data, "points", checks, _point_answer, fold_key=normalise),
        words=_section(data, "words", checks, _one_of(MEANINGS), fold_key=folded_word),
        signs=_section(data, "signs", checks, _one_of(("<", ">")), fold_key=folded_word),
        not_parameters=checks.texts(data, "not_parameters"),
        tables=tuple(_table(entry, where, checks) for entry, where in checks.entries(data, "tables", "")),
        path=path,
    )


def _section(
    data: Mapping[str, Any], name: str, checks: Checks, read: Callable[[Any, str, str, Checks], Answer | None],
    *, key_problem: Callable[[str], str] = lambda key: "", fold_key: Callable[[str], str] = str,
) -> dict[str, Answer]:  # fmt: skip
    """Return one section of key = answer; a key that means nothing, or two that mean the same, are problems."""
    section: dict[str, Answer] = {}
    seen: dict[str, str] = {}
    for key, value in checks.table(data, name).items():
        where = f"{name}.{key}"
        if problem := key_problem(key):
            checks.refuse(where, key, problem)
            continue
        folded = fold_key(key)
        if not folded:
            checks.refuse(where, key, "it has no letter, digit or sign to know it by; write the text of the sheet")
        elif folded in seen:
            checks.refuse(where, key, f"it means the same as {seen[folded]!r}; leave one of them")
        seen[folded] = key
        answer = read(value, where, key, checks)
        if answer is not None:
            section[key] = answer
    return section


def _one_of(words: Iterable[str]) -> Callable[[Any, str, str, Checks], str | None]:
    allowed = tuple(words)

    def read(value: Any, where: str, key: str, checks: Checks) -> str | None:
        if value in allowed:
            return str(value)
        checks.refuse(where, value, f"write one of {', '.join(map(repr, allowed))}")
        return None

    return read


def _date_role_problem(role: str) -> str:
    return "" if role in DATE_ROLES else f"no such date is read; use one of {', '.join(DATE_ROLES)}"


def _known_unit(value: Any, where: str, key: str, checks: Checks) -> str | None:
    return checks.checked_text(value, where, unit_problem) or None


def _name_answer(value: Any, where: str, key: str, checks: Checks) -> NameAnswer | None:
    entry = checks.short_form(value, "parameter", _NAME_KEYS, where)
    code = checks.checked_text(entry.get("parameter"), f"{where}.parameter", parameter_problem)
    if not code:
        return None
    return NameAnswer(
        parameter=code,
        basis=_basis_of(entry, where, code, checks),
        fraction=checks.word(entry, "fraction", _FRACTIONS, where),
        unit=_unit_of(entry, where, code, checks),
        replace=checks.flag(entry, "replace", where),
    )


def _basis_of(entry: Mapping[str, Any], where: str, code: str, checks: Checks) -> str:
    if "basis" not in entry:
        return ""
    return checks.checked_text(entry["basis"], f"{where}.basis", lambda basis: basis_problem(basis, code))


def _unit_of(entry: Mapping[str, Any], where: str, code: str, checks: Checks) -> str:
    if "unit" not in entry:
        return ""
    return checks.checked_text(entry["unit"], f"{where}.unit", lambda unit: misfit(unit, code))


def _unit_answer(value: Any, where: str, key: str, checks: Checks) -> TextAnswer | None:
    entry = checks.short_form(value, "unit", {"unit", "replace"}, where)
    unit = checks.checked_text(entry.get("unit"), where, lambda text: misfit(text, key))
    return TextAnswer(text=unit, replace=checks.flag(entry, "replace", where)) if unit else None


def _basis_answer(value: Any, where: str, key: str, checks: Checks) -> TextAnswer | None:
    entry = checks.short_form(value, "basis", {"basis", "replace"}, where)
    basis = checks.checked_text(entry.get("basis"), where, lambda text: basis_problem(text, key))
    return TextAnswer(text=basis, replace=checks.flag(entry, "replace", where)) if basis else None


def _volume_answer(value: Any, where: str, key: str, checks: Checks) -> VolumeAnswer | None:
    entry = checks.short_form(value, "volume_ml", {"volume_ml", "replace"}, where, kinds=(int, float))
    volume = entry.get("volume_ml")
    if isinstance(volume, bool) or not isinstance(volume, int | float) or not 0 < volume <= 100_000:
        checks.refuse(where, volume, "write the volume examined in mL, a number above 0")
        return None
    return VolumeAnswer(volume_ml=float(volume), replace=checks.flag(entry, "replace", where))


def _point_answer(value: Any, where: str, key: str, checks: Checks) -> PointAnswer | None:
    entry = checks.short_form(value, "point", {"point", "stage"}, where)
    answer = PointAnswer(point=checks.text(entry, "point", where), stage=checks.text(entry, "stage", where))
    if not answer.point and not answer.stage:
        checks.refuse(where, value, "write the code of a point of the train file, or a stage")
        return None
    return answer


def _table(entry: Mapping[str, Any], where: str, checks: Checks) -> TableAnswer:
    checks.only(entry, _TABLE_KEYS, where)
    header = entry.get("header")
    if header is not None and (isinstance(header, bool) or not isinstance(header, int) or header < 1):
        checks.refuse(f"{where}.header", header, "write the number of the row of headings; the first row is 1")
        header = None
    return TableAnswer(
        fingerprints=checks.texts(entry, "fingerprints", where),
        sheet=checks.text(entry, "sheet", where, blank=True),
        kind=checks.text(entry, "kind", where, blank=True),
        header=header,
        parameter=_parameter_of(entry, where, checks),
        unit=_unit_of(entry, where, "", checks),
        columns=tuple(_column(column, place, checks) for column, place in checks.entries(entry, "columns", where)),
        replace=checks.flag(entry, "replace", where),
    )


def _parameter_of(entry: Mapping[str, Any], where: str, checks: Checks) -> str:
    if "parameter" not in entry:
        return ""
    return checks.checked_text(entry["parameter"], f"{where}.parameter", parameter_problem)


def _column(entry: Mapping[str, Any], where: str, checks: Checks) -> ColumnAnswer:
    checks.only(entry, _COLUMN_KEYS, where)
    code = _parameter_of(entry, where, checks)
    nth = entry.get("nth", 1)
    if isinstance(nth, bool) or not isinstance(nth, int) or nth < 1:
        checks.refuse(f"{where}.nth", nth, "write which of the columns with this heading it is; the first is 1")
        nth = 1
    answer = ColumnAnswer(
        heading=checks.text(entry, "heading", where), column=checks.text(entry, "column", where).upper(), nth=nth,
        role=checks.word(entry, "role", sorted(COLUMN_ROLES), where), parameter=code,
        basis=_basis_of(entry, where, code, checks), fraction=checks.word(entry, "fraction", _FRACTIONS, where),
        unit=_unit_of(entry, where, code, checks), replace=checks.flag(entry, "replace", where),
    )  # fmt: skip
    if bool(answer.heading) == bool(answer.column):
        checks.refuse(where, dict(entry), "tell the column by its heading, or by its letter where it has none")
    if answer.column and not (answer.column.isascii() and answer.column.isalpha() and len(answer.column) <= 3):
        checks.refuse(f"{where}.column", answer.column, "write the letters above the column, such as D")
    return answer
