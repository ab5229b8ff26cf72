"""Turns what a login service (OpenID Connect) says of the one at the page into a person of the people file.

The page keeps no password: Streamlit talks to the service, and the people file says which roles its user has.
"""

from __future__ import annotations

import streamlit as st

from wqcheck.errors import RecordRefusedError
from wqcheck.page.spoken import say
from wqcheck.page.words import plain, refusal_text
from wqcheck.records.roles import People, Person

LOGIN_KEY = "log in"
LOGOUT_KEY = "log out"


def login_is_set_up() -> bool:
    """Whether Streamlit's secrets name a login service (section ``[auth]``)."""
    return bool(st.secrets.load_if_toml_exists()) and "auth" in st.secrets


def open_to_others() -> bool:
    """Whether the one at the page came over the network: Streamlit gives no address for this machine itself."""
    return isinstance(st.context.ip_address, str)


def draw_logged_in(people: People) -> Person | None:
    """Draw who is logged in, or the way to log in; give the person, None where nobody is or may act."""
    if people.single_user:
        st.error(say("A login service is set up, but no people file says who may do what. Start with --people FILE."))
        return None
    if not st.user.is_logged_in:
        st.button(say("Log in"), key=LOGIN_KEY, type="primary", on_click=st.login)
        st.caption(say("Until you log in you can look, but not act."))
        return None
    st.button(say("Log out"), key=LOGOUT_KEY, on_click=st.logout)
    claims = st.user.to_dict()
    try:
        return people.logged_in(
            subject=str(claims.get("sub") or ""),
            email=str(claims.get("email") or ""),
            email_verified=claims.get("email_verified") is True,
        )
    except RecordRefusedError as refusal:
        st.error(refusal_text(refusal))
        return None


def draw_refused() -> None:
    """Say why nobody may act on a page that others can reach and nobody logs in to."""
    st.error(
        say("This page is open to other machines, but has no login, so nobody can act here. Set up a login service, "
            "or use it on the machine itself.")
    )  # fmt: skip
    st.caption(plain(say("README, section Records, says how.")))
