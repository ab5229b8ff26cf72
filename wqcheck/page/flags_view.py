"""Turns the batch in hand into the list of its flags, worst first: to filter, to open, to copy and to keep."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.certificate_files.flag_list import LIMIT, RESULT, UNIT, flag_list
from wqcheck.page.decision import draw_decided
from wqcheck.page.flag_detail import KIND_WORDS, LEADS_WORDS, draw_flag, draw_steps, kind_words
from wqcheck.page.flag_files import draw_files, draw_table
from wqcheck.page.in_hand import InHand, draw_in_hand
from wqcheck.page.looked_into import LookedInto, looked_into
from wqcheck.page.lookup import draw_lookup
from wqcheck.page.office import Office
from wqcheck.page.shown import figures_in, table_title
from wqcheck.page.spoken import count_text, kept, later, say
from wqcheck.page.ways import draw_way
from wqcheck.page.words import parameter_words, plain, sentence, titled
from wqcheck.release.asked import BETWEEN_TABLES, Asked
from wqcheck.release.flag_steps import flag_steps
from wqcheck.release.flags import FlagKind, Flags, of_tables
from wqcheck.release.reasons import Disposition

TAKE_IN_KEY = "take sheets in from the flags"
LIST_KEY = "flag opened"
PAGE_KEY = "page of flags"
BEFORE_KEY, AFTER_KEY = "flags before", "flags after"
SHOWN_KEY = "flags shown"
DESK_AREA, LIST_AREA = "flag-desk", "flag-list"
PER_PAGE = 10
"""Flags listed at a time; only these are drawn, however many there are."""
MOST_BESIDE = 12
"""Limits beside which the same result is drawn again at most."""

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

# List and flag stand side by side where there is room, and below one another on a tablet.
_STYLE = """<style>
.st-key-flag-desk ol {margin-bottom: 0.4rem;}
.st-key-flag-desk h5 {padding-top: 0.7rem;}
/* The list scrolls by itself and stays, so that the flag that is opened is seen beside it, or right below it. */
@media screen {
  .st-key-flag-list {max-height: calc(100vh - 5rem); overflow-y: auto; flex-wrap: nowrap; padding: 3px;}
  .st-key-flag-list, :has(> .st-key-flag-list) {position: sticky; top: 4rem; height: auto; flex: none;}
}
@media screen and (max-width: 1100px) {
  .st-key-flag-list {max-height: 40vh; border-bottom: 1px solid rgba(128, 128, 128, 0.4);}
  .st-key-flag-list, :has(> .st-key-flag-list) {position: static;}
}
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
    st.markdown(f"##### {say('Flags: what you must look at')}")
    hand = draw_in_hand(office)
    if hand is None:
        st.info(say("No batch is in hand. Take in the sheets of one first."))
        draw_way(say("Take in laboratory sheets"), "Take in", key=TAKE_IN_KEY, main=True)
        return
    if hand.record is not None:
        draw_decided(hand.record.standing)
    looked = looked_into(hand, office)
    found = looked.flags
    if found.empty:
        _draw_nothing(hand)
        return
    untested = found[Flags.kind].eq(FlagKind.NOT_TESTED) & found[Flags.leads_to].eq(Disposition.RELEASE)
    asking: DataFrame[Flags] = found[~untested].reset_index(drop=True)
    if asking.empty:
        _draw_nothing(hand)
    else:
        st.markdown(_counts(heads_of(asking)))
        _draw_asking(asking, hand, looked, office)
    required = asking.loc[asking[Flags.kind].eq(FlagKind.REQUIRED), Flags.parameter]
    _draw_untested(found[untested & ~found[Flags.parameter].isin(required)], looked.asked)
    draw_files(found, hand)
    draw_lookup(hand)


def _draw_asking(asking: DataFrame[Flags], hand: InHand, looked: LookedInto, office: Office) -> None:
    """Draw the filters, the list of flags and the one that is opened."""
    chosen = _draw_filters(asking)
    if chosen.empty:
        st.info(say("No flag fits all of these filters; {many} are hidden by them.", many=count_text(len(asking))))
        return
    st.html(_STYLE)
    heads = heads_of(chosen)
    with st.container(key=DESK_AREA):
        left, right = st.columns([2, 3], gap="medium")
        page = _page(heads, looked.key)
        lines = flag_list(page, hand.check.judged).assign(parameter=[_named(flag) for flag in page.to_dict("records")])
        with left, st.container(key=LIST_AREA):
            at = _draw_list(page, lines, len(heads), same_result(chosen).value_counts())
            draw_table(lines)
        with right:
            flag = page.loc[at].to_dict()
            draw_flag(flag, _title(flag, lines.loc[at].to_dict()), hand, looked, office)
            _draw_others(flag, chosen, hand, looked)


