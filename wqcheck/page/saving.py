"""Turns a change of the plant's settings into the files beside its page, and into a sentence of what stands where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from wqcheck.errors import RecordRefusedError
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.spoken import say
from wqcheck.page.words import plain
from wqcheck.plant_files import replace_plant_file
from wqcheck.plant_settings import save_plant_settings


def save_key(part: str) -> str:
    """Return the key of the button that saves a part of the settings."""
    return f"save {part}"


def save_button(
    office: Office, part: str, save: Callable[[], str], *, label: str = "", problems: Sequence[str] = ()
) -> None:
    """Draw the button that saves a part of the settings; closed for who may not, and while there are *problems*."""
    st.button(
        label or say("Save"), key=save_key(part), type="primary", disabled=not office.may_set or bool(problems),
        on_click=do, args=(partial(_saved, office, save), save_key(part)),
    )  # fmt: skip
    draw_refusal(save_key(part))


def _saved(office: Office, save: Callable[[], str]) -> str:
    if not office.may_set:
        raise RecordRefusedError("the settings are changed by an authorised releaser only")
    return save()


def store_settings(office: Office, what: str, **changes: Any) -> str:
    """Save the settings with some changes, and say that *what* is saved."""
    save_plant_settings(replace(office.plant, **changes), office.plant_file, at=datetime.now().astimezone())
    return saved_words(what, office.plant_file)


def save_file(
    office: Office, field: str, name: str, content: str, check: Callable[[Path], object], *, what: str
) -> str:  # fmt: skip
    """Save a file beside the settings, which name it as *field*; the one before is kept beside it.

    Raises
    ------
    wqcheck.errors.PlantFileError
        What *check* finds in it; nothing was saved.
    """
    path = office.plant_file.parent / name
    replace_plant_file(path, content, at=datetime.now().astimezone(), check=check)
    store_settings(office, what, **{field: name})
    return saved_words(what, path)


def saved_words(what: str, path: Path) -> str:
    """Say what was saved in which file."""
    return say("Saved: {what}, in {file}. A file that stood there before is kept beside it under its time.",
               what=plain(what), file=plain(path.resolve()))  # fmt: skip
