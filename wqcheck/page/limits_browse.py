"""Turns one limit table into what it is, the rows that answer a search, and everything that one row says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.errors import LimitTableError
from wqcheck.limit_comparison.wording import rows_in_words
from wqcheck.limit_tables.acts import Act, load_acts, remark_on
from wqcheck.limit_tables.columns import EVIDENCE
from wqcheck.limit_tables.loading import LimitTable, binds_product
from wqcheck.page.settings import Settings
from wqcheck.page.shown import figures_in, moment
from wqcheck.page.spoken import kept, later, say
from wqcheck.page.table_choice import chosen_first, loaded, table_choices
from wqcheck.page.words import codes_found, message_text, plain, titled
from wqcheck.parameters import aliases, catalogue, normalise
from wqcheck.tables import LimitClass, Limits, Product

TABLE_KEY = "table looked into"
SEARCH_KEY = "search in the table"
CLASS_KEY = "classes looked at"
WATER_KEY = "only rows for the kind of water"
DOUBT_KEY = "only rows that are not verified"
ROWS_KEY = "rows of the table"
ROW_KEY = "row looked at"

MARKS = later(
    "A mark is the issuer's. Of the WHO (from memory, look it up in Annex 3): P provisional, for what is known of "
    "health is uncertain; A provisional, for less cannot be measured; T provisional, for less cannot be reached by "
    "treatment; D provisional, for disinfection may exceed it; C below it colour, taste or smell may be complained of."
)
_MOST_SPELLINGS = 24

Row = Mapping[str, Any]
"""The cells of one limit by column name."""


def draw_browse(settings: Settings) -> None:
    """Draw the choice of a table, what it is, and its rows."""
    choices = chosen_first(table_choices(settings.own_folder), settings.limits)
    value = st.selectbox(
        say("Limit table"), list(choices), key=TABLE_KEY, persist_state="session",
        index=_first(list(choices), settings), format_func=lambda value: choices[value].label,
    )  # fmt: skip
    try:
        table = loaded(value)
    except LimitTableError as error:
        st.error(message_text(error))
        st.markdown(say("Open it under *Edit a copy*: each bad cell is named there and can be mended in a grid."))
        return
    _draw_facts(table, value if value in choices else "", settings)
    found = _search(table, settings.product)
    st.markdown(
        say("**{found} of {all} rows.** Choose a row to read all of it.", found=len(found), all=len(table.rows))
    )
    if found.empty:
        st.info(say("No row answers the search. A parameter without a row here has no limit in this table."))
        return
    _draw_row(table, _draw_rows(found), value)


def _first(values: list[str], settings: Settings) -> int:
    chosen = next((value for value in settings.limits if value in values), values[0])
    return values.index(chosen)


def _act_of(table: str) -> Act | None:
    return next((act for act in load_acts() if act.table == table), None)


def _draw_facts(table: LimitTable, value: str, settings: Settings) -> None:
    """Draw issuer, edition, waters, how far the rows were checked, and the remark on the chosen kind of water."""
    act = _act_of(value)
    said = [say("**Source:** {source}", source=plain("; ".join(table.rows[Limits.source].unique())))]
    if act is not None:
        issuer = say(
            "**{where}:** {act} ({standing})", where=act.jurisdiction, act=plain(act.act), standing=say(act.standing)
        )
        said.insert(0, f"{issuer} · [{say('official text')}]({act.link})" if act.link else issuer)
    said.append(say("**Speaks of:** {waters} (rows for each)", waters=plain(_waters(table.rows))))
    st.markdown("  \n".join(said))
    read_in = table.rows[Limits.evidence].str.partition(":")[0].value_counts()
    checked = ", ".join(f"{say(how)} {read_in.get(how, 0)}" for how in EVIDENCE if read_in.get(how, 0))
    unread = len(table.rows) - int(read_in.get(EVIDENCE[0], 0))
    if unread:
        words = say("{unread} of {all} rows are not verified against the official text ({checked}). Secondary text: "
                    "read in somebody else's copy of it. Memory: written down without any text. Look such a limit up "
                    "before you rely on it.", unread=unread, all=len(table.rows), checked=checked)  # fmt: skip
        st.warning(words)
    else:
        st.markdown(say("All {all} rows were read in the official text.", all=len(table.rows)))
    remark = remark_on(value, settings.product, settings.on, load_acts())
    if remark:
        st.warning(plain(remark))


def _waters(rows: pd.DataFrame) -> str:
    counts = {str(word): int(binds_product(rows, word).sum()) for word in Product}
    return ", ".join(f"{say(word)} ({count})" for word, count in counts.items() if count)


def _search(table: LimitTable, product: Product) -> pd.DataFrame:
    """Draw what to search for and return the rows of the table that answer it."""
    rows: pd.DataFrame = table.rows
    wide, narrow = st.columns([3, 2], gap="medium", vertical_alignment="bottom")
    text = wide.text_input(
        say("Search"), key=SEARCH_KEY, persist_state="session",
        placeholder=say("name, other spelling, CAS number, class or clause"),
    )  # fmt: skip
    classes = narrow.multiselect(
        say("Class"),
        [str(word) for word in LimitClass],
        format_func=say,
        key=kept(CLASS_KEY),
        persist_state="session",
        placeholder=say("all"),
    )
    with st.container(horizontal=True):
        water = st.checkbox(
            say("Only what binds {water} water", water=say(product)), key=WATER_KEY, persist_state="session"
        )
        doubt = st.checkbox(say("Only rows that are not verified"), key=DOUBT_KEY, persist_state="session")
    if text.strip():
        rows = rows[matching(rows, text)]
    if classes:
        rows = rows[rows[Limits.limit_class].isin(classes)]
    if water:
        rows = rows[binds_product(rows, product)]
    return rows[~rows[Limits.evidence].str.startswith(EVIDENCE[0])] if doubt else rows


def matching(rows: pd.DataFrame, text: str) -> pd.Series[bool]:
    """Tell which rows answer a search: by the parameter or a member in any spelling or CAS number, class or clause."""
    codes = codes_found(text)
    named = rows[Limits.parameter].isin(codes)
    members = rows[Limits.members].fillna("").str.split(r";\s*", regex=True)
    added_up = pd.Series([bool(codes & set(listed)) for listed in members], index=rows.index, dtype=bool)
    wanted = normalise(text)
    said = (rows[Limits.limit_class] + " " + rows[Limits.clause]).map(normalise).str.contains(wanted, regex=False)
    return named | added_up | (said & bool(wanted))


def browse_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return *rows* as the page shows them; how a row was checked is a column of words."""
    words = rows_in_words(rows)
    return pd.DataFrame(
        {
            say("Parameter"): words["parameter"].map(titled),
            say("Limit"): words["limit"].map(figures_in),
            say("Mark"): words["mark"],
            say("Read in the official text"): rows[Limits.evidence].map(verified_words),
            say("Class"): words["class"].map(say),
            say("Waters"): words["waters"],
            say("Clause"): words["clause"],
            say("In force"): words["holds"],
            say("Line"): words["line"].astype("str"),
        }
    )


