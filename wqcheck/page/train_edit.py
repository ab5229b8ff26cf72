"""Turns the train in use into grids in which its points, its stages and what stands at each of them are typed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.errors import PlantFileError, WqcheckError
from wqcheck.page.office import Office, do
from wqcheck.page.saving import save_button, save_file
from wqcheck.page.settings import NamedBytes
from wqcheck.page.spoken import later, say
from wqcheck.page.train_input import KEPT_TRAIN_KEY, SAMPLE_TRAIN, opened_train, sample_file
from wqcheck.page.typed_grid import draw_grid, draw_unsaved, rows_now, rows_of
from wqcheck.page.words import message_text, plain
from wqcheck.plant.flow_fit import CARRIES
from wqcheck.plant_files import read_plant_text
from wqcheck.train.description import PAIRING_HOURS, load_train
from wqcheck.train.editing import (
    ORDER,
    POINT_KEYS,
    STAGE_KEYS,
    TypedTrain,
    as_typed,
    named_fields,
    stage_unit,
    train_text,
    typed_problems,
)
from wqcheck.train.kinds import KINDS

BEGIN_KEY = "train that is edited"
IN_USE_KEY = "train that is edited while one is in use"
NAME_KEY = "name of the train"
PAIRING_KEY = "pairing of the train"
POINTS_KEY = "points of the train"
STAGES_KEY = "stages of the train"
SHOWN_KEY = "columns of the stages"
USE_KEY = "use the typed train"
DOWNLOAD_KEY = "typed train as file"
SAVE_PART = "typed train"
DEFAULT_NAME = "train.toml"

IN_USE, OF_PLANT, SAMPLE, EMPTY = (
    later("the train in use"), later("the plant's train"), later("the train of the sample plant (invented)"),
    later("an empty train"),
)  # fmt: skip

TITLES = {
    "code": later("Code"), "name": later("Name"), "aliases": later("Also written (parted by ;)"),
    "product": later("Finished water"), ORDER: later("Order of flow"), "kind": later("Kind of stage"),
    "inlet": later("Inlet point"), "outlet": later("Outlet point"), "note": later("Note"),
    "concentrate": later("Second outlet (concentrate, backwash)"), "recycle_to": later("Led back to"),
    "carries": later("Carries which flow"), "installed": later("Units installed"),
    "standby": later("Units that stand by"), "membranes": later("Membrane elements"),
    "rated_flow": later("Rated flow"), "rated_pressure": later("Rated pressure"),
    "media_volume": later("Volume of the bed"), "media_area": later("Area of the bed"),
    "media_life": later("Life of the bed"), "membrane_area": later("Area of an element"),
    "lamp_dose": later("Validated dose"), "lamp_life": later("Life of the lamp"),
    "plan_change_out": later("Plan to change at a drop of"), "change_out": later("Change at a drop of"),
    "media_changed": later("Bed changed on"), "lamp_changed": later("Lamp changed on"),
    "rated_removal": later("Rated removal"), "pairing_tolerance": later("Samples may lie apart"),
}  # fmt: skip
"""What a person reads for each key of a train file."""

FLOW, RATINGS, BEDS, MEMBRANES = (
    later("Order and points"), later("Ratings"), later("Beds and cartridges"), later("Membranes and lamps"),
)  # fmt: skip
GROUPS: Mapping[str, Sequence[str]] = {
    FLOW: (ORDER, "name", "kind", "inlet", "outlet", "concentrate", "recycle_to", "note"),
    RATINGS: ("name", "kind", "rated_flow", "rated_removal", "lamp_dose", "rated_pressure", "installed", "standby",
              "carries"),
    BEDS: ("name", "kind", "media_volume", "media_area", "media_changed", "media_life", "plan_change_out",
           "change_out"),
    MEMBRANES: ("name", "kind", "membranes", "membrane_area", "lamp_life", "lamp_changed"),
}  # fmt: skip
"""The columns of the stages, in groups that a tablet can show."""

_HELP = {
    "carries": later("What of the planned day goes through it; blank: told from its place."),
    "installed": later("A whole number; the ratings are of one unit."),
    "standby": later("A whole number: how many of the units wait."),
    "rated_flow": later("Of one unit; of permeate for membranes."),
    "rated_removal": later(
        "Parameter and removal, parted by ; as in: E. coli 99.9 %; turbidity 90 %. What it removes is then "
        "held against this."
    ),
    "lamp_dose": later("As the lamp was validated."),
    "media_changed": later("A day, written 2025-03-31."),
    "lamp_changed": later("A day, written 2025-03-31."),
    "note": later("Why an outlet feeds no later stage, such as: concentrate to waste."),
    ORDER: later("A number; 2.5 puts a stage between 2 and 3, blank puts it last."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """The fields of one train under edit; ``digest`` tells it from other trains, which keep what was typed in them."""

    digest: str
    us_units: bool

    def key(self, name: str) -> str:
        """Return the key of a field or grid of this train."""
        return f"{name} {self.digest[:12]}{' us' if self.us_units and name == STAGES_KEY else ''}"


def draw_train_edit(office: Office, used: NamedBytes | None, *, us_units: bool) -> None:
    """Draw the train to begin with, its grids, what is wrong in them, and what can be done with the typed train.

    Parameters
    ----------
    office : Office
    used : (str, bytes) or None
        The train file in use, which may be unsound.
    us_units : bool
        Whether a bare number is in United States units.
    """
    name, begin = _begun(office, used)
    fields = Fields(digest=hashlib.sha256(train_text(begin).encode()).hexdigest(), us_units=us_units)
    st.caption(say(
        "A number alone is in the unit of its heading; another unit may be written behind it, such as 44 gal/min. "
        "Numbers take a decimal point. What is left blank is not known, and what needs it is not computed."
    ))  # fmt: skip
    left, right = st.columns([3, 2], gap="medium")
    left.text_input(say("Name of the plant and its train"), begin.name, key=fields.key(NAME_KEY),
                    persist_state="session")  # fmt: skip
    right.text_input(
        say("Hours that samples before and after a stage may lie apart"), begin.pairing,
        key=fields.key(PAIRING_KEY), placeholder=f"{PAIRING_HOURS:g} h", persist_state="session",
    )  # fmt: skip
    st.markdown("**" + say("Sampling points") + "**")
    points = _draw_points(begin, fields)
    st.markdown("**" + say("Stages, in the order of flow") + "**")
    stages = _draw_stages(begin, fields)
    for key in (POINTS_KEY, STAGES_KEY):
        draw_unsaved(fields.key(key))
    typed = TypedTrain(
        name=st.session_state[fields.key(NAME_KEY)], pairing=st.session_state[fields.key(PAIRING_KEY)],
        points=rows_of(points), stages=rows_of(stages), us_units=us_units,
    )  # fmt: skip
    problems = problems_said(typed)
    if problems:
        listed = "\n".join(f"- {plain(one)}" for one in problems)
        st.error(say("To mend before this train can be used: {count}", count=len(problems)) + "\n\n" + listed)
    _draw_acts(office, name, fields, typed, problems)


def _begun(office: Office, used: NamedBytes | None) -> tuple[str, TypedTrain]:
    """Draw which train is edited, and give its file name and its keys as texts."""
    plant = office.file(office.plant.train)
    found: dict[str, NamedBytes | None] = {
        IN_USE: used,
        OF_PLANT: (plant.name, plant.read_bytes()) if plant and plant.is_file() else None,
        SAMPLE: sample_file(SAMPLE_TRAIN),
        EMPTY: None,
    }
    offered = [title for title, file in found.items() if file or title == EMPTY]
    key = BEGIN_KEY if used is None else IN_USE_KEY
    chosen = st.radio(say("Edit"), offered, format_func=say, horizontal=True, key=key, persist_state="session")
    file = found[chosen or EMPTY]
    if file is None:
        return DEFAULT_NAME, TypedTrain()
    try:
        opened_train(file)
        return file[0], as_typed(read_plant_text(file[1]))
    except WqcheckError as error:
        st.error(message_text(error))
        return file[0], TypedTrain()


def _draw_points(begin: TypedTrain, fields: Fields) -> pd.DataFrame:
    columns: dict[str, Any] = {key: st.column_config.TextColumn(say(TITLES[key])) for key in POINT_KEYS}
    columns["product"] = st.column_config.CheckboxColumn(
        say(TITLES["product"]), help=say("Results at these points decide over a batch.")
    )
    table = pd.DataFrame(list(begin.points), columns=list(POINT_KEYS))
    return draw_grid(fields.key(POINTS_KEY), table, columns, alt=say("Sampling points"))


def _draw_stages(begin: TypedTrain, fields: Fields) -> pd.DataFrame:
    group = st.segmented_control(
        say("Columns of the stages"), list(GROUPS), default=FLOW, required=True, format_func=say, key=SHOWN_KEY,
        label_visibility="collapsed", persist_state="session",
    )  # fmt: skip
    keys = [ORDER, *STAGE_KEYS]
    table = pd.DataFrame(list(begin.stages), columns=keys)
    table[ORDER] = table[ORDER].astype("float64")
    shown = [key for key in GROUPS[group or FLOW] if key in keys]
    columns = {key: _column(key, us_units=fields.us_units) for key in keys}
    return draw_grid(fields.key(STAGES_KEY), table, columns, shown=shown, alt=say("Stages, in the order of flow"))


def _column(key: str, *, us_units: bool) -> Any:
    """Say how a column of the stages is edited; its unit stands in its heading."""
    unit = stage_unit(key, us_units=us_units)
    title, words = say(TITLES[key]) + (f" ({unit})" if unit else ""), say(_HELP[key]) if key in _HELP else None
    if key == ORDER:
        return st.column_config.NumberColumn(title, help=words, format="%g", width="small")
    if key in ("kind", "carries"):
        options = [*KINDS] if key == "kind" else [*CARRIES]
        return st.column_config.SelectboxColumn(title, help=words, options=options, format_func=_said)
    return st.column_config.TextColumn(title, help=words, pinned=key == "name")


def _said(word: object) -> str:
    return say(str(word))


def problems_said(typed: TypedTrain) -> list[str]:
    """Return what is wrong with a typed train, fields named as the grids head them."""
    return list(named_fields(typed_problems(typed), {key: say(title) for key, title in TITLES.items()}))


def _draw_acts(office: Office, name: str, fields: Fields, typed: TypedTrain, problems: Sequence[str]) -> None:
    """Draw what can be done with the typed train: look through it here, take its file away, save it as the plant's."""
    saved = office.plant.train or DEFAULT_NAME
    with st.container(horizontal=True):
        st.button(
            say("Use it in this view"), key=USE_KEY, disabled=bool(problems), on_click=do,
            args=(partial(_use, name, fields, typed),),
        )  # fmt: skip
        st.download_button(
            say("Download the train file"), train_text(typed) if not problems else "", file_name=name,
            mime="application/toml", key=DOWNLOAD_KEY, disabled=bool(problems), on_click="ignore",
        )  # fmt: skip
        save_button(
            office, SAVE_PART, partial(_save, office, saved, fields, typed), problems=problems,
            label=say("Save as the plant's train ({name})", name=plain(saved)),
        )  # fmt: skip
    st.caption(say("Comments of a train file are not kept when it is saved from here. Ratings are the maker's: compare "
                   "them with its papers."))  # fmt: skip


