"""Turns the data of a commissioning report into its files: JSON, PDF/A-3b with that JSON attached, workbook, SVG."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib import resources
from io import BytesIO
from pathlib import Path
from typing import Any

from openpyxl import Workbook

from wqcheck.certificate_files.press import press_document
from wqcheck.certificate_files.sheet_cells import add_sheet, set_up_print
from wqcheck.certificate_files.writing import file_stem, write_files
from wqcheck.tables import StageVerdict
from wqcheck.train_files.data import to_json

_STAGE_COLUMNS = {
    "Verdict": ("verdict", 18), "Stage": ("stage", 20), "Parameter": ("name", 28), "Point before": ("inlet_point", 10),
    "Before": ("inlet", 12), "Point after": ("outlet_point", 10), "After": ("outlet", 12), "Unit": ("unit", 14),
    "Removal": ("removal", 26), "Removal %": ("removal_percent", 12), "log10 removal": ("log_removal", 12),
    "Bound": ("bound", 10), "At least %": ("removal_low", 12), "At most %": ("removal_high", 12),
    "From the first inlet %": ("cumulative_percent", 14), "from there, bound": ("cumulative_bound", 12),
    "Usual": ("expected", 34), "Source": ("expected_source", 34), "Why": ("reason", 50),
    "Cells before": ("inlet_cells", 22), "Cells after": ("outlet_cells", 22),
}  # fmt: skip


_FIGURE_KEYS = ("name", "shown", "value", "unit", "verdict", "formula", "source", "note")
_BALANCE_COLUMNS = {
    "Stage": "stage", "Parameter": "name", "Feed": "feed", "Permeate": "permeate", "Concentrate": "concentrate",
    "Recovery": "recovery", "Closure": "closure", "Recovery that closes it": "recovery_implied",
    "Concentrate that closes it": "expected",
}  # fmt: skip


def write_report(data: Mapping[str, Any], folder: Path) -> tuple[Path, ...]:
    """Write ``NUMBER.pdf``, ``.xlsx``, ``.json`` and ``.svg`` into a folder, which is made if need be.

    Parameters
    ----------
    data : Mapping
        As :func:`wqcheck.train_files.data.report_data` gives it.
    folder : Path

    Returns
    -------
    tuple of Path
        The PDF, the workbook, the JSON and the diagram.

    Raises
    ------
    WqcheckError
        When the folder already holds another report with this number; nothing is written then.
    """
    stem = file_stem(str(data["number"]))
    text = to_json(data)
    contents = {
        folder / f"{stem}.pdf": pdf_bytes(data),
        folder / f"{stem}.xlsx": workbook_bytes(data),
        folder / f"{stem}.json": text.encode("utf-8"),
        folder / f"{stem}.svg": str(data["diagram"]).encode("utf-8"),
    }
    return write_files(contents, folder / f"{stem}.json", "report")


def pdf_bytes(data: Mapping[str, Any]) -> bytes:
    """Print a report as PDF/A-3b with its JSON attached.

    Removals without a verdict, and salts that pass as they should, stand in the workbook only.
    """
    text = to_json(data)
    moment = datetime.fromisoformat(str(data["issued_at"]))
    judged = [row for row in data["stages"] if row["verdict"] and not _passes(row)]
    view = {
        **json.loads(text),
        "stages": judged,
        "figures": data["figures"],
        "balance": [row for row in data["balance"] if row["concentrate"] is not None],
        "verdicts": [str(word) for word in StageVerdict],
        "issued": f"{moment:%Y-%m-%d %H:%M}",
    }
    template = resources.files("wqcheck.train_files").joinpath("templates/commissioning.typ").read_bytes()
    return press_document(
        template,
        view,
        standard="a-3b",
        moment=moment if moment.tzinfo else moment.replace(tzinfo=UTC),
        attachment=(f"{file_stem(str(data['number']))}.json", text),
    )


def _passes(row: Mapping[str, Any]) -> bool:
    return row["verdict"] == StageVerdict.AS_EXPECTED and str(row["expected"]).startswith("passes")


def workbook_bytes(data: Mapping[str, Any]) -> bytes:
    """Write the report's sheets: Look here first, Stages, Feeds, Balance, Figures, Findings, Sources and Files."""
    book = Workbook()
    del book["Sheet"]
    _add_suspects(book, data)
    add_sheet(book, "Stages", {heading: width for heading, (_, width) in _STAGE_COLUMNS.items()},
              ([row[key] for key, _ in _STAGE_COLUMNS.values()] for row in data["stages"]))  # fmt: skip
    feeds = ("stage", "point", "name", "value", "unit", "lower", "upper", "unit_wanted", "source", "cell")
    headings = dict.fromkeys(("Stage", "Point", "Parameter", "Result", "Unit", "At least", "At most", "In", "Source",
                              "Cell"), 18)  # fmt: skip
    add_sheet(book, "Feeds", {**headings, "Passed": 10},
              ([*(row[key] for key in feeds), "yes" if row["passed"] else "no"] for row in data["feeds"]))  # fmt: skip
    balance = (
        "stage",
        "name",
        "feed",
        "permeate",
        "concentrate",
        "recovery",
        "closure",
        "recovery_implied",
        "expected",
    )
    names = ("Stage", "Parameter", "Feed", "Permeate", "Concentrate", "Recovery", "Closure", "Recovery that closes it",
             "Concentrate that closes it")  # fmt: skip
    add_sheet(book, "Balance", dict.fromkeys(names, 18), ([row[key] for key in balance] for row in data["balance"]))
    add_sheet(book, "Figures", {"Chapter": 24, "Figure": 44, "Shown": 18, "Value": 14, "Unit": 12, "Says": 12,
                                "Formula": 34, "Source": 34, "Note": 44},
              ([chapter, *(f[key] for key in _FIGURE_KEYS)]
               for chapter, figures in data["figures"].items() for f in figures))  # fmt: skip
    add_sheet(book, "Findings", {"Weight": 10, "What": 80, "Where": 40, "Given": 30},
              ([str(f["severity"]), f["message"], f["where"], f["given"]] for f in data["findings"]))  # fmt: skip
    notes = [("Caution", text) for text in data["cautions"]] + [("Remark", text) for text in data["remarks"]]
    notes += [("Definition", data["rejection"]), *(("Source", text) for text in data["sources"])]
    add_sheet(book, "Sources", {"Kind": 14, "Text": 110}, notes)
    add_sheet(book, "Files", {"Kind": 16, "File": 40, "Title": 50, "SHA-256": 70},
              ([f["kind"], f["name"], f["title"], f["sha256"]] for f in data["files"]))  # fmt: skip
    set_up_print(book)
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _add_suspects(book: Workbook, data: Mapping[str, Any]) -> None:
    rows = [
        [place, one["stage"], one["title"], one["grade_words"], one["why"],
         "\n".join(f"{e['text']} [{e['where']}]" for e in one["evidence"]), one["check"], one["caution"]]
        for place, one in enumerate(data["suspects"], start=1)
    ]  # fmt: skip
    nothing = [[None, "", "No rule found anything; that does not mean that nothing is wrong.", "", "", "", "", ""]]
    add_sheet(book, "Look here first", {"Rank": 8, "Stage": 20, "Suspicion": 36, "Weight": 30, "Why": 50,
                                        "Numbers and cells": 60, "Check next": 50, "Caution": 50},
              rows or nothing)  # fmt: skip
