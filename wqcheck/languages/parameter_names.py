"""Turns the code of a parameter into its name in another language, where the table of names has one."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources

FILE = "parameter_names.csv"
"""One row per code: the names in the languages that its headings say. From memory, checked against ``aliases.csv``."""


def named_in(language: str, code: str) -> str:
    """Return the name of a parameter in a language (ISO 639-1), blank where none is known."""
    return _names(language).get(code, "")


def codes_named(language: str, text: str) -> frozenset[str]:
    """Return the codes of the parameters whose name in a language contains *text*, capital letters or small."""
    wanted = " ".join(text.casefold().replace("'", "’").split())
    return frozenset(code for code, name in _names(language).items() if wanted and wanted in name.casefold())


@cache
def _names(language: str) -> Mapping[str, str]:
    with resources.files("wqcheck.languages").joinpath(FILE).open(encoding="utf-8") as file:
        return {row["code"]: row.get(language) or "" for row in csv.DictReader(file)}