def _at_the_click(fields: Fields, drawn: TypedTrain) -> str:
    """Return the train file of what stands in the fields now, also what was typed by the very click."""
    typed = replace(
        drawn, name=st.session_state[fields.key(NAME_KEY)], pairing=st.session_state[fields.key(PAIRING_KEY)],
        points=rows_now(fields.key(POINTS_KEY)), stages=rows_now(fields.key(STAGES_KEY)),
    )  # fmt: skip
    problems = problems_said(typed)
    if problems:
        raise PlantFileError("\n".join([say("Nothing was saved, for this has to be mended first:"), *problems]))
    return train_text(typed)


def _use(name: str, fields: Fields, drawn: TypedTrain) -> str:
    text = _at_the_click(fields, drawn)
    st.session_state[KEPT_TRAIN_KEY] = (name, text.encode("utf-8"))
    st.session_state[IN_USE_KEY] = IN_USE
    return say("{name} as it was typed is in use in this view; it is saved nowhere yet.", name=plain(name))


def _save(office: Office, name: str, fields: Fields, drawn: TypedTrain) -> str:
    text = _at_the_click(fields, drawn)
    what = say("treatment train {name}", name=st.session_state[fields.key(NAME_KEY)])
    said = save_file(office, "train", Path(name).name if not office.plant.train else name, text, load_train, what=what)
    st.session_state[KEPT_TRAIN_KEY] = (Path(name).name, text.encode("utf-8"))
    return f"{said} " + say("New checks use it; batches that were checked keep the train that they were checked with.")
