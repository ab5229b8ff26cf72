"""Turns workbooks, limit tables, a train and release rules into one checked batch; every caller goes through here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.binding import all_rows, bound_rows
from wqcheck.judging.fitness import blind_passes, reporting_limit_findings
from wqcheck.judging.judge import judge
from wqcheck.judging.rules import JudgingRules, shipped_judging_rules
from wqcheck.judging.uncertainty import SHEET, UNCERTAINTY_FILE, uncertainty_digest
from wqcheck.limit_comparison.overrides import apply_overrides
from wqcheck.limit_tables.acts import load_acts, remark_on
from wqcheck.limit_tables.loading import LimitTable, covers, load_limits, product_word
from wqcheck.limit_tables.sampling_plans import load_plans, plan_name
from wqcheck.near_names import did_you_mean
from wqcheck.parameters import catalogue
from wqcheck.quality.checks import check_quality
from wqcheck.quality.controls_apart import control_notes, is_control
from wqcheck.release.batch_names import of_batch, other_batches, other_titles
from wqcheck.release.decision import BatchCheck, BatchDetails, FileStamp, decide_release, load_release_rules
from wqcheck.release.due import due, overdue_findings
from wqcheck.release.finding_weights import weighed
from wqcheck.release.rules import ReleaseRules
from wqcheck.release.said_doubts import doubts
from wqcheck.release.sample_days import Run, day_findings, force_findings, unread_days
from wqcheck.release.usual_bands import judged_by_bands
from wqcheck.release.water_kinds import other_water
from wqcheck.sheet_layouts.saving import digest_of
from wqcheck.sheets import READING_LIMITS, ReadingLimits, ReadResult, read_books
from wqcheck.sheets.layouts import Layouts
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Judged, Ledger, Limits, Product, Readings
from wqcheck.train.description import Train, assign_stages, at_product_point, load_train, place_of
from wqcheck.train.removal import no_stages, removal_by_stage

Source = Path | tuple[str, bytes] | ReadResult
"""A workbook: its file, name and bytes, or what was read of it already."""

SHIPPED_RULES = "release_rules.toml"

_FROM_LABELS = {
    "plant": "plant", "address": "address", "product": "product_name", "line": "line", "tank": "tank",
    "containers": "containers", "container_codes": "container_codes", "run_start": "run_start", "run_end": "run_end",
    "volume": "volume", "best_before": "best_before", "sampled_by": "sampled_by", "lab": "laboratory",
}  # fmt: skip
"""Label of a sheet → field of the batch details that it fills when the caller left it blank."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Taken:
    """What the workbooks of one check gave together."""

    books: tuple[ReadResult, ...]
    readings: DataFrame[Readings]
    findings: tuple[Finding, ...]

    def ledger(self) -> DataFrame[Ledger]:
        """Return every non-empty cell of all workbooks that is not a result."""
        return Ledger.validate(pd.concat([book.ledger() for book in self.books], ignore_index=True))


def take_in(
    sources: Sequence[Source], layouts: Layouts = None, reading_limits: ReadingLimits = READING_LIMITS
) -> Taken:
    """Read the workbooks, in the order given, and those of zipped folders, each with the sheet layout that matches it.

    *reading_limits* are the most that one file may ask for.

    Raises
    ------
    wqcheck.errors.WorkbookError
        One of them cannot be read at all.
    wqcheck.errors.SheetLayoutError
        A file in the folder of layouts is not usable.
    """
    books = tuple(
        book
        for source in sources
        for book in ((source,) if isinstance(source, ReadResult) else read_books(source, layouts, reading_limits))
    )
    readings = pd.concat([book.readings for book in books], ignore_index=True)
    findings = tuple(finding for book in books for finding in book.findings)
    return Taken(books=books, readings=Readings.validate(readings), findings=findings)


