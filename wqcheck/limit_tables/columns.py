"""Turns the name of a limit table's column into what must stand in it: in words, and as the lists that checks read.

This is the one place that says what stands in a limits file; ``schema`` refuses whatever breaks it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from wqcheck.tables import LimitClass, Product, Rule

COLUMNS = (
    *("parameter", "rule", "lower", "upper", "unit", "basis", "volume_ml", "members", "weights", "product"),
    *("class", "status", "valid_from", "valid_to", "source", "clause", "evidence", "note"),
)
"""The header of every limit table, in this order."""

NUMBER_COLUMNS = ("lower", "upper", "volume_ml")
DATE_COLUMNS = ("valid_from", "valid_to")
ANY_PRODUCT = "any"
EVIDENCE = ("primary text", "secondary text", "memory")
OVERRIDES = "overrides"
"""How a status begins that takes the place of other tables' rows."""

LONGEST_CELL = 32_767
"""Characters that one workbook cell can hold (ECMA-376 and the spreadsheet programs' own limit)."""

NEEDED: Mapping[str, tuple[str, ...]] = {
    Rule.MAX: ("upper", "unit"),
    Rule.MIN: ("lower", "unit"),
    Rule.RANGE: ("lower", "upper", "unit"),
    Rule.ABSENT: ("unit", "volume_ml"),
    Rule.SUM_MAX: ("upper", "unit", "members"),
    Rule.RATIO_SUM_MAX: ("upper", "unit", "members", "weights"),
    Rule.PERCENTILE_MAX: ("upper", "unit"),
    Rule.MEAN_MAX: ("upper", "unit"),
    Rule.ATTRIBUTE_PLAN: ("unit",),
    Rule.GUIDANCE: ("note",),
}
"""Rule → the cells that a row with it must fill, beside those of :data:`ALWAYS`."""

ALWAYS = ("source", "clause", "evidence")

UNUSED: Mapping[str, tuple[str, ...]] = {
    Rule.MAX: ("lower", "members", "weights"),
    Rule.MIN: ("upper", "members", "weights"),
    Rule.RANGE: ("members", "weights"),
    Rule.ABSENT: ("lower", "members", "weights"),
    Rule.SUM_MAX: ("lower",),
    Rule.RATIO_SUM_MAX: ("lower",),
    Rule.PERCENTILE_MAX: ("members", "weights"),
    Rule.MEAN_MAX: ("members", "weights"),
    Rule.ATTRIBUTE_PLAN: ("members", "weights"),
    Rule.GUIDANCE: ("lower", "upper", "volume_ml", "members", "weights"),
}
"""Rule → the cells that a row with it leaves blank."""

EXPLAINED: Mapping[str, str] = {
    "parameter": "The code of the parameter as in parameters.csv, such as lead or escherichia_coli. No two rows of the "
    "same parameter, rule, class, basis, volume and members may hold for the same water on the same day.",
    "rule": f"How a result is compared: {', '.join(Rule)}.",
    "lower": "The least allowed, in the unit. A number with a decimal point and no unit, not above upper. "
    "For the rules min and range; blank otherwise.",
    "upper": "The most allowed, in the unit. A number with a decimal point and no unit. For every rule but min, absent "
    "and guidance; above 0 for a sum.",
    "unit": "A unit of units.csv as it is written there, into which results of this parameter can be turned. For every "
    "rule but guidance; absent takes CFU, MPN or count.",
    "basis": "What the mass is expressed as: NO3 or N for nitrate, 20 °C for conductivity; needed where several are "
    "in use. Blank for a substance as itself. In a sum one for all, or a ; list beside members.",
    "volume_ml": "For counts the volume that the count refers to, in mL and above 0. Blank otherwise.",
    "members": "For sum_max and ratio_sum_max a ; list of the codes that are added up, each once; among several the "
    "row's own code is none of them. Blank otherwise.",
    "weights": "Beside members, one number above 0 for each: the factor in a sum (blank: 1), the single limit in a "
    "ratio.",
    "product": f"The waters that the row binds: {ANY_PRODUCT}, or a ; list of {', '.join(Product)}. Exact: a rule for "
    "all bottles names all four.",
    "class": f"What the limit guards: {', '.join(LimitClass)}.",
    "status": f"A mark of the issuer, such as provisional. In a table of your own, {OVERRIDES} and the names of tables "
    f"({OVERRIDES} who_gdwq_2022; eu_2020_2184) puts the row in the place of theirs.",
    "valid_from": "First day on which the row holds, as 2026-01-12; blank for no bound.",
    "valid_to": "Last day on which the row holds, as 2026-01-12, not before valid_from; blank for no bound.",
    "source": "The text with its edition. Every row needs it, the certificate prints it.",
    "clause": "The place in the text: table, annex, paragraph. Every row needs it.",
    "evidence": "How far the row was checked: primary text: where read, secondary text: where read, or memory. "
    "A row that does not begin with primary text is shown as not verified.",
    "note": "In your own words: conditions, exceptions, other values in circulation. The rule guidance needs it.",
}
"""What to write in each column; the header comments of a workbook copy and ``wqcheck limits columns`` print it."""

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)


def is_number(text: str) -> bool:
    """Tell whether *text* is a plain finite number with a decimal point; ``nan``, ``1_0`` and commas are not."""
    return _NUMBER.fullmatch(text) is not None and math.isfinite(float(text))


def split_list(text: str) -> list[str]:
    """Return the elements of a ``;`` list, stripped; a blank text has none."""
    return [part.strip() for part in text.split(";")] if text.strip() else []
