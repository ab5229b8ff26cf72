"""Turns the batch in hand into the list of its flags, worst first: to filter, to open, to copy and to keep."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.certificate_files.flag_list import LIMIT, RESULT, UNIT, csv_bytes, flag_list, workbook_bytes
from wqcheck.page.flag_detail import KIND_WORDS, LEADS_WORDS, draw_flag
from wqcheck.page.in_hand import InHand, draw_in_hand
from wqcheck.page.looked_into import looked_into
from wqcheck.page.office import Office
from wqcheck.page.spoken import later, say
from wqcheck.page.ways import draw_way
from wqcheck.page.words import plain, sentence
from wqcheck.release.flags import FlagKind, Flags
from wqcheck.release.reasons import Disposition

TAKE_IN_KEY = "take sheets in from the flags"
LIST_KEY = "flag opened"
PAGE_KEY = "page of flags"
BEFORE_KEY, AFTER_KEY = "flags before", "flags after"
CSV_KEY, XLSX_KEY = "flags as CSV", "flags as XLSX"
SHOWN_KEY = "flags shown"
DESK_AREA = "flag-desk"
PER_PAGE = 10
"""Flags listed at a time; only these are drawn, however many there are."""

FILTERS = {
    Flags.kind: later("Kind of flag"),
    Flags.limit_class: later("Class of limit"),
    Flags.table: later("Limit table"),
    Flags.stage: later("Stage"),
    Flags.point: later("Point"),
}
"""Columns that can be filtered by, and their labels; the key of each filter is from :func:`filter_key`."""

AGAINST_WORDS = {
    Disposition.REJECT: later("reject the batch"),
    Disposition.HOLD: later("hold the batch"),
    Disposition.RELEASE: later("to know"),
}
Row = Mapping[Hashable, Any]

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

# List and flag stand side by side where there is room, and below one another on a tablet.
_STYLE = """<style>
.st-key-flag-desk ol {margin-bottom: 0.4rem;}
.st-key-flag-desk h5 {padding-top: 0.7rem;}
@media (max-width: 1100px) {
  .st-key-flag-desk > [data-testid="stHorizontalBlock"],
  .st-key-flag-desk > * > [data-testid="stHorizontalBlock"] {flex-direction: column;}
  .st-key-flag-desk > [data-testid="stHorizontalBlock"] > [data-testid="stColumn"],
  .st-key-flag-desk > * > [data-testid="stHorizontalBlock"] > [data-testid="stColumn"] {width: 100%; flex: none;}
}
</style>"""


def draw_flags(office: Office) -> None:
    """Draw the flags of the batch in hand.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read.
    """
    st.markdown(f"### {say('Flags: what asks for a person')}")
    hand = draw_in_hand(office)
    if hand is None:
        st.info(say("No batch is in hand. Take in the sheets of one first."))
        draw_way(say("Take in laboratory sheets"), "Take in", key=TAKE_IN_KEY, main=True)
        return
    looked = looked_into(hand, office)
    found = looked.flags
    if found.empty:
        _draw_nothing(hand)
        return
    st.markdown(_counts(found))
    chosen = _draw_filters(found)
    if chosen.empty:
        st.info(say("No flag fits all of these filters; {many} are hidden by them.", many=f"{len(found):,}"))
        return
    st.html(_STYLE)
    with st.container(key=DESK_AREA):
        left, right = st.columns([2, 3], gap="medium")
        page = _page(chosen, looked.key)
        lines = flag_list(page, hand.check.judged)
        with left:
            at = _draw_list(page, lines, len(chosen))
            _draw_table(lines, chosen, hand)
        with right:
            flag = page.loc[at].to_dict()
            draw_flag(flag, _title(flag, lines.loc[at].to_dict()), hand, looked, office)


def filter_key(column: str) -> str:
    """Give the key of the filter of one column."""
    return f"flags by {column}"


def _draw_nothing(hand: InHand) -> None:
    """Say that nothing is flagged, and what that does not say."""
    results = len(hand.check.judged)
    st.info(say(
        "Nothing is flagged in batch {batch}: none of its {results} comparisons is out of limit or undecided, nothing "
        "required is missing and nothing holds it. That does not say that the water is fit to drink: only what was "
        "tested was compared, and only with the chosen tables.",
        batch=plain(hand.check.details.batch), results=f"{results:,}",
    ))  # fmt: skip


def _counts(found: DataFrame[Flags]) -> str:
    """Write how many flags there are of each kind, worst first, and how many reject or hold."""
    leads, kinds = found[Flags.leads_to].value_counts(), found[Flags.kind].value_counts()
    against = [f"**{leads[str(word)]:,}** {say(AGAINST_WORDS[word])}" for word in Disposition if str(word) in leads][
        ::-1
    ]
    of_kinds = [f"{say(KIND_WORDS[kind])} **{kinds[str(kind)]:,}**" for kind in FlagKind if str(kind) in kinds]
    total = say("{many} flags", many=f"**{len(found):,}**")
    return f"{total}: {', '.join(against)}.  \n{' · '.join(of_kinds)}"


def _draw_filters(found: DataFrame[Flags]) -> DataFrame[Flags]:
    """Draw one choice per column that has something to choose from, and give the flags that fit all of them."""
    fits = pd.Series(True, index=found.index)
    used = [name for name in FILTERS if len(set(found[name].unique()) - {""}) > 1]
    places = st.columns(len(used)) if used else []
    for place, name in zip(places, used, strict=True):
        counts = found[name].value_counts(sort=False)
        options = [option for option in counts.index if option]
        key = filter_key(name)
        st.session_state[key] = [one for one in st.session_state.get(key, []) if one in options]

        def told(option: str, name: str = name, counts: pd.Series[int] = counts) -> str:
            word = say(KIND_WORDS[FlagKind(option)]) if name == Flags.kind else say(option)
            return f"{word} ({counts[option]:,})"

        wanted = place.multiselect(say(FILTERS[name]), options, format_func=told, key=key, placeholder=say("all"))
        if wanted:
            fits &= found[name].isin(wanted)
    chosen: DataFrame[Flags] = found[fits].reset_index(drop=True)
    return chosen


def _page(chosen: DataFrame[Flags], batch_key: str) -> DataFrame[Flags]:
    """Give the flags of the page that is turned to; the index says which of all they are.

    Another batch and other filters begin again with the first flag.
    """
    shown = (batch_key, *(tuple(st.session_state.get(filter_key(name), ())) for name in FILTERS))
    if st.session_state.get(SHOWN_KEY) != shown:
        st.session_state[SHOWN_KEY], st.session_state[PAGE_KEY], st.session_state[LIST_KEY] = shown, 0, 0
    last = (len(chosen) - 1) // PER_PAGE
    number = st.session_state[PAGE_KEY] = min(int(st.session_state.get(PAGE_KEY, 0)), last)
    page: DataFrame[Flags] = chosen.iloc[number * PER_PAGE : (number + 1) * PER_PAGE]
    return page


def _draw_list(page: DataFrame[Flags], lines: pd.DataFrame, many: int) -> int:
    """Draw one page of the list and give the number of the flag that is opened.

    Parameters
    ----------
    page : DataFrame[Flags]
        From :func:`_page`.
    lines : DataFrame
        The same flags as :func:`flag_list` writes them.
    many : int
        How many flags there are on all pages.
    """
    places = list(page.index)
    if st.session_state.get(LIST_KEY) not in places:
        st.session_state[LIST_KEY] = places[0]
    rows = list(zip(page.to_dict("records"), lines.to_dict("records"), strict=True))
    titles = {at: f"{at + 1}. {plain(_title(*row))}" for at, row in zip(places, rows, strict=True)}
    opened = st.radio(
        say("Flags {first} to {last} of {many}, worst first", first=f"{places[0] + 1:,}", last=f"{places[-1] + 1:,}",
            many=f"{many:,}"),
        places, key=LIST_KEY, format_func=titles.__getitem__, captions=[_caption(*row) for row in rows],
    )  # fmt: skip
    if many > PER_PAGE:
        number = int(st.session_state[PAGE_KEY])
        first, last = places[0] == 0, places[-1] == many - 1
        with st.container(horizontal=True):
            st.button(say("Before"), key=BEFORE_KEY, disabled=first, on_click=_turn, args=(number - 1,))
            st.button(say("Next"), key=AFTER_KEY, disabled=last, on_click=_turn, args=(number + 1,))
    return int(opened if opened is not None else places[0])


def _title(flag: Row, line: Row) -> str:
    """Name a flag in a few words, its result with the unit: ``Arsenic: 14 µg/L``."""
    result = f"{line[RESULT]} {line[UNIT]}".strip() if line[RESULT] else ""
    return sentence(": ".join(filter(None, (str(flag[Flags.name]), result))))


def _caption(flag: Row, line: Row) -> str:
    """Write what stands below a flag in the list: kind, what it leads to, limit, table, point, sample, cell."""
    kind = say(KIND_WORDS[FlagKind(flag[Flags.kind])])
    leads = say(LEADS_WORDS[Disposition(flag[Flags.leads_to])])
    limit = f"{line[LIMIT]} ({say(str(flag[Flags.limit_class]))})" if line[LIMIT] else ""
    cell = str(flag[Flags.where]).rpartition("|")[2]
    others = (limit, flag[Flags.table], flag[Flags.stage], flag[Flags.point], flag[Flags.sample], cell)
    return " · ".join([f"**{kind}**", leads, *(plain(text) for text in others if text)])


def _turn(page: int) -> None:
    st.session_state[PAGE_KEY] = page


def _draw_table(lines: pd.DataFrame, chosen: DataFrame[Flags], hand: InHand) -> None:
    """Draw the flags of this page as a table to copy, and all of them to keep as files."""
    batch = hand.check.details.batch
    with st.expander(say("As a table: copy, or keep as a file")):
        st.dataframe(lines, hide_index=True, height=240, alt=say("Flags of this page"))
        st.caption(say("Mark cells and press Ctrl+C to copy. The files hold all {many} flags of the filters.",
                       many=f"{len(chosen):,}"))  # fmt: skip
        with st.container(horizontal=True):
            st.download_button(
                say("Keep as CSV"), partial(_csv, chosen, hand), file_name=f"flags_{_safe(batch)}.csv",
                mime="text/csv", key=CSV_KEY, on_click="ignore",
            )  # fmt: skip
            st.download_button(
                say("Keep as XLSX"), partial(_workbook, chosen, hand), file_name=f"flags_{_safe(batch)}.xlsx",
                mime=_XLSX, key=XLSX_KEY, on_click="ignore",
            )  # fmt: skip


def _csv(chosen: DataFrame[Flags], hand: InHand) -> bytes:
    return csv_bytes(flag_list(chosen, hand.check.judged))


def _workbook(chosen: DataFrame[Flags], hand: InHand) -> bytes:
    return workbook_bytes(flag_list(chosen, hand.check.judged), hand.check.details.batch)


def _safe(batch: str) -> str:
    """Keep what may stand in a file name."""
    return "".join(letter if letter.isalnum() or letter in "-_." else "_" for letter in batch)[:60]
