"""Turns the name of a kind of shipped file into the folder where this installation keeps it."""

from __future__ import annotations

from pathlib import Path

KINDS = ("limits", "sample_results")
STAGE_EXPECTATIONS = "stage_expectations.csv"
"""The file among the limits that is no limit table: what each kind of stage usually does."""


def shipped_folder(kind: str) -> Path:
    """Return the folder of the files of *kind*: inside an installed package, otherwise beside it in a checkout.

    Parameters
    ----------
    kind : str
        ``limits`` or ``sample_results``.

    Raises
    ------
    ValueError
        *kind* is neither.
    FileNotFoundError
        The folder is in neither place, so the installation is incomplete.
    """
    if kind not in KINDS:
        raise ValueError(f"shipped files are of the kinds {', '.join(KINDS)} (given: {kind!r})")
    package = Path(__file__).resolve().parent
    places = (package / "shipped" / kind, package.parent / kind)
    for place in places:
        if place.is_dir():
            return place
    raise FileNotFoundError(
        f"the shipped folder {kind!r} is missing; install wqcheck again (looked in {places[0]} and {places[1]})"
    )


def page_script() -> Path:
    """Return the script that Streamlit runs: ``app.py`` in an installed package, otherwise beside it in a checkout."""
    package = Path(__file__).resolve().parent
    places = (package / "shipped" / "app.py", package.parent / "app.py")
    return next((place for place in places if place.is_file()), places[1])
