"""Turns plant readings that are dropped on the page or typed into it into files that the plant commands read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.settings import NamedBytes
from wqcheck.page.spoken import later, say
from wqcheck.page.train_input import opened_plant
from wqcheck.page.words import message_text, plain, sentence
from wqcheck.plant.disinfection import BAFFLING
from wqcheck.plant.readings import HOURLY, NEEDED, SECTIONS
from wqcheck.plant.typed_readings import TITLES, UNITS, TypedReadings, reading_name, typed_toml, usual_unit

FILES_KEY = "plant readings files"
KEPT_FILES_KEY = "plant readings kept"
TABLE_KEY = "plant readings table"
BAFFLING_KEY = "plant readings baffling"
UNIT_KEY = "plant readings hourly unit"
TYPED_KEY = "plant readings typed"
BASES_KEY = "plant readings as first drawn"
DOWNLOAD_KEY = "plant readings download"
EDITOR_KEY = "plant readings editor"

FILE_TYPES = ["toml", "xlsx", "xls", "ods", "csv"]
TYPED_FILE = "plant_readings_typed.toml"

CARTRIDGES, VESSELS, HOURS = "cartridges", "vessels", "hours"
LISTS = {
    CARTRIDGES: later("Pressure drop of the cartridges over time"),
    VESSELS: later("Permeate of each pressure vessel"),
    HOURS: later("Hours of the planned day"),
}
"""What is typed as rows that can be added, beside the tables of :data:`TITLES`."""

NO_UNIT = "–"
_ROW_HIGH = 36  # px, so that no reading hides below the edge of its table
VALUE, UNIT, DAY, NEED, READING = "value", "unit", "day", "need", "reading"


def draw_plant_readings(plant: str, *, us_units: bool) -> tuple[NamedBytes, ...]:
    """Draw the upload and the tables to type into; give the files in use, the typed one last, for the last one counts.

    Parameters
    ----------
    plant : str
        What the typed file calls the plant.
    us_units : bool
        Whether United States units stand in a blank table.
    """
    files = _draw_files()
    st.markdown("##### " + say("Type readings in"))
    st.caption(
        say(
            "A typed reading counts before the same one of a file. Numbers take a decimal point. What is left blank is "
            "not known, and what needs it is not computed; the ratings of the stages come from the train file."
        )
    )
    names = [*TITLES, *LISTS]
    chosen = st.selectbox(say("Table"), names, format_func=_title, key=TABLE_KEY)
    _draw_table(chosen, us_units=us_units)
    typed = typed_readings(st.session_state.get(TYPED_KEY, {}), st.session_state.get(f"kept {BAFFLING_KEY}", ""),
                           st.session_state.get(f"kept {UNIT_KEY}", UNITS["flow"][0]))  # fmt: skip
    return (*files, *_draw_typed(typed, plant))


def _title(name: str) -> str:
    return say(LISTS[name]) if name in LISTS else say(TITLES[name])


def _draw_files() -> tuple[NamedBytes, ...]:
    """Draw the upload and which files are kept from it; a file that cannot be used is named with its problems."""
    st.file_uploader(
        say("Plant log (a row per date) or readings of a day (TOML)"), type=FILE_TYPES, accept_multiple_files=True,
        key=FILES_KEY, on_change=_keep_files,
        help=say("The first row of a log names each reading and its unit: Date, Feed pressure (bar), Lamp hours (h)."),
    )  # fmt: skip
    kept: tuple[NamedBytes, ...] = st.session_state.get(KEPT_FILES_KEY, ())
    usable = tuple(file for file in kept if _is_usable(file))
    if usable:
        st.caption(say("In use: {files}", files=plain(", ".join(name for name, _ in usable))))
    if kept and st.button(say("Take these files off the page")):
        st.session_state.pop(KEPT_FILES_KEY)
        st.rerun()
    return usable


def _keep_files() -> None:
    given = st.session_state[FILES_KEY]
    if given:
        st.session_state[KEPT_FILES_KEY] = tuple((file.name, file.getvalue()) for file in given)


def _is_usable(file: NamedBytes) -> bool:
    try:
        opened_plant(file)
    except WqcheckError as error:
        st.error(message_text(error))
        return False
    return True


def _draw_table(name: str, *, us_units: bool) -> None:
    """Draw one table to type into."""
    if name in SECTIONS:
        fixed = [READING, NEED]
        _edited(name, blank_table(name, us_units=us_units), fixed, us_units=us_units)
        if name == "disinfection":
            _kept_choice(say("Baffles of the contact tank"), BAFFLING_KEY, ["", *BAFFLING])
        return
    blanks = {
        CARTRIDGES: pd.DataFrame({DAY: [""], VALUE: "", UNIT: usual_unit("pressure", us_units=us_units)}),
        VESSELS: pd.DataFrame({VALUE: [""], UNIT: UNITS["conductivity"][0]}),
        HOURS: pd.DataFrame(dict.fromkeys(HOURLY, [""] * 12)),
    }
    _edited(name, blanks[name].astype("str"), [], us_units=us_units)
    if name == HOURS:
        _kept_choice(say("Unit of these flows"), UNIT_KEY, list(UNITS["flow"]))


def blank_table(name: str, *, us_units: bool) -> pd.DataFrame:
    """Return a table of :data:`SECTIONS` to type into: by key its words, no value, the usual unit, whether needed."""
    kinds = SECTIONS[name]
    return pd.DataFrame(
        {
            READING: [sentence(reading_name(key)) for key in kinds],
            VALUE: "",
            UNIT: [usual_unit(kind, key, us_units=us_units) or NO_UNIT for key, kind in kinds.items()],
            NEED: [say("needed") if key in NEEDED.get(name, ()) else "" for key in kinds],
        },
        index=list(kinds),
        dtype="str",
    )


def _edited(name: str, blank: pd.DataFrame, fixed: Sequence[str], *, us_units: bool) -> None:
    """Draw an editor that begins with what was typed before, and keep what is typed.

    What it begins with stays the same as long as it is drawn, or it would lose what is typed while it is drawn again.
    """
    typed: dict[str, pd.DataFrame] = st.session_state.setdefault(TYPED_KEY, {})
    bases: dict[str, pd.DataFrame] = st.session_state.setdefault(BASES_KEY, {})
    key = f"{EDITOR_KEY} {name} {us_units}"
    if key not in st.session_state:
        bases[name] = typed[name] if name in typed and _has_values(typed[name]) else blank
    units = sorted({unit or NO_UNIT for kind in _kinds(name) for unit in UNITS[kind]})
    headings: dict[str, Any] = {
        READING: st.column_config.TextColumn(say("Reading"), width="large"),
        VALUE: st.column_config.TextColumn(say("Value"), max_chars=20),
        UNIT: st.column_config.SelectboxColumn(say("Unit"), options=units),
        NEED: st.column_config.TextColumn(say("For this table")),
        DAY: st.column_config.TextColumn(say("Day (number)"), max_chars=10),
    } | {flow: st.column_config.TextColumn(sentence(flow), max_chars=12) for flow in HOURLY}
    typed[name] = st.data_editor(
        bases[name], key=key, hide_index=name != HOURS, num_rows="fixed" if fixed else "dynamic", disabled=list(fixed),
        column_config=headings, alt=_title(name), height=_ROW_HIGH * (len(bases[name]) + (1 if fixed else 3)),
    )  # fmt: skip


def _kinds(name: str) -> set[str]:
    lists = {CARTRIDGES: {"pressure"}, VESSELS: {"conductivity"}, HOURS: {"flow"}}
    return lists[name] if name in lists else set(SECTIONS[name].values())


def _has_values(table: pd.DataFrame) -> bool:
    return bool(_any_value(_texts(table)).any())


def _texts(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table as typed, blanks as empty texts."""
    return pd.DataFrame({name: table[name].astype(object).fillna("").astype("str").str.strip() for name in table})


