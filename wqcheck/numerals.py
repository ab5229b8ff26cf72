"""Turns the digits of a sheet, whatever their decimal and thousands marks, into a number where only one is meant."""

from __future__ import annotations

import math
import re

UNREADABLE = "cannot be read as a result; ask the laboratory and correct the cell"
AWAITED = "is still awaited; give the sheet again when the laboratory has reported it"
FORMULA = "is a formula without its value; open the file in a spreadsheet program, save it and give that"
AMBIGUOUS_COMMA = "can be read with a decimal comma or a thousands comma; say which in the sheet or its layout"
AMBIGUOUS_POINT = (
    "can be read with a decimal point or a thousands point beside numbers with decimal commas; say which in the sheet "
    "or its layout"
)
IN_DOUBT = "?"
"""Behind a decimal mark: a point before three digits may as well part thousands, and is not read."""

_BETWEEN_THOUSANDS = re.compile(r"(?<=\d)['’\s](?=\d{3}(?!\d))")


def format_number(value: float) -> str:
    """Return the shortest text of a finite *value* that reads back the same, whole numbers without a point."""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def to_number(text: str, decimal: str, power: str = "") -> tuple[float | None, str]:
    """Return the number that *text* writes, or None with the reason; no form is read that could mean two numbers.

    Parameters
    ----------
    text : str
        Sign, digits and marks, nothing else.
    decimal : {"", ".", ",", "?", ",?"}
        Decimal mark where it is known, with :data:`IN_DOUBT` behind it where ``1.234`` may mean two numbers.
    power : str
        Exponent of ten, blank for none.
    """
    digits = _BETWEEN_THOUSANDS.sub("", text.strip())
    points, commas = digits.count("."), digits.count(",")
    doubt, decimal = decimal.endswith(IN_DOUBT), decimal.removesuffix(IN_DOUBT)
    if doubt and points == 1 and not commas and _could_be_thousands(digits, "."):
        return None, AMBIGUOUS_POINT
    if points and commas:
        decimal = "." if digits.rindex(".") > digits.rindex(",") else ","
    elif commas and not decimal:
        decimal = "," if commas == 1 and not _could_be_thousands(digits, ",") else ("." if commas > 1 else "?")
    elif not decimal or (points == 1 and decimal == "," and not _could_be_thousands(digits, ".")):
        decimal = "." if points < 2 else ","
    if decimal == "?":
        return None, AMBIGUOUS_COMMA
    group = "," if decimal == "." else "."
    whole, _, fraction = digits.partition(decimal)
    if group in fraction or (group in whole and not _is_grouped(whole.lstrip("+-").split(group))):
        return None, UNREADABLE
    try:
        value = float(digits.replace(group, "").replace(decimal, ".") + (f"e{power}" if power else ""))
    except ValueError:
        return None, UNREADABLE
    lost = not math.isfinite(value) or (value == 0 and any(digit in digits for digit in "123456789"))
    return (None, UNREADABLE) if lost else (value, "")


def _is_grouped(groups: list[str]) -> bool:
    """Return whether digits are grouped by thousands, or from the second group on by hundreds (``12,34,567``)."""
    first, *middle, last = groups
    sizes = {len(group) for group in middle}
    return 1 <= len(first) <= 3 and len(last) == 3 and (sizes <= {3} or (sizes == {2} and len(first) < 3))


def _could_be_thousands(digits: str, mark: str) -> bool:
    head, _, tail = digits.lstrip("+-").partition(mark)
    return len(tail) == 3 and 1 <= len(head) <= 3 and head.strip("0") != ""
