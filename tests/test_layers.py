"""The imports of the package go down the layers of DEVELOPERS.md, never up and never in a circle."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "wqcheck"

LAYERS = {
    0: {"errors", "findings", "shipped_files"},
    1: {"languages", "parameters", "near_names", "numerals", "results", "units", "tables", "plant_files", "quantities"},
    2: {"sheets", "sheet_layouts", "limit_tables"},
    3: {"plant_settings", "questions", "judging", "limit_comparison", "quality", "statistics", "train", "plant"},
    4: {"release", "certificate", "explanation"},
    5: {"certificate_files", "signatures", "verification", "train_files", "history_files", "forms", "batch", "records"},
    6: {"cli", "commands", "page"},
}

OUTSIDE = {
    "pint": {"units"},
    "pandera": {"tables", "page"} | LAYERS[2] | LAYERS[3] | LAYERS[4] | LAYERS[5],
    "python_calamine": {"sheets"},
    "xlrd": {"sheets"},
    "openpyxl": {"sheets", "limit_tables", "forms", "certificate_files", "train_files", "history_files"},
    "typst": {"certificate_files"},
    "sqlalchemy": {"records"},
    "alembic": {"records"},
    "typer": {"cli", "commands"},
    "segno": {"certificate_files"},
    "babel": {"languages"},
    "pypdf": {"verification"},
    "pyhanko": {"signatures"},
    "cryptography": {"signatures"},
    "streamlit": {"commands", "page"},
    "altair": {"page"},
}
"""Outside libraries that only some modules may import."""


def parts() -> Iterator[tuple[str, str, set[str]]]:
    """Yield the dotted name of each module, the part of the package it belongs to, and what it imports."""
    for path in sorted(PACKAGE.rglob("*.py")):
        if "shipped" in path.parts:
            continue
        dotted = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")
        part = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        yield dotted, part, set(imports(ast.parse(path.read_text(encoding="utf-8"))))


def imports(tree: ast.Module) -> Iterator[str]:
    """Yield the dotted names that a module imports, inside functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def layer_of(part: str) -> int:
    """Return the layer of a part of the package."""
    return next(layer for layer, names in LAYERS.items() if part in names)


def test_every_module_stands_in_one_layer() -> None:
    found = {part for _, part, _ in parts()} - {"__init__"}
    assert found == set().union(*LAYERS.values())
    assert sum(map(len, LAYERS.values())) == len(set().union(*LAYERS.values()))


@pytest.mark.parametrize(
    ("dotted", "part", "imported"), list(parts()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_imports_never_go_up(dotted: str, part: str, imported: set[str]) -> None:
    if part == "__init__":
        assert not imported & {"pandas", "streamlit"}, "the package's own module stays light"
        return
    own = {name.split(".")[1] for name in imported if name.startswith("wqcheck.")} - {part}
    above = {name for name in own if layer_of(name) > layer_of(part)}
    assert not above, f"{dotted} (layer {layer_of(part)}) imports upwards: {above}"
    outside = {name.split(".")[0] for name in imported}
    strange = {name for name in outside & set(OUTSIDE) if part not in OUTSIDE[name]}
    assert not strange, f"{dotted} may not import {strange}"


def test_no_module_imports_itself_through_others() -> None:
    modules = {dotted: imported for dotted, _, imported in parts()}
    graph = {
        name: {other for other in imported if other in modules and other != name} for name, imported in modules.items()
    }
    assert list(TopologicalSorter(graph).static_order())


def test_names_that_say_nothing_are_not_used() -> None:
    names = {dotted.rsplit(".", 1)[-1] for dotted, _, _ in parts()}
    assert not names & {"utils", "util", "helpers", "helper", "core", "common", "misc"}


def test_each_module_says_what_it_turns_into_what() -> None:
    for path in PACKAGE.rglob("*.py"):
        said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        assert said, path
        if path.name != "__init__.py":
            assert said.startswith("Turns "), path