def _kept_choice(label: str, key: str, options: Sequence[str]) -> None:
    kept = st.session_state.get(f"kept {key}", options[0])
    chosen = st.selectbox(
        label, options, index=list(options).index(kept), key=key, format_func=lambda word: word or say("not stated")
    )  # fmt: skip
    st.session_state[f"kept {key}"] = chosen


def typed_readings(tables: Mapping[str, pd.DataFrame], baffling: str, hourly_unit: str) -> TypedReadings:
    """Return what was typed into the tables; rows without a value are left out.

    Parameters
    ----------
    tables : mapping
        Name of a table or list → what the editor gave.
    baffling, hourly_unit : str
        What was chosen beside them.
    """
    texts = {name: _texts(table) for name, table in tables.items()}
    filled = {name: table[_any_value(table)] for name, table in texts.items()}
    none = pd.DataFrame({column: pd.Series(dtype="str") for column in (DAY, VALUE, UNIT, *HOURLY)})
    drops, vessels, hours = (filled.get(name, none) for name in (CARTRIDGES, VESSELS, HOURS))
    return TypedReadings(
        tables={name: _quantities(table) for name, table in filled.items() if name in SECTIONS},
        baffling=baffling,
        cartridges=list(zip(drops[DAY], _quantities(drops).values(), strict=True)),
        vessels=list(_quantities(vessels).values()),
        hourly={flow: list(hours[flow]) for flow in HOURLY} if len(hours) else {},
        hourly_unit=hourly_unit,
    )


def _any_value(table: pd.DataFrame) -> pd.Series[bool]:
    columns = [column for column in table.columns if column in {VALUE, DAY, *HOURLY}]
    return pd.DataFrame({column: table[column].ne("") for column in columns}).any(axis=1)


def _quantities(table: pd.DataFrame) -> dict[str, str]:
    """Return by row what stands in it, value and unit."""
    units = table[UNIT].where(table[VALUE].ne("") & table[UNIT].ne(NO_UNIT), "")
    return dict(zip(map(str, table.index), (table[VALUE] + " " + units).str.strip(), strict=True))


def _draw_typed(typed: TypedReadings, plant: str) -> tuple[NamedBytes, ...]:
    """Draw what is wrong with the typed readings, or their file; give the file where it can be used."""
    number = typed.count()
    if not number:
        st.caption(say("Nothing is typed yet. What you type stays in this tab only: download its file to keep it."))
        return ()
    try:
        file = (TYPED_FILE, typed_toml(typed, plant).encode("utf-8"))
        opened_plant(file)
    except WqcheckError as error:
        st.error(message_text(error))
        return ()
    st.success(say("Typed readings in use: {number}.", number=number))
    st.download_button(
        say("Download {name}: the same readings for the command line", name=TYPED_FILE), file[1], file_name=TYPED_FILE,
        mime="application/toml", key=DOWNLOAD_KEY, on_click="ignore",
    )  # fmt: skip
    return (file,)