def check_workbook(
    sources: Sequence[Source],
    *,
    details: BatchDetails,
    limits: Sequence[str | Path],
    train: Path | None,
    rules: Path | None,
    on: date,
    product: str,
    layouts: Layouts = None,
    judging: JudgingRules | None = None,
) -> BatchCheck:
    """Return everything there is to know about one batch: readings, verdicts, stages, decision and the files used.

    Parameters
    ----------
    sources : sequence of Path, (name, bytes) or ReadResult
        The laboratory's workbooks; one that was read already is not read again.
    details : BatchDetails
        What the caller knows of the batch; what is blank, even the batch number, is filled from the sheets' labels.
    limits : sequence of str or Path
        Shipped names, CSV or XLSX files; each is judged on its own, but a row of yours may override others.
    train : Path or None
        Train file. With it only results at a product point, or at no known point, count as finished water; without
        it all of them do.
    rules : Path or None
        Release-rules file, the shipped one by default.
    on : date
        Day of the check, taken as the sampling day of undated results.
    product : str
        Kind of water, a :class:`~wqcheck.tables.Product` word.
    layouts : Path, SheetLayout, sequence of SheetLayout or None
        Sheet layouts, see :func:`~wqcheck.sheets.read_workbook`; the one that was applied stands among the files used.
    judging : JudgingRules, optional
        How results are set beside the limits of each table; the shipped rules by default.

    Raises
    ------
    wqcheck.errors.WqcheckError
        A file is not usable; the text says which, where and how to mend it.
    """
    kind = product_word(product)
    tables = [load_limits(name) for name in limits]
    release_rules = load_release_rules(rules or shipped_folder("limits") / SHIPPED_RULES)
    judging = judging or shipped_judging_rules()
    plant = load_train(train) if train else None
    taken = take_in(sources, layouts)
    details, ledger = _filled(details, taken), taken.ledger()
    readings, places = assign_stages(taken.readings, plant) if plant else (taken.readings, ())
    same = of_batch(readings, details.batch)
    here = at_product_point(readings, plant) if plant else pd.Series(True, index=readings.index)
    water = pd.Series(is_control(readings) == np.False_, index=readings.index)
    decides = here & same & water
    finished = Readings.validate(readings[decides].reset_index(drop=True))
    in_force, overrides = apply_overrides(tables, product=kind)
    judged = judge(finished, in_force, product=kind, on=on, rules=judging)
    stamp = (release_rules.title, release_rules.path, release_rules.digest)
    judged, by_bands = judged_by_bands(judged, release_rules.usual, kind, on, stamp)
    found = (
        *taken.findings,
        *overrides,
        *places,
        *other_batches(readings[here], details.batch),
        *other_titles(readings[decides], details.batch),
        *_uncovered(tables, kind),
        *_not_binding(tables, kind, on),
        *control_notes(Readings.validate(readings[here & same])),
        *reporting_limit_findings(judged, judging),
        *day_findings(finished, Run(batch=details.batch, start=details.run_start, on=on), release_rules, kind),
        *force_findings(finished, in_force, kind, on),
        *other_water(readings[decides], ledger, kind, plant),
        *doubts(readings[decides], ledger),
        *unread_days(finished, taken.findings),
        *blind_passes(judged),
    )
    panels = due(Readings.validate(readings), in_force, product=kind, on=on, train=plant)
    told = (*found, *_unrecognised(finished), *overdue_findings(panels, release_rules))
    findings = weighed((*told, *check_quality(readings, same, decides)), release_rules.findings)
    decision = decide_release(
        details.batch, judged, findings, release_rules, product=kind, not_tested=not_tested(in_force, judged, kind, on)
    )
    return BatchCheck(
        details=details,
        readings=readings,
        ledger=ledger,
        findings=findings,
        judged=judged,
        stages=removal_by_stage(Readings.validate(readings[water]), plant) if plant else no_stages(),
        decision=decision,
        files=(*_stamps(taken.books, tables, plant, release_rules), *_judging_stamps(judging, tables)),
        decision_rules=(*judging.statements([table.name for table in tables]), *by_bands),
    )


def _uncovered(tables: Iterable[LimitTable], product: str) -> list[Finding]:
    """Return a finding for each limit table that has no row for this kind of water."""
    return [
        Finding(
            code="table without rows", severity=Severity.HOLD, where=table.path.name,
            message=f"{table.title} has no limit for {product} water; choose the kind of water or table that binds it",
        )
        for table in tables if not covers(table, product)
    ]  # fmt: skip


def _not_binding(tables: Iterable[LimitTable], product: Product, on: date) -> list[Finding]:
    """Return a note for each shipped table whose act binds another kind of water or no longer holds on that day."""
    acts = load_acts()
    remarks = [(table, remark_on(table.name, product, on, acts)) for table in tables]
    return [
        Finding(code="act does not bind", severity=Severity.NOTE, where=table.path.name, message=remark)
        for table, remark in remarks
        if remark
    ]


