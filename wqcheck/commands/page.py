"""Turns ``wqcheck page`` into the page on this machine, or on a network where everybody logs in."""

from __future__ import annotations

import sys
from importlib import import_module
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated

import typer

from wqcheck.commands.acting import DEFAULT_STORE, PeopleFile, Place
from wqcheck.errors import WqcheckError

PAGE_OPTIONS = {
    "server.headless": "true",
    "server.maxUploadSize": "50",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "theme.primaryColor": "#1f5f7a",
}
"""What ``.streamlit/config.toml`` sets for a checkout, so that an installed package shows the same page."""

DRAWN_FROM = "wqcheck.page.main"
"""Imported before the server answers, so that the first view of the day is drawn at once."""

page_app = typer.Typer(add_completion=False)


@page_app.command()
def page(
    port: Annotated[int, typer.Option(help="Port of the page.")] = 8501,
    store: Place = DEFAULT_STORE,
    people: PeopleFile = None,
    person: Annotated[str, typer.Option("--as", help="Person who acts on the page; asked there by default.")] = "",
    settings: Annotated[
        Path | None, typer.Option("--settings", help="Settings of the plant (TOML); plant.toml in this folder, if any.")
    ] = None,
    address: Annotated[
        str, typer.Option(help="Address to listen on; another than this machine's own takes --login and --people.")
    ] = "127.0.0.1",
    login: Annotated[
        Path | None, typer.Option("--login", help="Streamlit secrets file with the login service (section [auth]).")
    ] = None,
) -> None:
    """Start the Streamlit page: for this machine alone, or with a login for others."""
    from streamlit.web import cli as streamlit

    from wqcheck.shipped_files import page_script

    if not _is_loopback(address) and not (login and people):
        raise WqcheckError(
            f"the page would be open to other machines at {address}; give a login service (--login FILE) and the "
            "people who may act (--people FILE), or leave --address out"
        )
    if login and not login.is_file():
        raise WqcheckError(f"{login}: there is no such file; give the secrets file with the section [auth]")
    import_module(DRAWN_FROM)
    options = {**PAGE_OPTIONS, "server.port": str(port), "server.address": address}
    given = {"store": store, "people": people, "settings": settings, "as": person}
    own = [f"--{name}={value}" for name, value in given.items() if value]
    flags = [f"--{name}={value}" for name, value in options.items()]
    flags += [f"--secrets.files={login.resolve()}"] if login else []
    sys.argv = ["streamlit", "run", str(page_script()), *flags, "--", *own]
    typer.echo(f"The page opens at http://{address}:{port} (stop it with Ctrl+C)", err=True)
    raise typer.Exit(streamlit.main(standalone_mode=False) or 0)


def _is_loopback(address: str) -> bool:
    """Whether only this machine itself reaches an address."""
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return address.casefold() == "localhost"
