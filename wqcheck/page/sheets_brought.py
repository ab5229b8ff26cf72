"""Turns the upload, the sheets kept in the records, or a sample of the plant into the sheets on the desk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import streamlit as st

from wqcheck.page.office import Office, do
from wqcheck.page.settings import NamedBytes, Settings
from wqcheck.page.shown import moment
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain
from wqcheck.records.intake import receive
from wqcheck.records.received import received_file, received_sheets
from wqcheck.shipped_files import shipped_folder

KEPT_KEY = "sheets on the desk"
UPLOAD_KEY = "workbooks"
SAMPLE_KEY = "sample plant"
KEEP_KEY = "keep the sheets in the records"
WAITING_KEY = "sheets kept in the records"

SAMPLE_LIMITS = "plant_specification.csv"
WORKBOOK_TYPES = ["xlsx", "xlsm", "xls", "xlsb", "ods", "csv", "tsv", "txt", "htm", "html", "zip"]


@dataclass(frozen=True, slots=True)
class Sample:
    """One workbook of the sample plant: what it is called on the page, its file and its batch."""

    label: str
    file: str


SAMPLES = (
    Sample(later("B2107: in order"), "run_B2107_clean.xlsx"),
    Sample(later("B2108: in trouble"), "run_B2108_trouble.xlsx"),
    Sample(later("C-01: commissioning"), "commissioning_crosstab.xlsx"),
)


SAMPLE_NOTE = later(
    "The invented sample plant brings its own specification and train; your own sheets do not use them."
)


def sample_on_desk() -> bool:
    """Whether the sheets on the desk are those of the invented sample plant."""
    return isinstance(st.session_state.get(KEPT_KEY), Sample)


def try_sample() -> None:
    """Put the first workbook of the sample plant on the desk."""
    st.session_state[KEPT_KEY] = SAMPLES[0]


def draw_sheets(office: Office, settings: Settings) -> tuple[tuple[NamedBytes, ...], Settings]:
    """Draw the ways by which sheets come, and give those on the desk with the settings that hold for them.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    left, right = st.columns([3, 2], gap="medium")
    with left:
        st.file_uploader(
            say("Laboratory sheets of one batch, several files at once if need be (up to {most} MB each)",
                most=st.get_option("server.maxUploadSize")),
            type=WORKBOOK_TYPES, accept_multiple_files=True, key=UPLOAD_KEY, on_change=_keep_uploads,
        )  # fmt: skip
    kept: tuple[NamedBytes, ...] | Sample = st.session_state.get(KEPT_KEY, ())
    with right:
        _draw_samples(kept)
        _draw_waiting(office)
    if isinstance(kept, Sample):
        specification = _sample_file(SAMPLE_LIMITS)
        st.info(say("Invented sample plant, for trying out: {name}.", name=say(kept.label)))
        settings = replace(settings, sample_train=True, own_tables=(*settings.own_tables, specification))
        return (_sample_file(kept.file),), settings
    if kept:
        _draw_kept(office, kept)
    return kept, settings


def _draw_samples(kept: tuple[NamedBytes, ...] | Sample) -> None:
    st.session_state[SAMPLE_KEY] = kept.label if isinstance(kept, Sample) else None
    st.pills(
        say("Use the sample plant (invented)"), [sample.label for sample in SAMPLES], format_func=say, key=SAMPLE_KEY,
        wrap=True, on_change=_keep_sample,
        help=say("Checked with the invented plant's own train and product specification beside the tables chosen."),
    )  # fmt: skip


def _draw_waiting(office: Office) -> None:
    """Offer the sheets that were kept in the records and that no check has used."""
    waiting = received_sheets(office.store()) if office.exists else None
    if waiting is None or waiting.empty:
        return
    st.session_state[WAITING_KEY] = [
        digest for digest in st.session_state.get(WAITING_KEY, []) if digest in set(waiting["sha256"])
    ]
    told = dict(zip(waiting["sha256"], waiting["name"] + ", " + waiting["received"].map(moment), strict=True))
    st.multiselect(
        say("Sheets kept in the records, not checked yet ({number})", number=len(told)), list(told),
        format_func=lambda digest: told.get(digest, digest), key=WAITING_KEY, placeholder=say("choose sheets"),
        on_change=partial(_fetch, office),
    )  # fmt: skip


def _draw_kept(office: Office, kept: tuple[NamedBytes, ...]) -> None:
    """Say which sheets lie on the desk and how long they stay, and offer to keep them in the records."""
    words, button = st.columns([3, 1], vertical_alignment="center")
    names = ", ".join(name for name, _ in kept)
    words.caption(
        say(
            "On the desk: {names}. They lie there in this browser tab only: after a reload they are gone, unless they "
            "are kept in the records or the batch is recorded.",
            names=plain(names),
        )
    )
    button.button(
        say("Keep the sheets for later"), key=KEEP_KEY, on_click=do, args=(partial(_receive, office, kept),),
        help=say("The files go into the records as they came; any tab can take them in later."),
    )  # fmt: skip


def _receive(office: Office, kept: tuple[NamedBytes, ...]) -> str:
    new = receive(office.store(create=True), kept, office.act())
    return say("{new} of {all} sheet(s) were new and are kept in the records now.", new=new, all=len(kept))


def _keep_uploads() -> None:
    """Keep the sheets for all views; a view that does not draw the upload would lose them."""
    files = st.session_state.get(UPLOAD_KEY, [])
    st.session_state[WAITING_KEY] = []
    st.session_state[KEPT_KEY] = tuple((file.name, file.getvalue()) for file in files)


def _keep_sample() -> None:
    """Put the chosen sample on the desk; without one the uploads lie there again."""
    label = st.session_state[SAMPLE_KEY]
    _keep_uploads()
    if label is not None:
        st.session_state[KEPT_KEY] = next(sample for sample in SAMPLES if sample.label == label)


def bring_kept(office: Office, digests: Sequence[str]) -> None:
    """Put sheets that are kept in the records on the desk, known by their digests.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read, or do not keep one of them.
    """
    st.session_state[KEPT_KEY] = tuple(received_file(office.store(), digest) for digest in digests)
    st.session_state[WAITING_KEY] = list(digests)


def _fetch(office: Office) -> None:
    """Put the chosen sheets of the records on the desk; without one the uploads lie there again."""
    chosen = st.session_state[WAITING_KEY]
    _keep_uploads()
    if chosen:
        bring_kept(office, chosen)


def _sample_file(name: str) -> NamedBytes:
    """Read one file of the sample plant."""
    return name, (shipped_folder("sample_results") / name).read_bytes()