def _unrecognised(finished: DataFrame[Readings]) -> list[Finding]:
    """Return a finding for each analyte name at the product that no parameter is known by."""
    strange = finished[finished[Readings.parameter].isna()]
    return [
        Finding(
            code="unknown parameter", severity=Severity.HOLD, where=place_of(rows.iloc[0]), given=str(name),
            message=f"{len(rows)} result(s) name no known parameter, so no limit could be found; "
            f"{did_you_mean(str(name))} Answer it once in a sheet layout, or correct the name in the sheet",
        )
        for name, rows in strange.groupby(strange[Readings.parameter_text].fillna("(no name)"), sort=False)
    ]  # fmt: skip


def not_tested(tables: Sequence[LimitTable], judged: DataFrame[Judged], product: str, on: date) -> list[str]:
    """Return the codes that a table limits for *product* on the day *on* and for which there is no result.

    A sum counts as tested when it was judged, and then so do its members.
    """
    rows = bound_rows(all_rows(tables), product_word(product)).rows
    day = pd.Timestamp(on)
    begun, ended = rows[Limits.valid_from] > day, rows[Limits.valid_to] < day
    wanted = rows.loc[(begun | ended) == False, Limits.parameter].unique()  # noqa: E712 elementwise
    untested = set(wanted) - set(judged[Judged.parameter].dropna())
    return [code for code in catalogue() if code in untested]


def _filled(details: BatchDetails, taken: Taken) -> BatchDetails:
    """Fill blank fields of *details* from the labels of the sheets, first book first."""
    found = {"batch": _stated_batch(taken)}
    for book in taken.books:
        for label, value in book.labels.items():
            if label in _FROM_LABELS:
                found.setdefault(_FROM_LABELS[label], value)
    return replace(details, **{field: value for field, value in found.items() if not getattr(details, field)})


def _stated_batch(taken: Taken) -> str:
    """Return the batch that the sheets state, by a label or as the only one in a batch column; else ``unnamed``."""
    labelled = [book.labels["batch"] for book in taken.books if "batch" in book.labels]
    listed = taken.readings[Readings.batch].dropna().unique()
    return labelled[0] if labelled else (str(listed[0]) if len(listed) == 1 else "unnamed")


def _plan_stamps(tables: Iterable[LimitTable]) -> Iterable[FileStamp]:
    """Yield the plan files that rows of the tables name."""
    naming = [table for table in tables if any(map(plan_name, table.rows[Limits.status]))]
    for folder in dict.fromkeys(table.path.parent for table in naming):
        plans = load_plans(folder)
        yield FileStamp(name=plans.path.name, sha256=plans.digest, kind="sampling plans", title="Sampling plans")


def _stamps(
    books: Iterable[ReadResult], tables: Sequence[LimitTable], plant: Train | None, rules: ReleaseRules
) -> Iterable[FileStamp]:
    yield from (FileStamp(name=book.name, sha256=book.sha256, kind="workbook") for book in books)
    applied = {book.layout.path: book.layout for book in books if book.layout is not None}
    for path, layout in applied.items():
        name = Path(path).name or f"{layout.name}.toml"
        yield FileStamp(name=name, sha256=digest_of(layout), kind="sheet layout", title=layout.name)
    for table in tables:
        yield FileStamp(name=table.path.name, sha256=table.digest, kind="limit table", title=table.title)
    yield from dict.fromkeys(_plan_stamps(tables))
    if plant is not None:
        yield FileStamp(name=Path(plant.path).name, sha256=plant.digest, kind="train", title=plant.name)
    yield FileStamp(name=Path(rules.path).name, sha256=rules.digest, kind="release rules", title=rules.title)


def _judging_stamps(judging: JudgingRules, tables: Iterable[LimitTable]) -> Iterable[FileStamp]:
    """Yield the rules file, and the file of permitted uncertainties where a table used looks there."""
    if judging.path:
        yield FileStamp(name=Path(judging.path).name, sha256=judging.digest, kind="judging rules", title=judging.title)
    if any(set(judging.of(table.name).sources) - {SHEET} for table in tables):
        yield FileStamp(name=UNCERTAINTY_FILE, sha256=uncertainty_digest(), kind="permitted uncertainties")
