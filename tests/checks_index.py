"""Turns the tests that cite a source outside this project into the table ``tests/CHECKS.md``.

A test belongs into it when the first paragraph of its docstring names a published text, data set or reference library:
source, clause and figures stand there, in the words that a reader of the test sees. ``python -m tests.checks_index``
writes the table again; a test holds that it is up to date.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

TESTS = Path(__file__).parent
TABLE = TESTS / "CHECKS.md"

SUBJECTS = {
    "statistics": (
        "censored",
        "conformance",
        "history_statistics",
        "sampling_plans",
        "series",
        "series_judging",
        "series_rules",
    ),
    "consistency of the data": ("quality", "quality_ions", "quality_times"),
    "judging and required tests": ("combined_limits", "due", "flags", "judging"),
    "units and parameters": ("parameters", "units"),
    "plant": ("disinfection", "flow_fit", "membranes", "pretreatment", "removal", "scaling"),
}
"""Subject → the test modules (without ``test_``) that it is checked in."""

SOURCES = re.compile(
    r"\b(?:CFR|FR|Directive|WHO|Food Standards Code|"
    r"ISO|ILAC|JCGM|ASTM|APHA|Standard Methods|EPA|USGS|NIST|CIAAW|IUPAC|CRC|ICMSF|Codex|"
    r"Pharmacopoeia|Department of Health|Bacteriological Analytical Manual|PHREEQC|NADA|AWWA|DIN|Hem|Helsel|Beal|"
    r"Deaver|Weibull|Meeker|Haas|Hyndman|Gilbert|Langelier|Plummer|periodictable|pymannkendall|scipy|numpy)\b"
)
"""What a citation is known by."""


class Check(NamedTuple):
    """One check: its subject, what is checked, how many cases, the citation as the test gives it, and the test."""

    subject: str
    figure: str
    cases: int
    citation: str
    test: str


def checks() -> Iterator[Check]:
    """Yield the checks in the order of the subjects, the modules and their lines."""
    for subject, modules in SUBJECTS.items():
        for module in modules:
            path = TESTS / f"test_{module}.py"
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                citation = _citation(node)
                if isinstance(node, ast.FunctionDef) and citation:
                    words = node.name.removeprefix("test_").replace("_", " ")
                    yield Check(subject, words, _cases(node), citation, f"{path.name}::{node.name}")


def _citation(node: ast.stmt) -> str:
    """Return the first paragraph of a test's docstring when it names a source, else nothing."""
    if not isinstance(node, ast.FunctionDef) or not node.name.startswith("test_"):
        return ""
    paragraph = (ast.get_docstring(node) or "").partition("\n\n")[0]
    return " ".join(paragraph.split()) if SOURCES.search(paragraph) else ""


def _cases(node: ast.FunctionDef) -> int:
    """Return how many cases the test lists for itself; cases that are drawn or built count as one."""
    cases = 1
    for decorator in node.decorator_list:
        called = isinstance(decorator, ast.Call) and ast.unparse(decorator.func) == "pytest.mark.parametrize"
        if called and isinstance(decorator, ast.Call) and isinstance(decorator.args[1], ast.List):
            cases *= max(len(decorator.args[1].elts), 1)
    return cases


def table() -> str:
    """Return the table as Markdown."""
    found = list(checks())
    memory = sum("from memory" in check.citation for check in found)
    cases = sum(check.cases for check in found)
    lines = [
        "# Checks against sources outside this project",
        "",
        "Written by `python -m tests.checks_index` from the docstrings of the tests; do not edit it by hand. A row is",
        "a test that compares a formula, a figure or a rule with a published text, data set or reference library.",
        f"{len(found)} checks, {cases} listed cases; {memory} say that a value of theirs comes from memory.",
    ]
    for subject in SUBJECTS:
        rows = [check for check in found if check.subject == subject]
        lines += [
            "",
            f"## {subject.capitalize()} ({len(rows)})",
            "",
            "| what is checked | source, clause and figures | cases | test |",
        ]
        lines += ["|---|---|---|---|"]
        lines += [f"| {_cell(row.figure)} | {_cell(row.citation)} | {row.cases} | `{row.test}` |" for row in rows]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
