"""Turns a commissioning report into plain data that its JSON, its PDF and its workbook are made from."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

import pandas as pd

from wqcheck import __version__
from wqcheck.parameters import find_parameter
from wqcheck.plant.figures import Figure
from wqcheck.quantities import KINDS, show_quantity
from wqcheck.release.decision import FileStamp
from wqcheck.tables import StageVerdict
from wqcheck.train.commissioning import CAUTIONS, REJECTION, CommissioningReport
from wqcheck.train.diagram import train_svg, worst_notes
from wqcheck.train.removal_words import removal_words
from wqcheck.train.suspects import GRADES, Suspect

SCHEMA = "wqcheck commissioning report 1"


def report_data(
    report: CommissioningReport, *, number: str, issued_at: str, files: Sequence[FileStamp], us_units: bool = False
) -> dict[str, Any]:
    """Return a report as plain data: texts, numbers, ``None``, lists and dictionaries only.

    Parameters
    ----------
    report : CommissioningReport
        As :func:`wqcheck.train.commissioning.commission` gives it.
    number, issued_at : str
        Number of the document, and its ISO date and time.
    files : sequence of FileStamp
        What it was made from.
    us_units : bool
        Whether figures are shown in United States units; ``value`` stays in ``unit``.
    """
    stages = [_stage(row) for row in report.stages.to_dict("records")]
    return {
        "schema": SCHEMA,
        "number": number,
        "issued_at": issued_at,
        "plant": report.train.name,
        "suspects": [_suspect(one, report) for one in report.suspects],
        "summary": _summary(report),
        "stages": stages,
        "feeds": _rows(report.feeds, ["stage", "point", "parameter", "value", "unit", "lower", "upper", "unit_wanted",
                                      "passed", "source", "cell"]),
        "balance": _rows(report.balance, list(report.balance.columns)),
        "figures": {name: [_figure(one, us_units) for one in figures] for name, figures in report.figures.items()},
        "remarks": list(report.remarks),
        "rejection": REJECTION,
        "cautions": list(CAUTIONS),
        "findings": [asdict(finding) for finding in report.findings],
        "sources": _sources(report),
        "files": [asdict(stamp) for stamp in files],
        "software": f"wqcheck {__version__}",
        "diagram": train_svg(report.train, worst_notes(report.stages), about="gravest verdict of each stage"),
    }  # fmt: skip


def to_json(data: Mapping[str, Any]) -> str:
    """Return the data as JSON with its own digest: SHA-256 of the JSON without the key ``content_digest``."""
    text = _canonical(data)
    return _canonical({**data, "content_digest": hashlib.sha256(text.encode()).hexdigest()})


def _canonical(data: Mapping[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2, sort_keys=True, allow_nan=False) + "\n"


def _suspect(one: Suspect, report: CommissioningReport) -> dict[str, Any]:
    return {**asdict(one), "grade": int(one.grade), "grade_words": GRADES[one.grade],
            "evidence": [asdict(entry) for entry in one.evidence]}  # fmt: skip


def _summary(report: CommissioningReport) -> list[dict[str, Any]]:
    """Return for each stage, in the order of flow, how many of its removals got which verdict."""
    counts = pd.crosstab(report.stages["stage"], report.stages["verdict"])
    found = []

    def known(stage: str, word: str) -> bool:
        return stage in counts.index and word in counts.columns

    for stage in report.train.stages:
        numbers = {
            word: int(counts.loc[[stage.name], [word]].to_numpy().sum()) if known(stage.name, word) else 0
            for word in map(str, StageVerdict)
        }
        found.append({"stage": stage.name, "kind": stage.kind, "inlet": stage.inlet, "outlet": stage.outlet, **numbers})
    return found


def _stage(row: Mapping[Any, Any]) -> dict[str, Any]:
    plain = {str(name): _plain(value) for name, value in row.items()}
    words = removal_words(row["removal_percent"], row["log_removal"], row["bound"])
    return {**plain, "name": find_parameter(row["parameter"]).name, "removal": words}


def _rows(table: pd.DataFrame, columns: Sequence[str]) -> list[dict[str, Any]]:
    rows = table[list(columns)].to_dict("records")
    named = [{str(name): _plain(value) for name, value in row.items()} for row in rows]
    return [{**row, "name": find_parameter(row["parameter"]).name} for row in named]


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value.item() if hasattr(value, "item") else value


def _figure(figure: Figure, us_units: bool) -> dict[str, Any]:
    percent = figure.kind in {"fraction", "change"} and math.isfinite(figure.value)
    shown = f"{figure.value:.1%}" if percent else show_quantity(figure.value, figure.kind, us_units=us_units)
    value = figure.value if math.isfinite(figure.value) else None
    return {**asdict(figure), "value": value, "unit": KINDS[figure.kind].si, "shown": shown}


def _sources(report: CommissioningReport) -> list[str]:
    """Return every source that the report rests on, once, in alphabetical order."""
    expected = report.stages["expected_source"].dropna().str.split("; ").explode()
    figures: Iterable[str] = (one.source for chapter in report.figures.values() for one in chapter)
    uncertainty = "JCGM 100:2008 (GUM), 5.1.2: uncertainty of a removal from that of both results"
    return sorted({*expected, *report.feeds["source"].dropna(), *figures, uncertainty})
