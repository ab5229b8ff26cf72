"""Turns the names of samples into their roles in quality control: ordinary, duplicate, blank, spike or standard."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.parameters import normalise
from wqcheck.tables import Readings

ORDINARY, DUPLICATE, BLANK, SPIKE, STANDARD = "", "duplicate", "blank", "spike", "standard"
NO_WATER = (BLANK, SPIKE, STANDARD)
"""Roles of samples that are no water of the plant; a duplicate is."""

_KIND = r"(?:field|trip|travel|equipment|rinse|rinsate|method|reagent|laboratory|lab|filter|matrix|site)"
_PLACE = r"(?:campo|metodo|viagem|viaje|terrain|methode|transport|reactivo|reagente)"
_USE = r"(?:check|calibration|quality control|laboratory control|lab control|certified reference)"
_PATTERNS = {
    STANDARD: (
        rf"{_USE} (?:standard|solution|material)s?|(?:quality|laboratory|lab) control samples?|"
        "(?:control|reference) (?:standard|solution|material)s?"
    ),
    BLANK: rf"(?:{_KIND} )*blanks?|(?:blanc|branco|blanco|bianco) (?:de |di |du |do )?{_PLACE}|blindwert|blindprobe",
    SPIKE: rf"(?:{_KIND} )*(?:spiked?|fortified)(?: (?:sample|matrix|blank|duplicate|dup))*",
    DUPLICATE: rf"(?:{_KIND} )*(?:duplicate|dup|duplicata|duplicado|duplikat|duplo|doppelprobe)",
}
_FOUND = {role: re.compile(rf"\b(?:{pattern})\b(?: \d+)?") for role, pattern in _PATTERNS.items()}
"""Common practice, no source. Short forms such as FB or MS are left out: they are names of places as often."""

_ORDER = (SPIKE, STANDARD, BLANK, DUPLICATE)


def sample_roles(readings: DataFrame[Readings]) -> npt.NDArray[np.object_]:
    """Return the role of each reading's sample, read from sample, point and replicate; array of str, shape (n,)."""
    role = np.full(len(readings), ORDINARY, dtype=object)
    for column in (Readings.replicate, Readings.point, Readings.sample):
        words = _words(readings[column], lambda bare: _first(bare, re.Pattern.search))
        role = np.where(words == ORDINARY, role, words)
    return role


def certain_roles(readings: DataFrame[Readings]) -> npt.NDArray[np.object_]:
    """Return the role where a whole name says it and no other name says which water it is, else ordinary; shape (n,).

    The sample's name must be the role's and no more (``Field blank 2``), or be blank while point or replicate are so.
    Whatever else a name holds, such as the name of a product, leaves the role uncertain, and so does ``(blank)``, which
    spreadsheet programs write where nothing stands.
    """
    said = [
        _words(readings[column], lambda bare: _first(bare, re.Pattern.fullmatch))
        for column in (Readings.sample, Readings.point, Readings.replicate)
    ]
    unclear = readings[Readings.sample].fillna("").str.strip().str.startswith("(").to_numpy(dtype=bool)
    unnamed = readings[Readings.sample].fillna("").str.strip().eq("").to_numpy(dtype=bool)
    other = np.where(said[1] != ORDINARY, said[1], said[2])
    role: npt.NDArray[np.object_] = np.where(unclear, ORDINARY, np.where(unnamed, other, said[0]))
    return role


def without_role(texts: pd.Series) -> pd.Series:
    """Return names with the words that tell a duplicate taken out, as they are compared; same index."""
    number, words = pd.factorize(texts)
    bare = [" ".join(_FOUND[DUPLICATE].sub(" ", normalise(word)).split()) for word in words]
    return pd.Series(np.array([*bare, ""], dtype=object)[number], index=texts.index, dtype="str")


def _words(column: pd.Series, role_of: Callable[[str], str]) -> npt.NDArray[np.object_]:
    """Return the role of each name in *column*, looked up once per name."""
    number, texts = pd.factorize(column)
    found: npt.NDArray[np.object_] = np.array([*(role_of(normalise(text)) for text in texts), ORDINARY], dtype=object)
    return found[number]


def _first(bare: str, how: Callable[[re.Pattern[str], str], re.Match[str] | None]) -> str:
    return next((role for role in _ORDER if how(_FOUND[role], bare)), ORDINARY)
