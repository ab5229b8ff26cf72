"""Turns the rows of a limit table into words: what each asks for, of which water and when."""

from __future__ import annotations

import pandas as pd

from wqcheck.limit_comparison.demands import demands


def rows_in_words(rows: pd.DataFrame) -> pd.DataFrame:
    """Return ``line``, ``parameter``, ``limit``, ``waters``, ``class``, ``mark``, ``holds`` and ``clause`` of *rows*.

    Parameters
    ----------
    rows : DataFrame
        Rows of :class:`wqcheck.tables.Limits`; the result keeps their index. A range asks for two things.
    """
    asked: dict[int, list[str]] = {}
    for demand in demands(rows.assign(table="")):
        asked.setdefault(int(demand.row["line"]), []).append(demand.words)
    begins, ends = (
        (f" {word} " + rows[name].dt.strftime("%Y-%m-%d")).fillna("")
        for word, name in (("from", "valid_from"), ("until", "valid_to"))
    )
    return pd.DataFrame(
        {
            "line": rows["line"],
            "parameter": rows["parameter"],
            "limit": [" and ".join(asked[int(line)]) for line in rows["line"]],
            "waters": rows["product"].str.replace(r";\s*", ", ", regex=True),
            "class": rows["class"],
            "mark": rows["status"].fillna(""),
            "holds": (begins + ends).str.strip(),
            "clause": rows["clause"],
        }
    )
