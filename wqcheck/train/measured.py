"""Turns readings at the points of a train into what each says: an interval per unit and volume, with its uncertainty.

``<b`` is 0 to b, ``>a`` is a to infinity, none found in V mL is 0 to 1 per V.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import UnknownParameterError
from wqcheck.parameters import find_parameter
from wqcheck.tables import Readings, Sign
from wqcheck.train.description import Train, match_points
from wqcheck.units import COUNT_UNITS

REMOVABLE_PHYSICAL = frozenset(
    {
        "absorbance_436_nm",
        "colour",
        "dry_residue_105c",
        "dry_residue_180c",
        "dry_residue_260c",
        "electrical_conductivity",
        "particle_count",
        "salinity",
        "settleable_solids",
        "total_dissolved_solids",
        "total_solids",
        "total_suspended_solids",
        "turbidity",
        "uv_absorbance_254_nm",
        "volatile_suspended_solids",
    }
)
"""Physical properties that a stage can lower in proportion; pH, temperature, taste and the like have no removal."""

COVERAGE = 2.0
"""Coverage factor k of the expanded uncertainties, about 95 % (JCGM 100:2008, 6.2 and G.6)."""


def measured(readings: DataFrame[Readings], train: Train, *, every: bool = False) -> pd.DataFrame:
    """Return what each result at a point of the train says; results elsewhere, not done or without a removal are left.

    With ``every`` also those of parameters that have no removal, such as pH or UV transmittance.

    Returns
    -------
    DataFrame
        Same index as the rows kept: ``parameter``, ``fraction``, ``point``, ``run`` (batch), ``sample``, ``at``,
        ``unit``, ``basis``, ``volume`` (mL; 1 for what is no count), ``counted``, ``low``, ``high`` and ``spread``
        (expanded uncertainty, NaN if not known) per that unit and volume, ``note`` and ``cell``.
    """
    place = match_points(readings[Readings.point].fillna(readings[Readings.stage]), train)
    codes = readings[Readings.parameter]
    removable = {code: every or is_removable(code) for code in codes.dropna().unique()}
    usable = place.notna() & codes.map(removable).eq(True) & readings[Readings.sign].ne(Sign.NOT_DONE)
    rows = readings[usable]
    unit = rows[Readings.unit].fillna("")
    worded = rows[Readings.sign].isin([Sign.ABSENT, Sign.PRESENT])
    unit = unit.mask(worded & unit.eq(""), "count")
    count = unit.isin(COUNT_UNITS)
    sheet = rows[Readings.sheet].fillna("")
    table = pd.DataFrame(
        {
            "parameter": rows[Readings.parameter],
            "fraction": rows[Readings.fraction].fillna("total"),
            "point": place[usable],
            "run": rows[Readings.batch].fillna("").str.strip().str.casefold(),
            "sample": rows[Readings.sample].fillna(rows[Readings.cell]),
            "at": rows[Readings.sampled_at],
            "unit": unit,
            "basis": rows[Readings.basis].fillna(""),
            "volume": rows[Readings.volume_ml].where(count, 1.0),
            "counted": count,
            "cell": sheet.where(sheet.eq(""), sheet + "!") + rows[Readings.cell],
        }
    )
    return table.join(_intervals(rows, count))


def is_removable(code: str) -> bool:
    """Return whether a stage can lower a parameter in proportion."""
    try:
        physical = find_parameter(code).kind == "physical"
    except UnknownParameterError:
        return True
    return code in REMOVABLE_PHYSICAL or not physical


def _intervals(rows: pd.DataFrame, count: pd.Series[bool]) -> pd.DataFrame:
    """Return ``low``, ``high``, ``spread`` and ``note`` of each reading, per its own unit and volume.

    A count without a stated uncertainty gets that of the count itself, U = 2√N (Poisson; ISO 8199:2018, from memory),
    which is the least it can have.
    """
    sign, value, limit = rows[Readings.sign], rows[Readings.value], rows[Readings.reporting_limit]
    none = (sign.eq(Sign.EQUAL) & value.eq(0)) | sign.eq(Sign.ABSENT)
    low = value.where(sign.isin([Sign.EQUAL, Sign.GREATER])).mask(none | sign.eq(Sign.LESS), 0.0)
    low = low.mask(sign.eq(Sign.PRESENT) & count, 1.0)
    high = rows[Readings.value_high].fillna(value).where(sign.eq(Sign.EQUAL))
    high = high.mask(sign.eq(Sign.LESS), value.fillna(limit)).mask(sign.isin([Sign.GREATER, Sign.PRESENT]), np.inf)
    high = high.mask(none, limit.fillna(value)).mask(none & count, 1.0)
    counted = COVERAGE * low.clip(lower=0).pow(0.5)
    spread = rows[Readings.uncertainty].fillna(counted.where(count)).where(low.eq(high))
    volume = rows[Readings.volume_ml]
    examined = volume.map("{:g}".format).astype("str") + " mL"
    note = pd.Series("", index=rows.index).mask(low.isna(), "found, but not how much")
    note = note.mask(high.isna(), "nothing detected, but the reporting limit is not stated")
    note = note.mask(none & count, "none found in " + examined + " counts as fewer than 1")
    note = note.mask(sign.eq(Sign.PRESENT) & count, "present in " + examined + " counts as at least 1")
    note = note.mask(count & volume.isna(), "the volume examined is not stated")
    note = note.mask(sign.eq(Sign.UNREADABLE), "a result cannot be read")
    return pd.DataFrame({"low": low, "high": high, "spread": spread, "note": note.astype("str")}, index=rows.index)
