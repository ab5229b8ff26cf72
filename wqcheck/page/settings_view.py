"""Turns what a plant sets once (products, train, people, letterhead, language) into files beside its page, and back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
from wqcheck.errors import RecordRefusedError, WqcheckError
from wqcheck.languages.catalogues import LANGUAGES, PAGE_LANGUAGES
from wqcheck.page.office import Office
from wqcheck.page.saving import save_button, save_file, store_settings
from wqcheck.page.settings_grids import draw_people, draw_products
from wqcheck.page.spoken import later, say
from wqcheck.page.words import message_text, plain
from wqcheck.plant_files import read_plant_file, toml_text
from wqcheck.release.rules import load_release_rules
from wqcheck.shipped_files import shipped_folder
from wqcheck.train.description import load_train

PLANT_KEY = "plant settings"
HEAD_KEY = "letterhead"
LOGO_KEY = "logo of the letterhead"
TRAIN_KEY = "train of the plant"
RULES_KEY = "release rules of the plant"
_SHIPPED = {TRAIN_KEY: "sample_results", RULES_KEY: "limits"}
"""Where the file stands that serves while none is set; the train is the one of the sample plant."""
_CHOSEN = ("language", "paper_language", "numbers", "dates")
_NUMBERS = {"point": later("a point, everywhere"), "local": later("as the language writes it")}
_DATES = {"iso": later("ISO 8601 (2026-03-04)"), "local": later("as the language writes them")}


def draw_settings_view(office: Office) -> None:
    """Draw the settings of the plant, part by part; only an authorised releaser may change them."""
    st.markdown(f"##### {say('Settings of the plant')}")
    st.caption(say("Kept in {file}. What is saved counts from the next check on; the file before stays beside it.",
                   file=plain(office.plant_file)))  # fmt: skip
    st.caption(say("What is chosen in the side panel counts in this tab; these settings are what every new tab begins "
                   "with."))  # fmt: skip
    if not office.people.listed:
        st.warning(say("No people are entered: whoever types a name here may take in, review, release and change these "
                       "settings. Enter your people below."))  # fmt: skip
    if not office.may_set:
        st.info(say("You can look. Changes take an authorised releaser: choose or log in as one in the side panel."))
    parts: dict[str, Callable[[Office], None]] = {
        say("Plant, language and numbers"): _draw_plant,
        say("Products"): draw_products,
        say("Treatment train and release rules"): _draw_files,
        say("People and roles"): draw_people,
        say("Letterhead of certificates"): _draw_letterhead,
    }
    for number, (title, draw) in enumerate(parts.items()):
        with st.expander(title, expanded=number == 0):
            draw(office)


def _draw_plant(office: Office) -> None:
    now, fixed = office.plant, not office.may_set
    left, right = st.columns(2)
    _text(left, say("Name of the plant"), PLANT_KEY, now.plant, fixed=fixed)
    _choice(left, say("Decimal mark on the page"), _NUMBERS, "numbers", office)
    _text(left, say("Folder of sheet layouts"), f"{PLANT_KEY} layouts", now.layouts, fixed=fixed)
    _text(left, say("Folder of your own limit tables"), f"{PLANT_KEY} own_limits", now.own_limits, fixed=fixed)
    languages = {code: LANGUAGES[code] for code in PAGE_LANGUAGES}
    _choice(right, say("Language of the page at the start"), languages, "language", office)
    _choice(right, say("Language of certificates"), LANGUAGES, "paper_language", office)
    _choice(right, say("Dates on the page"), _DATES, "dates", office)
    save_button(office, PLANT_KEY, partial(_save_plant, office))


def _save_plant(office: Office) -> str:
    chosen = {field: st.session_state[f"{PLANT_KEY} {field}"] for field in _CHOSEN}
    folders = {field: st.session_state[f"{PLANT_KEY} {field}"].strip() for field in ("layouts", "own_limits")}
    name = str(st.session_state[PLANT_KEY]).strip()
    what = say("name of the plant ({name}), languages, numbers, dates and folders", name=name or "–")
    return store_settings(office, what, plant=name, **chosen, **folders)


def _text(place: Any, label: str, key: str, value: str, *, fixed: bool) -> None:
    """Draw a field of text that keeps what is typed while other views are looked at."""
    place.text_input(label, value=value, key=key, disabled=fixed, persist_state="session")


def _choice(place: Any, label: str, choices: Mapping[str, str], field: str, office: Office) -> None:
    """Draw the choice of a settings *field* among codes, each shown by its words."""
    codes = list(choices)
    place.selectbox(
        label, codes, index=codes.index(getattr(office.plant, field)), format_func=lambda code: say(choices[code]),
        disabled=not office.may_set, key=f"{PLANT_KEY} {field}", persist_state="session",
    )  # fmt: skip


def _draw_letterhead(office: Office) -> None:
    path = office.file(office.plant.letterhead)
    try:
        head = load_letterhead(path) if path else PLAIN
    except WqcheckError as error:
        st.error(message_text(error))
        head = PLAIN
    fixed = not office.may_set
    st.text_area(
        say("Lines beside the logo"), value="\n".join(head.lines), key=HEAD_KEY, disabled=fixed, persist_state="session"
    )
    logo = st.file_uploader(say("Logo (PNG or SVG)"), type=["png", "svg"], key=LOGO_KEY, disabled=fixed)
    if head.logo and logo is None:
        st.image(head.logo, width=160, caption=say("Logo as it is"))
    st.caption(say("Lines and logo stand at the head of every certificate and notice from then on."))
    save_button(office, HEAD_KEY, partial(_save_letterhead, office))


def _save_letterhead(office: Office) -> str:
    """Save the lines and the logo that stand in their fields at the click."""
    name = office.plant.letterhead or "letterhead.toml"
    path = office.plant_file.parent / name
    keys = read_plant_file(path)[0] if path.is_file() else {}
    keys["lines"] = [line.strip() for line in str(st.session_state[HEAD_KEY]).splitlines() if line.strip()]
    what = say("letterhead with {count} lines", count=len(keys["lines"]))
    logo = st.session_state.get(LOGO_KEY)
    if logo is None:
        return save_file(office, "letterhead", name, toml_text(keys, {}), load_letterhead, what=what)
    keys["logo"] = f"logo{Path(logo.name).suffix.casefold()}"
    with _in_place(path.with_name(str(keys["logo"])), logo.getvalue()):
        what = say("letterhead with {count} lines and the logo {logo}", count=len(keys["lines"]), logo=logo.name)
        return save_file(office, "letterhead", name, toml_text(keys, {}), load_letterhead, what=what)


@contextmanager
def _in_place(path: Path, content: bytes) -> Iterator[None]:
    """Put *content* into a file; what stood there is put back where the block fails."""
    before = path.read_bytes() if path.is_file() else None
    path.write_bytes(content)
    try:
        yield
    except WqcheckError:
        path.unlink() if before is None else path.write_bytes(before)
        raise


def _draw_files(office: Office) -> None:
    kept: dict[str, tuple[str, str, str, Callable[[Path], object]]] = {
        TRAIN_KEY: ("train", say("Treatment train"), "train.toml", load_train),
        RULES_KEY: ("release_rules", say("Release rules"), "release_rules.toml", load_release_rules),
    }
    st.caption(say("Stages, sampling points and what stands at each stage are typed in the view Train, under Stages "
                   "and ratings. A file (it ends in .toml, any text editor opens it) can be taken away, changed and "
                   "dropped here; it counts once you press Save."))  # fmt: skip
    for key, (field, label, default, check) in kept.items():
        now = getattr(office.plant, field)
        none = (
            say("none of your own; batches are checked without a train")
            if field == "train"
            else say("none of your own; those that come with wqcheck count")
        )
        st.markdown(f"**{label}**: {plain(now) if now else none}")
        file = st.file_uploader(label, type="toml", key=key, label_visibility="collapsed", disabled=not office.may_set)
        if file is not None:
            words = say("Save {file} as {name}", file=plain(file.name), name=plain(now or default))
            save_button(office, key, partial(_save_upload, office, key, field, now or default, check), label=words)
        _draw_download(office, key, now, default)


def _draw_download(office: Office, key: str, now: str, default: str) -> None:
    """Offer the file that is in use, so that it can be changed and dropped here again."""
    path = office.file(now) or shipped_folder(_SHIPPED[key]) / default
    if path.is_file():
        words = say("Download {name} as it is", name=path.name)
        example = say("Download {name} as an example", name=path.name)
        st.download_button(
            words if now else example, path.read_bytes(), file_name=path.name, mime="application/toml",
            key=f"{key} download", on_click="ignore",
        )  # fmt: skip


def _save_upload(office: Office, key: str, field: str, name: str, check: Callable[[Path], object]) -> str:
    """Save the file that lies in the field at the click."""
    file = st.session_state[key]
    if file is None:
        raise RecordRefusedError("the file was taken off again; nothing was saved")
    text = file.getvalue().decode("utf-8-sig", errors="replace")
    return save_file(office, field, name, text, check, what=file.name)
