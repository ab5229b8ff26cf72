"""Turns the headings of a data base (``resultObservedValue``, ``numeriekewaarde``) into the one of the results.

Only where no heading is that of results by itself: what is found here would else be a crosstab without samples.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from wqcheck.parameters import normalise
from wqcheck.sheets.content import Profile
from wqcheck.sheets.table import IDENTITY, Column

_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_RESULT_PART = re.compile(
    r"(results?|resultat\w*|resultado\w*|risultat\w*|ergebnis\w*|values?|valeurs?|valor\w*|valore|\w*waarde|\w*wert|conc\w*"
    r"|konz\w*|measure|measured|measurement|mesure|medida|wynik\w*|wartosc|hodnota|vysledek|sonuc\w*|deger\w*|varde)"
)
_OTHER_PART = re.compile(
    r"(codes?|units?|unite|unidad\w*|einheit|eenheid|types?|ids?|identifier|names?|status|qualifiers?|flags?|quality|method\w*"
    r"|limits?|limite\w*|loq|lod|mdl|rl|lq|ld|max\w*|min\w*|standard\w*|norm\w*|reference|uncertain\w*|sd|std|stdev|error"
    r"|depth|dates?|times?|year|comments?|remarks?|count|number|basis|grens\w*|grenz\w*|category|class|index|score)"
)


def result_by_parts_of_name(columns: Mapping[int, Column], profiles: list[Profile], analytes: int) -> list[int]:
    """Return the column of results of a long table whose heading has a word for a result among others, or none.

    Such a table says in its rows where or when a sample was taken; without that it is a crosstab.
    """
    if not any(column.role in {*IDENTITY, "sampled_at"} and profiles[c].filled for c, column in columns.items()):
        return []
    found = [
        c for c, column in columns.items()
        if c != analytes and column.role in {"", "other"} and profiles[c].result_like >= 0.4
        and _says_result(column.heading)
    ]  # fmt: skip
    return [max(found, key=lambda c: (profiles[c].filled, -c))] if found else []


def _says_result(heading: str) -> bool:
    parts = normalise(_CAMEL.sub(" ", heading)).split()
    return any(map(_RESULT_PART.fullmatch, parts)) and not any(map(_OTHER_PART.fullmatch, parts))
