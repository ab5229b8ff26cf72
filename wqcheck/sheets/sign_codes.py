"""Turns codes in a column of signs (``10`` below *Code remarque*, ``1`` below *Below LOQ*) into the signs they mean.

A code has a meaning only below the headings for which ``sign_codes.csv`` gives one; any other text is left as it is.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from wqcheck.parameters import normalise

_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


@cache
def _meanings() -> tuple[tuple[re.Pattern[str], Mapping[str, str]], ...]:
    text = files("wqcheck.sheets").joinpath("sign_codes.csv").read_text(encoding="utf-8")
    by_heading: dict[str, dict[str, str]] = {}
    for row in csv.DictReader(text.splitlines()):
        by_heading.setdefault(row["heading"], {})[row["code"]] = row["sign"]
    return tuple((re.compile(rf"\b({heading})\b"), codes) for heading, codes in by_heading.items())


@cache
def coded_sign(text: str, heading: str) -> str:
    """Return the sign that *text* means below *heading*, else *text* as it is."""
    words = normalise(_CAMEL.sub(" ", heading))
    code = normalise(text.removesuffix(".0"))
    return next((codes[code] for named, codes in _meanings() if code in codes and named.search(words)), text)
