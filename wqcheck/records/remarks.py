"""Turns what a person says of one flag of a batch into a remark, and the remarks of a batch into those on that flag."""

from __future__ import annotations

import pandas as pd

from wqcheck.errors import RecordRefusedError
from wqcheck.explanation import NothingToExplainError, rows_at
from wqcheck.records.batches import batch as recorded
from wqcheck.records.parts import remark
from wqcheck.records.roles import Act
from wqcheck.records.store import Store
from wqcheck.release.flags import place_text
from wqcheck.tables import Judged


def about_flag(where: str, subject: str) -> str:
    """Return what a remark is about: ``workbook|sheet!cell (parameter or code of the finding)``, as far as known."""
    return f"{where} ({subject})" if where and subject else where or subject


def remarks_about(remarks: pd.DataFrame, about: str) -> pd.DataFrame:
    """Return the remarks of a batch (``BatchRecord.remarks``) that are about one flag, oldest first."""
    return remarks[remarks["about"].eq(about)].reset_index(drop=True)


def remark_at(store: Store, batch: str, act: Act, text: str, *, cell: str = "", parameter: str = "") -> str:
    """Record a remark on a result of a batch, found by its cell or parameter, or on the whole batch; return its object.

    Parameters
    ----------
    store : Store
    batch : str
        Batch number; case does not matter.
    act : Act
        Who remarks, and when.
    text : str
        The remark.
    cell, parameter : str
        As for :func:`wqcheck.explanation.rows_at`; both blank: the remark is on the batch.

    Raises
    ------
    RecordRefusedError
        The person may not, the batch is unknown, the remark is blank, or the latest check has no such result.
    """
    about = _found(store, batch, cell, parameter) if cell or parameter else ""
    remark(store, batch, act, text, about=about)
    return about


def _found(store: Store, batch: str, cell: str, parameter: str) -> str:
    """Return what a remark on one result is about; several results are refused, with what they are."""
    judged = recorded(store, batch).check.judged
    try:
        rows = rows_at(judged, cell=cell, parameter=parameter)
    except NothingToExplainError as error:
        raise RecordRefusedError(str(error)) from error
    named = rows[Judged.parameter].fillna(rows[Judged.parameter_text]).fillna("").astype("str")
    places = zip(place_text(rows), named, strict=True)
    found = list(dict.fromkeys(about_flag(where, subject) for where, subject in places))
    if len(found) > 1:
        raise RecordRefusedError(f"{len(found)} results fit ({'; '.join(found[:5])}); give cell and parameter")
    return found[0]