def verified_words(evidence: object) -> str:
    """Say in words whether a row was read in the official text."""
    if str(evidence).startswith(EVIDENCE[0]):
        return say("yes")
    return say("NOT verified ({how})", how=say(str(evidence).partition(":")[0]))


def _widths() -> dict[str, Any]:
    """Give the columns that say what is asked the room that they need, and the rest what is left."""
    wide = {say("Parameter"): 230, say("Limit"): 290, say("Mark"): 90, say("Class"): 110}
    return {name: st.column_config.TextColumn(width=width) for name, width in wide.items()}


def _draw_rows(found: pd.DataFrame) -> Row | None:
    """Draw the rows and return the one that is chosen."""
    event = st.dataframe(
        browse_table(found), hide_index=True, height=min(380, 38 + 35 * len(found)), key=ROWS_KEY, on_select="rerun",
        selection_mode=["single-row", "single-cell"], column_config=_widths(), alt=say("Rows of the limit table"),
    )  # fmt: skip
    cells = [row for row, _ in event["selection"].get("cells", ())]
    picked = [place for place in [*event["selection"]["rows"], *cells] if place < len(found)]
    if found[Limits.status].notna().any():
        st.caption(say(MARKS))
    return {str(name): cell for name, cell in found.iloc[picked[0]].items()} if picked else None


def _draw_row(table: LimitTable, row: Row | None, value: str) -> None:
    """Draw everything that the chosen row says, and the way to its text."""
    if row is None:
        return
    act = _act_of(value)
    with st.container(border=True):
        st.markdown(f"**{plain(titled(str(row['parameter'])))}**: {plain(figures_in(_limit_words(table, row)))}")
        facts = {name: text for name, text in row_facts(row).items() if text}
        st.markdown("  \n".join(f"**{name}:** {plain(text)}" for name, text in facts.items()))
        if act is not None and act.link:
            st.link_button(say("Open the official text: {act}", act=plain(act.act)), act.link, key="text of the row")
        else:
            st.caption(say("No address of this text is known; look for the source by its title at its issuer."))


def _limit_words(table: LimitTable, row: Row) -> str:
    one: pd.DataFrame = table.rows[table.rows[Limits.line] == row["line"]]
    return str(rows_in_words(one)["limit"].iloc[0])


def row_facts(row: Row) -> Mapping[str, str]:
    """Return what one row says under its headings, the blank ones too."""
    code = str(row["parameter"])
    entry = catalogue()[code]
    spellings = [spelling for spelling, alias in aliases().items() if alias.code == code]
    more = f" … ({len(spellings) - _MOST_SPELLINGS} more)" if len(spellings) > _MOST_SPELLINGS else ""
    cas = say("CAS {number}", number=entry.cas) if entry.cas else ""
    evidence = str(row["evidence"])
    return {
        say("Read in the official text"): f"{verified_words(evidence)} · {evidence}",
        say("Source"): str(row["source"]),
        say("Clause"): str(row["clause"]),
        say("Note"): _text(row["note"]),
        say("Class, rule"): f"{say(row['class'])}, {row['rule']}",
        say("Waters"): str(row["product"]).replace(";", ", "),
        say("Added up"): _text(row["members"]),
        say("Weights"): _text(row["weights"]),
        say("Mark"): _text(row["status"]),
        say("In force from"): moment(row["valid_from"]),
        say("In force until"): moment(row["valid_to"]),
        say("Code"): " · ".join(filter(None, (code, cas))),
        say("Also written"): ", ".join(spellings[:_MOST_SPELLINGS]) + more,
    }


def _text(cell: object) -> str:
    return cell if isinstance(cell, str) else ""