def same_result(chosen: DataFrame[Flags]) -> pd.Series[str]:
    """Return a text that is the same for the flags of one result that lead to the same, also beside other tables."""
    of_result = chosen[Flags.row].ge(0) & chosen[Flags.kind].ne(FlagKind.STAGE)
    names = [Flags.where, Flags.parameter, Flags.kind, Flags.leads_to]
    joined: pd.Series[str] = chosen[names[0]].str.cat(chosen[names[1:]], sep="\n")
    alone = pd.Series(chosen.index.astype("str"), index=chosen.index)
    return joined.where(of_result, alone)


def heads_of(chosen: DataFrame[Flags]) -> DataFrame[Flags]:
    """Return one flag for each result, the worst; its others stand with it when it is opened."""
    heads: DataFrame[Flags] = chosen[~same_result(chosen).duplicated()].reset_index(drop=True)
    return heads


def _draw_others(flag: Row, chosen: DataFrame[Flags], hand: InHand, looked: LookedInto) -> None:
    """Draw the working of the same result beside the other tables that flag it."""
    same = chosen[[Flags.where, Flags.parameter, Flags.kind, Flags.leads_to]]
    alike = same.eq(pd.Series({name: flag[name] for name in same})).all(axis=1) & chosen[Flags.row].ge(0)
    if flag[Flags.row] < 0 or flag[Flags.kind] == FlagKind.STAGE:
        return
    others = chosen[alike & chosen[Flags.row].ne(flag[Flags.row])].drop_duplicates([Flags.table, Flags.reason])
    for other in others.head(MOST_BESIDE).to_dict("records"):
        with st.expander(say("The same result beside {table}", table=plain(table_title(other[Flags.table])))):
            draw_steps(flag_steps(hand.check, other, looked.stages))


def _draw_untested(untested: pd.DataFrame, asked: DataFrame[Asked]) -> None:
    """Draw what has a limit and was not tested as one line that opens, with how many each table limits."""
    if untested.empty:
        return
    codes = set(untested[Flags.parameter])
    with st.expander(say("Have a limit and were not tested: {number} parameters", number=count_text(len(codes)))):
        st.markdown(say("By the release rules they do not hold the batch. Your licence may ask for them."))
        for table, rows in asked[asked[Asked.parameter].isin(codes)].groupby(Asked.table, sort=False):
            names = sorted({titled(code) for code in rows[Asked.parameter]}, key=str.casefold)
            st.markdown(f"**{plain(table_title(str(table)))}** ({count_text(len(names))}): {plain(', '.join(names))}")


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
        batch=plain(hand.check.details.batch), results=count_text(results),
    ))  # fmt: skip


def _counts(found: DataFrame[Flags]) -> str:
    """Write how many flags there are of each kind, worst first, and how many reject or hold."""
    leads, kinds = found[Flags.leads_to].value_counts(), found[Flags.kind].value_counts()
    against = [
        f"**{count_text(leads[str(word)])}** {say(AGAINST_WORDS[word])}" for word in Disposition if str(word) in leads
    ][::-1]
    of_kinds = [
        f"{say(KIND_WORDS[kind])} **{count_text(kinds[str(kind)])}**" for kind in FlagKind if str(kind) in kinds
    ]
    total = say("{many} flags", many=f"**{count_text(len(found))}**")
    return f"{total}: {', '.join(against)}.  \n{' · '.join(of_kinds)}"


