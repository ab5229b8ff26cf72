"""Turns the batch in hand or the sample plant, a train file and plant readings into a commissioning report."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import pandas as pd
import streamlit as st

from wqcheck.batch import take_in
from wqcheck.errors import WqcheckError
from wqcheck.findings import Finding
from wqcheck.page.checking import saved_upload
from wqcheck.page.in_hand import InHand, draw_in_hand, file_used
from wqcheck.page.office import Office
from wqcheck.page.settings import NamedBytes
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain
from wqcheck.plant.log import joined, open_plant_readings
from wqcheck.plant.readings import PlantReadings
from wqcheck.release.decision import FileStamp
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Readings
from wqcheck.train.commissioning import CommissioningReport, commission
from wqcheck.train.description import Train, load_train
from wqcheck.train.expectations import load_expectations

SOURCE_KEY = "train results of"
TRAIN_KEY = "train description"
KEPT_SOURCE_KEY = "train results kept"
KEPT_TRAIN_KEY = "train description kept"

IN_HAND, IN_ORDER, IN_TROUBLE = "hand", "in order", "in trouble"
SOURCES = {
    IN_HAND: later("the batch in hand"),
    IN_ORDER: later("the sample plant in order (invented)"),
    IN_TROUBLE: later("the sample plant in trouble (invented)"),
}
SAMPLE_TRAIN = "train_equipped.toml"
SAMPLES = {
    IN_ORDER: ("commissioning_clean.xlsx", ("plant_log_clean.csv",)),
    IN_TROUBLE: ("commissioning_faults.xlsx", ("plant_readings.toml", "plant_log_faults.xlsx")),
}
"""What the sample plant can show: its sheet of results, and its plant readings."""

Opened = TypeVar("Opened", Train, PlantReadings)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Results:
    """The laboratory's results, and the files that came with them; ``key`` is another one for other results."""

    key: str
    readings: pd.DataFrame
    findings: tuple[Finding, ...]
    files: tuple[FileStamp, ...]
    train: NamedBytes | None
    plant: tuple[NamedBytes, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrainCase:
    """A report, the readings it was made from, and the files."""

    report: CommissioningReport
    readings: pd.DataFrame
    files: tuple[FileStamp, ...]


def draw_results(office: Office) -> Results | None:
    """Draw whose results are looked at and by which train; None while there are none.

    Raises
    ------
    WqcheckError
        The records cannot be read, or a sample file is not usable.
    """
    kept, names = st.session_state.get(KEPT_SOURCE_KEY, IN_HAND), list(SOURCES)
    source = st.radio(
        say("Results of"), names, index=names.index(kept), format_func=lambda name: say(SOURCES[name]), key=SOURCE_KEY,
        horizontal=True, on_change=_keep_source,
    )  # fmt: skip
    if source != IN_HAND:
        st.warning("**" + say("INVENTED: everything below is the sample plant, nothing of it is yours.") + "**")
        return sample_results(source)
    hand = draw_in_hand(office)
    if hand is None:
        st.info(say("No batch is in hand. Take in a sheet first, or look at the sample plant."))
        return None
    results = _results_of(hand, office)
    own = _draw_train_file(results.train)
    return replace(results, train=own or results.train)


def _keep_source() -> None:
    st.session_state[KEPT_SOURCE_KEY] = st.session_state[SOURCE_KEY]


def _results_of(hand: InHand, office: Office) -> Results:
    """Return the results of the batch in hand, with the train that it was checked with."""
    check = hand.check
    version = hand.desk.key if hand.desk is not None else str(hand.record and hand.record.check_version)
    books = tuple(stamp for stamp in check.files if stamp.kind == "workbook")
    return Results(
        key=f"{check.details.batch} {version}", readings=check.readings, findings=check.findings, files=books,
        train=file_used(hand, office, "train"),
    )  # fmt: skip


@st.cache_resource(max_entries=2, show_spinner=False)
def sample_results(source: str) -> Results:
    """Return the sample plant in order or in trouble."""
    book, plant = SAMPLES[source]
    taken = take_in([sample_file(book)])
    files = tuple(FileStamp(name=one.name, sha256=one.sha256, kind="workbook") for one in taken.books)
    return Results(
        key=source, readings=taken.readings, findings=taken.findings, files=files, train=sample_file(SAMPLE_TRAIN),
        plant=tuple(map(sample_file, plant)),
    )  # fmt: skip


def _draw_train_file(of_batch: NamedBytes | None) -> NamedBytes | None:
    """Draw the upload of a train file, and say which train is in use; give the upload."""
    kept: NamedBytes | None = st.session_state.get(KEPT_TRAIN_KEY)
    used = kept or of_batch
    label = say("Train file: {name}", name=plain(used[0])) if used else say("Train file: none yet")
    with st.expander(label, expanded=used is None):
        st.file_uploader(
            say("Train file (ends in .toml); it takes the place of the one that the batch was checked with"),
            type="toml",
            key=TRAIN_KEY, on_change=_keep_train,
        )  # fmt: skip
        if kept and st.button(say("Use the train of the batch again")):
            st.session_state.pop(KEPT_TRAIN_KEY)
            st.rerun()
    return kept


def _keep_train() -> None:
    """Keep the upload for the next visit; a view that is not drawn loses its uploads."""
    file = st.session_state[TRAIN_KEY]
    if file is not None:
        st.session_state[KEPT_TRAIN_KEY] = (file.name, file.getvalue())


@st.cache_resource(max_entries=8, show_spinner=False)
def commissioned(
    key: str, _results: Results, train_file: NamedBytes, plant: Sequence[NamedBytes]
) -> TrainCase:  # fmt: skip
    """Return the report on these results; where two plant files give one reading, the later file counts.

    ``key`` is that of the results: another key, train or plant file is another report.

    Raises
    ------
    WqcheckError
        A file is not usable.
    """
    train, plants = opened_train(train_file), [opened_plant(file) for file in plant]
    table, readings = load_expectations(None), Readings.validate(_results.readings)
    report = commission(
        readings, train, table, plant=joined(*plants) if plants else None, findings=_results.findings
    )  # fmt: skip
    files = [
        *_results.files,
        FileStamp(name=train_file[0], sha256=train.digest, kind="train", title=train.name),
        *(
            FileStamp(name=one.path, sha256=one.digest, kind="plant readings", title=one.name)
            for one in plants
        ),
        FileStamp(name=table.path.name, sha256=table.digest, kind="expectations"),
    ]  # fmt: skip
    return TrainCase(report=report, readings=readings, files=tuple(files))


def opened_train(file: NamedBytes) -> Train:
    """Read an uploaded train file.

    Raises
    ------
    WqcheckError
        It is not usable; the text names it as the user does.
    """
    return _opened(file, load_train)


def opened_plant(file: NamedBytes) -> PlantReadings:
    """Read an uploaded file of plant readings.

    Raises
    ------
    WqcheckError
        It is not usable; the text names it as the user does.
    """
    return _opened(file, open_plant_readings)


def _opened(file: NamedBytes, read: Callable[[Path], Opened]) -> Opened:
    """Read an upload as a file of its own name; record and refusal name it as the user does."""
    with tempfile.TemporaryDirectory() as folder:
        path = saved_upload(Path(folder), file)
        try:
            return replace(read(path), path=path.name)
        except WqcheckError as error:
            raise WqcheckError(str(error).replace(f"{folder}/", "")) from error


def sample_file(name: str) -> NamedBytes:
    """Return a file of the sample plant, name and bytes."""
    return name, (shipped_folder("sample_results") / name).read_bytes()
