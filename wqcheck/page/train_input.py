"""Turns the files given in the train view into a commissioning report, kept until one of them changes."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import streamlit as st
from pandera.typing import DataFrame

from wqcheck.batch import take_in
from wqcheck.errors import WqcheckError
from wqcheck.page.settings import NamedBytes
from wqcheck.plant.log import joined, open_plant_readings
from wqcheck.release.decision import FileStamp
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Readings
from wqcheck.train.commissioning import CommissioningReport, commission
from wqcheck.train.description import load_train
from wqcheck.train.expectations import load_expectations

BOOKS_KEY = "train sheets"
TRAIN_KEY = "train description"
PLANT_KEY = "train plant readings"
SAMPLE_KEY = "train sample plant"
SHEET_TYPES = ["xlsx", "xlsm", "xls", "xlsb", "ods", "csv", "tsv", "txt"]
PLANT_TYPES = ["toml", "xlsx", "xls", "ods", "csv"]

SAMPLES = {
    "in order": ("commissioning_clean.xlsx", "plant_log_clean.csv"),
    "in trouble": ("commissioning_faults.xlsx", "plant_log_faults.xlsx"),
}
"""What the sample plant can show: its sheet of results and its log."""
SAMPLE_TRAIN, SAMPLE_DAY = "train_equipped.toml", "plant_readings.toml"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrainCase:
    """A report, the readings it was made from, and the files."""

    report: CommissioningReport
    readings: DataFrame[Readings]
    files: tuple[FileStamp, ...]


def draw_train_input() -> TrainCase | None:
    """Draw the uploads and the sample plant, and give what comes of them; ``None`` while something is missing.

    Raises
    ------
    WqcheckError
        A file is not usable; the text says where and how to mend it.
    """
    chosen = st.pills("Use the sample plant (invented)", list(SAMPLES), key=SAMPLE_KEY)
    with st.expander("Your own files", expanded=chosen is None):
        left, middle, right = st.columns(3)
        books = left.file_uploader("Laboratory sheets", type=SHEET_TYPES, accept_multiple_files=True, key=BOOKS_KEY)
        train = middle.file_uploader("Treatment train (TOML)", type="toml", key=TRAIN_KEY)
        plant = right.file_uploader(
            "Plant log or readings (optional)", type=PLANT_TYPES, accept_multiple_files=True, key=PLANT_KEY
        )
    if books and train:
        uploads = [tuple((file.name, file.getvalue()) for file in files) for files in (books, plant)]
        return commissioned(uploads[0], (train.name, train.getvalue()), uploads[1])
    if books or train or plant:
        st.warning("Both are needed: at least one laboratory sheet, and the train file.")
        return None
    if chosen:
        book, log = SAMPLES[chosen]
        return commissioned((_sample(book),), _sample(SAMPLE_TRAIN), (_sample(SAMPLE_DAY), _sample(log)))
    return None


@st.cache_resource(max_entries=4, show_spinner="Looking at the train")
def commissioned(books: Sequence[NamedBytes], train_file: NamedBytes, plant: Sequence[NamedBytes]) -> TrainCase:
    """Return the report on these files; where two plant files give one reading, the later file counts.

    Raises
    ------
    WqcheckError
        A file is not usable, or no stage has results at both its ends.
    """
    with tempfile.TemporaryDirectory() as folder:
        train = load_train(_saved(folder, "train", train_file))
        plants = [open_plant_readings(_saved(folder, f"plant{place}", file)) for place, file in enumerate(plant)]
        table, taken = load_expectations(None), take_in(books)
    day = joined(*plants) if plants else None
    report = commission(taken.readings, train, table, plant=day, findings=taken.findings)
    if report.stages.empty:
        raise WqcheckError(
            f"no stage of {train.name} has results at both its inlet and its outlet; check the names of the points"
        )
    files = [FileStamp(name=book.name, sha256=book.sha256, kind="workbook") for book in taken.books]
    files += [FileStamp(name=train_file[0], sha256=train.digest, kind="train", title=train.name)]
    files += [
        FileStamp(name=file[0], sha256=one.digest, kind="plant readings", title=one.name)
        for file, one in zip(plant, plants, strict=True)
    ]
    files += [FileStamp(name=table.path.name, sha256=table.digest, kind="expectations")]
    return TrainCase(report=report, readings=taken.readings, files=tuple(files))


def _sample(name: str) -> NamedBytes:
    return name, (shipped_folder("sample_results") / name).read_bytes()


def _saved(folder: str, part: str, file: NamedBytes) -> Path:
    """Write an upload into a folder of its own, under the name that the user knows."""
    place = Path(folder) / part
    place.mkdir()
    path = place / Path(file[0]).name
    path.write_bytes(file[1])
    return path
