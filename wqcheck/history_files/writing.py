"""Turns the data of a period's summary into its files: JSON, PDF/A-3b with that JSON attached, and a workbook."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

from wqcheck.certificate_files.press import press_document
from wqcheck.certificate_files.writing import file_stem, write_files
from wqcheck.history_files.data import attention_of
from wqcheck.history_files.workbook import workbook_bytes
from wqcheck.records.standing import State
from wqcheck.statistics.series_judging import Statistic
from wqcheck.tables import Verdict
from wqcheck.train_files.data import to_json

MOST_BATCHES = 40
"""Batches up to which all of them are printed; of more only those that did not plainly pass."""


def write_summary(data: Mapping[str, Any], folder: Path) -> tuple[Path, ...]:
    """Write ``NUMBER.pdf``, ``.xlsx`` and ``.json`` into a folder, which is made if need be.

    Parameters
    ----------
    data : Mapping
        As :func:`wqcheck.history_files.data.report_data` gives it.
    folder : Path

    Returns
    -------
    tuple of Path
        The PDF, the workbook and the JSON.

    Raises
    ------
    WqcheckError
        When the folder already holds another summary with this number; nothing is written then.
    """
    contents = {folder / name: content for name, content in summary_files(data).items()}
    stem = file_stem(str(data["number"]))
    return write_files(contents, folder / f"{stem}.json", "summary")


def summary_files(data: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the files of a summary by name: the PDF, the workbook and the JSON."""
    stem = file_stem(str(data["number"]))
    text = to_json(data)
    return {
        f"{stem}.pdf": pdf_bytes(data),
        f"{stem}.xlsx": workbook_bytes(data, moment_of(data)),
        f"{stem}.json": text.encode("utf-8"),
    }


def moment_of(data: Mapping[str, Any]) -> datetime:
    """Return the moment of issue, in UTC where no zone is stated."""
    moment = datetime.fromisoformat(str(data["issued_at"]))
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def pdf_bytes(data: Mapping[str, Any]) -> bytes:
    """Print a summary as PDF/A-3b with its JSON attached.

    What asks for attention stands first. One line is printed for each series, beside the limit that weighs most; all
    comparisons, all batches and all points stand in the attached data and in the workbook.
    """
    text, moment = to_json(data), moment_of(data)
    batches = data["batches"]["list"]
    shown = batches if len(batches) <= MOST_BATCHES else [one for one in batches if _remarkable(one)]
    view = {
        **{name: value for name, value in data.items() if name != "charts"},
        "content_digest": json.loads(text)["content_digest"],
        "issued": f"{moment:%Y-%m-%d %H:%M}",
        "attention": attention_of(data),
        "lines": _lines(data),
        "shown_batches": shown,
        "shown_rules": _shown_rules(data["rules"]),
        "charts": [{name: one[name] for name in ("title", "table", "limit", "alt", "svg")} for one in data["charts"]],
    }
    template = resources.files("wqcheck.history_files").joinpath("templates/summary.typ").read_bytes()
    name = f"{file_stem(str(data['number']))}.json"
    return press_document(template, view, standard="a-3b", moment=moment, attachment=(name, text))


def _remarkable(batch: Mapping[str, Any]) -> bool:
    plain = batch["state"] == State.RELEASED and batch["recommended"] == "release"
    return not plain or bool(batch["against_advice"])


def _shown_rules(rules: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return what is not met, and of every other rule on a series the latest period; no sampling plan that was met."""
    latest = {(one["table"], one["clause"], one["parameter"], one["point"], one["statistic"]): one for one in rules}
    return [
        one for one in rules
        if one["verdict"] == Verdict.FAIL or (one["statistic"] == Statistic.PLAN and one["verdict"] != Verdict.PASS)
        or (one["statistic"] != Statistic.PLAN and one in latest.values())
    ]  # fmt: skip


def _lines(data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return one line per series: its statistics beside the comparison that weighs most, by parameter and point."""
    heaviest: dict[tuple[str, str], Mapping[str, Any]] = {}
    for one in data["comparisons"]:
        heaviest.setdefault((one["parameter"], one["point"]), one)
    nothing = {"limit": "no limit", "share": "–", "table": ""}
    found = []
    for row in data["statistics"]:
        beside = heaviest.get((row["parameter"], row["point"]), nothing)
        found.append({**row, **{name: beside[name] for name in nothing}})
    return sorted(found, key=lambda row: (row["name"], row["point"]))
