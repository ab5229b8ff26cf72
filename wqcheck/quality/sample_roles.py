"""Turns the names of samples into their roles in quality control: ordinary, duplicate, blank or spike."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.parameters import normalise
from wqcheck.tables import Readings

ORDINARY, DUPLICATE, BLANK, SPIKE = "", "duplicate", "blank", "spike"

_KIND = r"(?:field|trip|travel|equipment|rinse|rinsate|method|reagent|laboratory|lab|filter|matrix|site)"
_PLACE = r"(?:campo|metodo|viagem|viaje|terrain|methode|transport|reactivo|reagente)"
_PATTERNS = {
    BLANK: rf"(?:{_KIND} )*blanks?|(?:blanc|branco|blanco|bianco) (?:de |di |du |do )?{_PLACE}|blindwert|blindprobe",
    SPIKE: rf"(?:{_KIND} )*(?:spiked?|fortified)(?: (?:sample|matrix|blank|duplicate|dup))*",
    DUPLICATE: rf"(?:{_KIND} )*(?:duplicate|dup|duplicata|duplicado|duplikat|duplo|doppelprobe)",
}
_FOUND = {role: re.compile(rf"\b(?:{pattern})\b(?: \d+)?") for role, pattern in _PATTERNS.items()}
"""Common practice, no source. Short forms such as FB or MS are left out: they are names of places as often."""


def sample_roles(readings: DataFrame[Readings]) -> npt.NDArray[np.object_]:
    """Return the role of each reading's sample, read from sample, point and replicate; array of str, shape (n,)."""
    role = np.full(len(readings), ORDINARY, dtype=object)
    for column in (Readings.replicate, Readings.point, Readings.sample):
        number, texts = pd.factorize(readings[column])
        words = np.array([_role(text) for text in texts] + [ORDINARY], dtype=object)[number]
        role = np.where(words == ORDINARY, role, words)
    return role


def without_role(texts: pd.Series) -> pd.Series:
    """Return names with the words that tell a duplicate taken out, as they are compared; same index."""
    number, words = pd.factorize(texts)
    bare = [" ".join(_FOUND[DUPLICATE].sub(" ", normalise(word)).split()) for word in words]
    return pd.Series(np.array([*bare, ""], dtype=object)[number], index=texts.index, dtype="str")


def _role(text: object) -> str:
    bare = normalise(text)
    return next((role for role in (SPIKE, BLANK, DUPLICATE) if _FOUND[role].search(bare)), ORDINARY)
