"""Turns the list of acts into which text binds which water in which jurisdiction."""

from __future__ import annotations

import streamlit as st

from wqcheck.limit_tables.acts import Act, acts_for, load_acts, remark_on
from wqcheck.page.settings import Settings
from wqcheck.page.shown import moment, table_title
from wqcheck.page.spoken import kept, say
from wqcheck.page.table_choice import TABLES_KEY
from wqcheck.page.words import plain
from wqcheck.tables import Product

WATER_KEY = "water of the acts"
WHERE_KEY = "jurisdiction of the acts"


def draw_acts(settings: Settings) -> None:
    """Draw the acts for a kind of water and a jurisdiction, those in force first."""
    acts = load_acts()
    kinds = [str(word) for word in Product]
    left, right = st.columns(2, gap="medium")
    water = left.selectbox(
        say("Kind of water that is sold"), kinds, index=kinds.index(settings.product), format_func=say,
        key=kept(WATER_KEY), persist_state="session",
    )  # fmt: skip
    places = list(dict.fromkeys(act.jurisdiction for act in acts))
    where = right.selectbox(
        say("Where it is sold"), places, index=None, key=WHERE_KEY, persist_state="session", placeholder=say("anywhere")
    )
    found = [act for act in acts_for(Product(water), acts) if where in (None, act.jurisdiction)]
    if found:
        for act in found:
            _draw_act(act)
    else:
        st.info(say("No text for {water} water in {where} is listed here. That does not mean that there is none: ask "
                    "the regulator.", water=say(water), where=where or say("any place")))  # fmt: skip
    for name in settings.limits:
        remark = remark_on(name, Product(water), settings.on, acts)
        if remark:
            st.warning(
                say("Chosen for checks: {table}. {remark}", table=plain(table_title(name)), remark=plain(remark))
            )
    st.markdown(say("The regulator of the country of sale says which texts hold for you."))


def _draw_act(act: Act) -> None:
    """Draw everything that ``wqcheck limits acts`` says of an act."""
    until = say(str(act.standing))
    until = say("{standing} until {day}", standing=until, day=moment(act.until)) if act.until else until
    with st.container(border=True):
        st.markdown(f"**{plain(act.jurisdiction)}: {plain(act.act)}** ({until})")
        table = plain(act.short) if act.table else say("none is shipped")
        st.markdown(
            say("Binds {waters} water. Limit table: {table}. Known from: {evidence}.",
                waters=", ".join(map(say, act.waters)), table=table, evidence=plain(act.evidence))
        )  # fmt: skip
        link = f" [{say('Open the text')}]({act.link})" if act.link else ""
        st.markdown(plain(act.note) + link)
        if act.table and act.table not in st.session_state.get(TABLES_KEY, ()):
            st.button(say("Use this table in checks"), key=f"use {act.table}", on_click=_use, args=(act.table,))


def _use(table: str) -> None:
    """Choose a shipped table for checks, beside those that are chosen."""
    st.session_state[TABLES_KEY] = [*st.session_state.get(TABLES_KEY, ()), table]