def _draw_filters(found: DataFrame[Flags]) -> DataFrame[Flags]:
    """Draw one choice per column that has something to choose from, and give the flags that fit all of them."""
    fits = pd.Series(True, index=found.index)
    used = [name for name in FILTERS if len(set(found[name].unique()) - {""}) > 1]
    places = st.columns(len(used)) if used else []
    for place, name in zip(places, used, strict=True):
        parts = found[name].str.split(BETWEEN_TABLES).explode() if name == Flags.table else found[name]
        counts = parts.value_counts(sort=False)
        options = [option for option in counts.index if option]
        key = filter_key(name)
        st.session_state[key] = [one for one in st.session_state.get(key, []) if one in options]

        def told(option: str, name: str = name, counts: pd.Series[int] = counts) -> str:
            word = say(KIND_WORDS[FlagKind(option)]) if name == Flags.kind else say(option)
            word = table_title(option) if name == Flags.table else word
            return f"{word} ({count_text(counts[option])})"

        wanted = place.multiselect(say(FILTERS[name]), options, format_func=told, key=key, placeholder=say("all"))
        if wanted:
            fits &= of_tables(found, wanted) if name == Flags.table else found[name].isin(wanted)
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


def _draw_list(page: DataFrame[Flags], lines: pd.DataFrame, many: int, limits: pd.Series[int]) -> int:
    """Draw one page of the list and give the number of the flag that is opened.

    Parameters
    ----------
    page : DataFrame[Flags]
        From :func:`_page`.
    lines : DataFrame
        The same flags as :func:`flag_list` writes them.
    many : int
        How many flags there are on all pages.
    limits : Series
        How many limits flag a result, by :func:`same_result`.
    """
    places = list(page.index)
    if st.session_state.get(LIST_KEY) not in places:
        st.session_state[LIST_KEY] = places[0]
    rows = list(zip(page.to_dict("records"), lines.to_dict("records"), strict=True))
    told = [_caption(*row, int(limits.get(key, 1))) for row, key in zip(rows, same_result(page), strict=True)]
    titles = {at: f"{at + 1}. {plain(_title(*row))}" for at, row in zip(places, rows, strict=True)}
    opened = st.radio(
        say("Flags {first} to {last} of {many}, worst first", first=count_text(places[0] + 1),
            last=count_text(places[-1] + 1), many=count_text(many)),
        places, key=kept(LIST_KEY, *titles.values()), format_func=titles.__getitem__, captions=told,
    )  # fmt: skip
    if many > PER_PAGE:
        number = int(st.session_state[PAGE_KEY])
        first, last = places[0] == 0, places[-1] == many - 1
        with st.container(horizontal=True):
            label = say("Previous {number} flags", number=PER_PAGE)
            st.button(label, key=BEFORE_KEY, disabled=first, on_click=_turn, args=(number - 1,))
            label = say("Next {number} flags", number=PER_PAGE)
            st.button(label, key=AFTER_KEY, disabled=last, on_click=_turn, args=(number + 1,))
    return int(opened if opened is not None else places[0])


def _title(flag: Row, line: Row) -> str:
    """Name a flag in a few words, its result with the unit: ``Arsenic: 14 µg/L``."""
    result = f"{line[RESULT]} {figures_in(line[UNIT])}".strip() if line[RESULT] else ""
    return sentence(": ".join(filter(None, (_named(flag), result))))


def _named(flag: Row) -> str:
    """Name what a flag is about: its parameter in the language of the page, else the code of the finding."""
    code, name = str(flag[Flags.parameter]), str(flag[Flags.name])
    return parameter_words(code, name) if code else name


def _caption(flag: Row, line: Row, limits: int) -> str:
    """Write what stands below a flag in the list: kind, what it leads to, limit and table, stage and sample."""
    kind, leads = FlagKind(flag[Flags.kind]), Disposition(flag[Flags.leads_to])
    words = [f"**{kind_words(flag)}**", *([] if kind is FlagKind.FINDING else [say(LEADS_WORDS[leads])])]
    titles = BETWEEN_TABLES.join(table_title(name) for name in str(flag[Flags.table]).split(BETWEEN_TABLES))
    named = [titles, say(str(flag[Flags.limit_class]))]
    of_limit = ", ".join(word for word in named if word)
    limit = f"{figures_in(line[LIMIT])} ({of_limit})" if line[LIMIT] else of_limit
    more = say("and 1 more limit") if limits == 2 else say("and {number} more limits", number=limits - 1)
    more = more if limits > 1 else ""
    others = (" ".join(filter(None, (limit, more))), flag[Flags.stage] or flag[Flags.point], flag[Flags.sample])
    return " · ".join([*words, *(plain(text) for text in others if text)])


def _turn(page: int) -> None:
    st.session_state[PAGE_KEY] = page
