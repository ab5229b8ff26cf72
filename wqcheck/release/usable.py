"""Turns judged results into which of them say anything: a known quantity, and for organisms enough water examined."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import UnknownParameterError
from wqcheck.parameters import find_parameter
from wqcheck.tables import Judged, Sign
from wqcheck.units import COUNT_UNITS, conversion

_SAYS_SOMETHING = (Sign.EQUAL, Sign.LESS, Sign.ABSENT, Sign.PRESENT)


def measured(judged: DataFrame[Judged]) -> pd.Series[bool]:
    """Return which results measure their parameter, with or without a limit: readable and in a unit of its kind.

    A result above a figure (``pH >2``), one without a unit and one in a unit into which the parameter's own cannot be
    turned (``pH 6 mg/L``) do not. Same index.
    """
    columns = [str(Judged.parameter), str(Judged.unit)]
    pairs = judged[columns].astype(object)
    known = {pair: _of_its_kind(*pair) for pair in set(pairs.itertuples(index=False, name=None))}
    kind = np.array([known[pair] for pair in pairs.itertuples(index=False, name=None)], dtype=bool)
    return judged[Judged.sign].isin(_SAYS_SOMETHING) & kind


def _of_its_kind(code: object, unit: object) -> bool:
    if not isinstance(code, str) or not isinstance(unit, str):
        return False
    try:
        entry = find_parameter(code)
    except UnknownParameterError:
        return False
    if unit in COUNT_UNITS and entry.unit in COUNT_UNITS:
        return True
    return not math.isnan(conversion(code, unit, entry.basis, entry.unit, entry.basis).low)


def not_found(judged: DataFrame[Judged], volume_ml: float) -> pd.Series[bool]:
    """Return which results show that an organism is not there: absent, 0 or below 1 in at least *volume_ml*.

    A result that does not say how much water was examined, or not as a count, does not show it. Same index.
    """
    sign, value = judged[Judged.sign], judged[Judged.value]
    none = sign.eq(Sign.ABSENT) | (sign.eq(Sign.EQUAL) & value.eq(0)) | (sign.eq(Sign.LESS) & value.le(1))
    return none & judged[Judged.unit].isin(COUNT_UNITS) & judged[Judged.volume_ml].ge(volume_ml)
