"""Turns flags into a table to copy and into files to take away."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.certificate_files.flag_list import csv_bytes, flag_list, workbook_bytes
from wqcheck.page.in_hand import InHand
from wqcheck.page.papers import MIMES
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.words import sentence
from wqcheck.release.flags import Flags

CSV_KEY, XLSX_KEY = "flags as CSV", "flags as XLSX"

TABLE_HEADINGS = {
    "flag": later("Flag"), "leads to": later("Leads to"), "parameter": later("Parameter"), "result": later("Result"),
    "unit": later("Unit"), "limit": later("Limit"), "class": later("Class"), "limit table": later("Limit table"),
    "clause": later("Clause"), "evidence of the limit": later("Evidence of the limit"), "stage": later("Stage"),
    "point": later("Point"), "sample": later("Sample"), "cell": later("Cell"), "reason": later("Reason"),
}  # fmt: skip
"""Columns of :func:`wqcheck.certificate_files.flag_list.flag_list` and their headings on the page."""


def draw_table(lines: pd.DataFrame) -> None:
    """Draw the flags of this page as a table to copy."""
    headings = {name: sentence(say(word)) for name, word in TABLE_HEADINGS.items()}
    with st.expander(say("As a table, to copy")):
        table = shown_table(lines, headings, said=("flag", "leads to", "class"), named=("limit table",))
        st.dataframe(table, hide_index=True, height=240, alt=say("Flags of this page"))
        st.caption(say("Mark cells and press Ctrl+C to copy."))


def draw_files(found: DataFrame[Flags], hand: InHand) -> None:
    """Offer all flags as files, also those that are folded away or hidden by a filter."""
    batch = hand.check.details.batch
    st.caption(say("The files hold all {many} entries, with each limit and what was not tested.",
                   many=count_text(len(found))))  # fmt: skip
    with st.container(horizontal=True):
        st.download_button(
            say("Download all as CSV"), partial(_csv, found, hand), file_name=f"flags_{_safe(batch)}.csv",
            mime="text/csv", key=CSV_KEY, on_click="ignore",
        )  # fmt: skip
        st.download_button(
            say("Download all as XLSX"), partial(_workbook, found, hand), file_name=f"flags_{_safe(batch)}.xlsx",
            mime=MIMES[".xlsx"], key=XLSX_KEY, on_click="ignore",
        )  # fmt: skip


def _csv(chosen: DataFrame[Flags], hand: InHand) -> bytes:
    return csv_bytes(flag_list(chosen, hand.check.judged))


def _workbook(chosen: DataFrame[Flags], hand: InHand) -> bytes:
    return workbook_bytes(flag_list(chosen, hand.check.judged), hand.check.details.batch)


def _safe(batch: str) -> str:
    """Keep what may stand in a file name."""
    return "".join(letter if letter.isalnum() or letter in "-_." else "_" for letter in batch)[:60]
