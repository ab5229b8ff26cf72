"""Turns a sheet layout into a small TOML file that is read and edited by hand: one answer a line, tables at the end."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from pathlib import Path

from wqcheck.sheet_layouts.records import (
    ColumnAnswer,
    NameAnswer,
    PointAnswer,
    SheetLayout,
    TableAnswer,
    TextAnswer,
    VolumeAnswer,
)

Value = str | bool | int | float

_SHORT = {NameAnswer: "parameter", TextAnswer: "text", VolumeAnswer: "volume_ml", PointAnswer: "point"}
_SECTIONS = ("dates", "aliases", "units", "bases", "volumes", "unit_spellings", "points", "words", "signs")


def save_layout(layout: SheetLayout, path: Path) -> None:
    """Write *layout* to *path* (UTF-8); its folder is made where there is none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(layout_text(layout), encoding="utf-8", newline="\n")


def digest_of(layout: SheetLayout) -> str:
    """Return the SHA-256 of the file that *layout* was read from, or of the text that it would be saved as."""
    return layout.digest or hashlib.sha256(layout_text(layout).encode()).hexdigest()


def layout_text(layout: SheetLayout) -> str:
    """Return *layout* as TOML; :func:`~wqcheck.sheet_layouts.loading.load_layout` reads the same record back."""
    lines = [f"# {_comment(line)}".rstrip() for remark in layout.remarks for line in remark.split("\n")]
    lines += [""] if lines else []
    lines += [f"{key} = {_value(text)}" for key, text in _head(layout) if text]
    if layout.not_parameters:
        lines.append(f"not_parameters = [{', '.join(map(_value, layout.not_parameters))}]")
    for section in _SECTIONS:
        answers = getattr(layout, section)
        lines += [""] if answers else []
        lines += [f"{section}.{_key(text)} = {_answer(section, answer)}" for text, answer in answers.items()]
    for table in layout.tables:
        lines += ["", *_table(table)]
    return "\n".join(lines).strip("\n") + "\n"


def answer_line(section: str, key: str, answer: str | float) -> str:
    """Return the line of a layout file that gives one *answer*."""
    return f"{section}.{_key(key)} = {_value(answer)}"


def _head(layout: SheetLayout) -> Iterator[tuple[str, str]]:
    yield from (("name", layout.name), ("lab", layout.lab), ("decimal", layout.decimal))


def _answer(section: str, answer: object) -> str:
    if isinstance(answer, str):
        return _value(answer)
    short = _SHORT[type(answer)]
    names = {"text": {"units": "unit", "bases": "basis"}.get(section, "text")}
    said = {names.get(key, key): value for key, value in _fields(answer).items() if value not in ("", False)}
    only = names.get(short, short)
    return _value(said[only]) if list(said) == [only] else _inline(said)


def _fields(answer: object) -> dict[str, Value]:
    return {name: getattr(answer, name) for name in answer.__dataclass_fields__}  # type: ignore[attr-defined]


def _table(table: TableAnswer) -> Iterator[str]:
    yield "[[tables]]"
    yield f"fingerprints = [{', '.join(map(_value, table.fingerprints))}]"
    fields = _fields(table)
    for key in ("sheet", "kind", "header", "parameter", "unit", "replace"):
        value = fields[key]
        if value is not None and value not in ("", False):
            yield f"{key} = {_value(value)}"
    if table.columns:
        yield "columns = ["
        yield from (f"  {_inline(_column(column))}," for column in table.columns)
        yield "]"


def _column(column: ColumnAnswer) -> dict[str, Value]:
    said = {key: value for key, value in _fields(column).items() if value not in ("", False)}
    if column.nth == 1:
        del said["nth"]
    return said


def _inline(values: Mapping[str, Value]) -> str:
    return "{ " + ", ".join(f"{key} = {_value(value)}" for key, value in values.items()) + " }"


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(int(value)) if value == int(value) else repr(float(value))
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(text: str) -> str:
    bare = text.isascii() and text.replace("_", "").replace("-", "").isalnum()
    return text if bare else _value(text)


def _comment(line: str) -> str:
    """Return *line* without the control characters that a comment may not hold."""
    return "".join(c if c.isprintable() or c == "\t" else " " for c in line)
