"""Turns judged results and findings into a recommendation for a batch, release, hold or reject, with every reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from pandera.typing import DataFrame

from wqcheck.errors import PlantFileError
from wqcheck.findings import Finding
from wqcheck.judging.rules import RuleStatement
from wqcheck.release.reasons import (
    NO_RESULT,
    Disposition,
    Reason,
    finding_reasons,
    found_reasons,
    gaps,
    nothing_against,
    other_reasons,
    panel_reasons,
    row_reasons,
    weight_reasons,
    worst,
)
from wqcheck.release.rules import ReleaseRules, load_release_rules
from wqcheck.tables import Judged, Ledger, Product, Readings, Stages

__all__ = [
    "CAUTION",
    "BatchCheck",
    "BatchDetails",
    "Disposition",
    "FileStamp",
    "Reason",
    "ReleaseDecision",
    "ReleaseRules",
    "batch_details",
    "decide_release",
    "load_release_rules",
]

CAUTION = (
    "Only the results listed were compared, and only with the limits listed; nothing is said about what was not "
    "tested. What the local regulator and the plant's licence require prevails over these tables, and an authorised "
    "person, not the tool, decides what becomes of the batch."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseDecision:
    """What is recommended for a batch, and why.

    ``required`` are the codes that the rules name for this kind of water, ``missing`` those required entries (the first
    code of each) that have no result at all, ``not_tested`` the codes that have a binding limit but no result.
    """

    batch: str
    disposition: Disposition
    reasons: tuple[Reason, ...]
    required: tuple[str, ...]
    missing: tuple[str, ...]
    not_tested: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchDetails:
    """What the certificate says about the batch; ``product`` is a word of :class:`~wqcheck.tables.Product`."""

    batch: str
    product: str
    product_name: str = ""
    plant: str = ""
    address: str = ""
    line: str = ""
    tank: str = ""
    run_start: str = ""
    run_end: str = ""
    volume: str = ""
    containers: str = ""
    container_codes: str = ""
    best_before: str = ""
    laboratory: str = ""
    sampled_by: str = ""
    remarks: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileStamp:
    """One file that the check used.

    ``kind`` is ``workbook``, ``limit table``, ``train``, ``release rules``, ``judging rules`` or ``permitted
    uncertainties``.
    """

    name: str
    sha256: str
    kind: str
    title: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class BatchCheck:
    """Everything that one check of a batch has found; two checks are never compared, for they hold tables.

    ``readings`` are all results read, ``judged`` those of the batch's finished water, and ``ledger`` every other
    non-empty cell of the workbooks. ``decision_rules`` says by which rule each limit table was judged.
    """

    details: BatchDetails
    readings: DataFrame[Readings]
    ledger: DataFrame[Ledger]
    findings: tuple[Finding, ...]
    judged: DataFrame[Judged]
    stages: DataFrame[Stages]
    decision: ReleaseDecision
    files: tuple[FileStamp, ...]
    decision_rules: tuple[RuleStatement, ...] = ()


def batch_details(data: Mapping[str, object]) -> BatchDetails:
    """Return *data* as batch details, every value as text.

    Raises
    ------
    PlantFileError
        The text lists all keys that are not known, and what is missing or is no kind of water.
    """
    known = [field.name for field in fields(BatchDetails)]
    text = {key: "" if value is None else str(value).strip() for key, value in data.items()}
    problems = [
        f"the key {key!r} is not known; use one of {', '.join(known)}" for key in sorted(set(text) - set(known))
    ]
    if not text.get("batch"):
        problems.append("batch is missing; give the batch number")
    if text.get("product") not in list(Product):
        problems.append(f"product must be one of {', '.join(Product)} (given: {text.get('product', '')!r})")
    if problems:
        raise PlantFileError("batch details:\n" + "\n".join(f"  {problem}" for problem in problems))
    return BatchDetails(**text)


def decide_release(
    batch: str,
    judged: DataFrame[Judged],
    findings: Sequence[Finding],
    rules: ReleaseRules,
    *,
    product: str,
    not_tested: Sequence[str] = (),
) -> ReleaseDecision:
    """Recommend release, hold or reject for a batch.

    Parameters
    ----------
    batch : str
        Batch number. Rows that state another batch answer for no required parameter, but their failures count.
    judged : DataFrame[Judged]
        Results of the finished water, each against each limit that binds it.
    findings : Sequence[Finding]
        What is odd about the data; each ``HOLD`` finding holds.
    rules : ReleaseRules
        The plant's rules.
    product : str
        Kind of water, a :class:`~wqcheck.tables.Product` word.
    not_tested : Sequence[str]
        Codes that have a limit for this kind of water but no result.

    Returns
    -------
    ReleaseDecision
        The worst disposition of all reasons; ``release`` only if every required parameter has a result that could be
        compared and nothing holds or rejects. A further failing row never improves it.
    """
    entries = rules.required.get(product, ())
    required = tuple(dict.fromkeys(code for entry in entries for code in entry))
    found = gaps(judged, batch, entries, rules.reported_only)
    reasons = [
        *panel_reasons(found, product, known=bool(entries), empty=judged.empty),
        *row_reasons(judged, required, rules),
        *found_reasons(judged, rules),
        *finding_reasons(findings),
        *weight_reasons(findings),
        *other_reasons(judged, batch, rules, not_tested),
    ]
    disposition = worst(reasons)
    if disposition == Disposition.RELEASE:
        reasons.insert(0, nothing_against(judged))
    return ReleaseDecision(
        batch=batch,
        disposition=disposition,
        reasons=tuple(sorted(reasons, key=Reason.weight)),
        required=required,
        missing=tuple(entry[0] for entry, gap in found.items() if gap == NO_RESULT),
        not_tested=tuple(not_tested),
    )
