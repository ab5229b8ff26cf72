"""Turns several limit tables into who is strictest per parameter, on the page and as files to take away."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date

import pandas as pd
import streamlit as st

from wqcheck.certificate.lines import UNVERIFIED
from wqcheck.certificate_files.limit_comparison import comparison_csv, comparison_workbook
from wqcheck.limit_comparison.comparison import WINNING, Standing, compare_limits
from wqcheck.limit_comparison.side_by_side import PARAMETER, STRICTEST, UNIT, Marks, side_by_side
from wqcheck.limit_tables.columns import EVIDENCE
from wqcheck.limit_tables.loading import LimitTable, covers
from wqcheck.page.settings import Settings
from wqcheck.page.shown import figures_in, moment
from wqcheck.page.spoken import later, say
from wqcheck.page.table_choice import loaded, table_choices, usable
from wqcheck.page.words import codes_found, plain, titled

TABLES_KEY = "tables compared"
SEARCH_KEY = "search in the comparison"
SHOW_KEY = "which lines of the comparison"
CSV_KEY = "comparison as csv"
BOOK_KEY = "comparison as workbook"

ALL, DIFFERENT, GAPS = later("All lines"), later("They differ"), later("Missing in one")
BOOK_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def draw_compare(settings: Settings) -> None:
    """Draw the choice of tables and their comparison for the kind of water and the day of the side panel."""
    choices = table_choices(settings.own_folder)
    values = usable(choices)
    chosen = st.multiselect(
        say("Limit tables to compare"), values, default=[name for name in settings.limits if name in values],
        key=TABLES_KEY, persist_state="session", format_func=lambda value: choices[value].label,
        placeholder=say("choose two or more"),
    )  # fmt: skip
    if len(chosen) < 2:
        st.info(say("Choose two or more tables."))
        return
    names = {value: choices[value].label for value in chosen}
    with st.spinner(say("Comparing")):
        compared = _compared(tuple(chosen), tuple(loaded(value) for value in chosen), settings.product, settings.on)
    said = say("Limits for {water} water that hold on {day}, each in the unit of the first table that has one.",
               water=say(settings.product), day=moment(settings.on))  # fmt: skip
    st.markdown(f"{said} " + say("Water and day are chosen in the side panel."))
    for value in chosen:
        if not covers(loaded(value), settings.product):
            st.warning(
                say("{table} has no limit for {water} water.", table=plain(names[value]), water=say(settings.product))
            )
    beside = beside_words(compared, _headings(chosen, names))
    st.markdown("\n".join(f"- {line}" for line in summary(compared, _headings(chosen, names))))
    _draw_lines(compared, beside)
    _draw_downloads(compared, beside, "\n".join([said, *(f"{names[v]}: {loaded(v).title}" for v in chosen)]))


@st.cache_data(max_entries=8, show_spinner=False, hash_funcs={LimitTable: lambda table: table.digest})
def _compared(values: Sequence[str], tables: Sequence[LimitTable], product: str, on: date) -> pd.DataFrame:
    """Compare tables once for their values, digests, water and day."""
    return compare_limits(tables, product=product, on=on)


def _headings(values: Sequence[str], names: Mapping[str, str]) -> Mapping[str, str]:
    """Return the name in the comparison of each table and its heading."""
    return {loaded(value).name: names[value] for value in values}


def beside_words(compared: pd.DataFrame, headings: Mapping[str, str]) -> pd.DataFrame:
    """Return a comparison side by side, in which every mark is a word."""
    marks = Marks(
        unverified=say(" (not verified)"), single=say(" (any single pesticide)"), nothing=say("no limit")
    )  # fmt: skip
    beside = side_by_side(compared, headings, marks)
    beside[PARAMETER] = beside[PARAMETER].map(titled)
    for name in headings.values():
        beside[name] = [_whole(*cells) for cells in zip(beside[name], beside[UNIT], strict=True)]
    winning = compared["standing"].isin(WINNING) & ~compared["evidence"].fillna("").str.startswith(EVIDENCE[0])
    doubtful = winning.groupby([compared["parameter"], compared["asks"]], sort=False).any().to_numpy()
    beside[STRICTEST] = beside[STRICTEST].mask(doubtful, beside[STRICTEST] + say(" (not verified)"))
    beside = beside[[PARAMETER, STRICTEST, *headings.values(), UNIT]]
    return beside.rename(columns={PARAMETER: say("Parameter"), UNIT: say("Asked for in"), STRICTEST: say("Strictest")})


def _whole(cell: str, asked: str) -> str:
    """Write sign and unit of a line around the number of a cell; a cell of words stays as it is."""
    found = re.match(r"[0-9][0-9.,]*(?: to [0-9][0-9.,]*)?", cell)
    sign, _, unit = asked.rpartition("≤ ") if "≤ " in asked else asked.rpartition("≥ ")
    if not found:
        return cell
    mark = f"{sign}{'≤' if '≤' in asked else '≥'} " if "≤" in asked or "≥" in asked else ""
    return figures_in(f"{mark}{found[0]} {unit or ''}".rstrip()) + cell[found.end() :]


def summary(compared: pd.DataFrame, headings: Mapping[str, str]) -> list[str]:
    """Return for each table how many of its limits stand how, as a line of words."""
    once = compared.drop_duplicates(["parameter", "asks", "table", "standing"])
    counts = pd.crosstab(once["table"], once["standing"]).reindex(
        index=list(headings), columns=list(Standing), fill_value=0
    )  # fmt: skip
    return [
        f"**{plain(headings[str(table)])}**: "
        + " · ".join(f"{say(str(standing))} {count}" for standing, count in row.items() if count)
        for table, row in counts.iterrows()
    ]


def lines_shown(compared: pd.DataFrame, show: str, search: str) -> pd.Series[bool]:
    """Tell for each line side by side, in their order, whether it is asked for."""
    grouped = compared.groupby(["parameter", "asks"], sort=False)
    standing = grouped["standing"].agg(set)
    winners = compared["table"].where(compared["standing"].isin(WINNING)).groupby(
        [compared["parameter"], compared["asks"]], sort=False
    ).nunique()  # fmt: skip
    shown = pd.Series(True, index=standing.index)
    if show == GAPS:
        shown = standing.map(lambda found: Standing.NONE in found).astype(bool)
    if show == DIFFERENT:
        shown = winners < compared["table"].nunique()
    if search.strip():
        shown &= shown.index.get_level_values("parameter").isin(codes_found(search))
    return shown.reset_index(drop=True)


def _draw_lines(compared: pd.DataFrame, beside: pd.DataFrame) -> None:
    left, right = st.columns([2, 3], gap="medium", vertical_alignment="bottom")
    search = left.text_input(say("Search"), key=SEARCH_KEY, persist_state="session",
                             placeholder=say("name, other spelling or CAS number"))  # fmt: skip
    show = right.segmented_control(
        say("Show"), [ALL, DIFFERENT, GAPS], default=ALL, required=True, format_func=say, key=SHOW_KEY, wrap=True,
        persist_state="session",
    )  # fmt: skip
    shown = beside[lines_shown(compared, show or ALL, search).to_numpy()]
    st.markdown(say("**{shown} of {all} limits**", shown=len(shown), all=len(beside)))
    st.dataframe(shown, hide_index=True, height=420, alt=say("Limit tables side by side"))
    st.caption(say("Not verified means: {unverified}. Published figures stand in brackets where they were converted.",
                   unverified=UNVERIFIED))  # fmt: skip


def _draw_downloads(compared: pd.DataFrame, beside: pd.DataFrame, said: str) -> None:
    with st.container(horizontal=True):
        st.download_button(
            say("Download CSV"), lambda: comparison_csv(compared), file_name="limits_compared.csv", mime="text/csv",
            key=CSV_KEY, on_click="ignore",
        )  # fmt: skip
        st.download_button(
            say("Download XLSX"), lambda: comparison_workbook(compared, beside, said),
            file_name="limits_compared.xlsx", mime=BOOK_TYPE, key=BOOK_KEY, on_click="ignore",
        )  # fmt: skip
