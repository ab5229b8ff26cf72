"""Turns the unit ``°F`` into French degrees of hardness or degrees Fahrenheit, by what was measured, or into a doubt.

French laboratories write ``°f`` or ``°F`` for the French degree, 10 mg/L as CaCO3 (written ``°fH`` here), which no
thermometer shows; hardness is never a temperature (common practice, no source).
"""

from __future__ import annotations

from wqcheck.findings import Severity
from wqcheck.parameters import catalogue
from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.extraction import Extraction
from wqcheck.units import Unit, fold, recognise_unit

FRENCH = "°fH"
_FAHRENHEIT = "°F"
_BARE = frozenset(["f", "of", "°f", "°f."])
"""Spellings, folded, that ``units.csv`` takes for one of the two and that may be the other."""


def degrees_settled(work: Extraction, code: Coded, text: Coded, units: Coded) -> Coded:
    """Return *units* of n results with each ``°F`` settled by its parameter; a doubt is blank, with a finding."""
    bare = text.flags(lambda given: fold(given).strip("()[]").replace(" ", "") in _BARE)
    fahrenheit = units.attribute("label").equal_to(_FAHRENHEIT)
    french = bare & units.attribute("label").equal_to(FRENCH)
    if not (fahrenheit | french).any():
        return units
    hard = code.flags(lambda c: catalogue()[c].group == "hardness and alkalinity")
    warm = code.flags(lambda c: catalogue()[c].unit == "°C")
    units = units.without(french & warm).or_else(Coded.all_the_same(Unit(_FAHRENHEIT), work.count).without(~french))
    thermometers = bool((warm & (fahrenheit | french)).any())
    settled = hard & fahrenheit & bare & (not thermometers)
    doubt = (hard & fahrenheit & ~settled) | ((fahrenheit | french) & code.known() & ~hard & ~warm)
    _say(work, text, doubt, thermometers=thermometers)
    settled_as = Coded.all_the_same(recognise_unit(FRENCH), work.count).without(~settled)
    return units.without(settled | doubt).or_else(settled_as)


def _say(work: Extraction, text: Coded, doubt: Flags, *, thermometers: bool) -> None:
    why = "for the sheet gives temperatures in it too" if thermometers else "for what was measured is no temperature"
    for given, positions in text.groups(doubt):
        message = (
            f"this unit may be degrees Fahrenheit or French degrees of hardness, {why}; none is taken: ask the "
            "laboratory, and write °fH, or mg/L as CaCO3"
        )
        work.note("degrees in doubt", message, work.where(positions), str(given), Severity.HOLD)


__all__ = ["FRENCH", "degrees_settled"]
