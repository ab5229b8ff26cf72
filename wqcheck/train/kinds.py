"""Turns the kind of a stage into what its entry in a train file may say and which hazards it has."""

from __future__ import annotations

KINDS = (
    "source",
    "tank",
    "feed pump",
    "media filter",
    "activated carbon",
    "cartridge filter",
    "antiscalant dosing",
    "softener",
    "high-pressure pump",
    "reverse osmosis",
    "degasser",
    "remineralisation",
    "ozone",
    "post-carbon",
    "uv",
    "filler",
    "other",
)
WHOLE_TRAIN = "whole train"
SOURCE = "source"
MEMBRANE = "reverse osmosis"
TANK = "tank"
LAMP = "uv"
CARTRIDGE = "cartridge filter"
ANTISCALANT = "antiscalant dosing"
CARBONS = ("activated carbon", "post-carbon")
BEDS = ("media filter", *CARBONS, "softener", "remineralisation", "degasser", "other")

ONLY_FOR: dict[str, tuple[str, ...]] = {
    "concentrate": (MEMBRANE, "media filter", "softener", "other"),
    "media_volume": BEDS,
    "media_area": BEDS,
    "media_life": BEDS,
    "membranes": (MEMBRANE, "other"),
    "membrane_area": (MEMBRANE, "other"),
    "lamp_dose": (LAMP, "other"),
    "lamp_life": (LAMP, "other"),
    "plan_change_out": (CARTRIDGE, "media filter", "other"),
    "change_out": (CARTRIDGE, "media filter", "other"),
}
"""Keys of a stage that only some kinds may have."""

PRESSURE = "Pressure: stop the pump, close the valves and let the pressure off before any vessel or housing is opened."
CHEMICALS = "Chemicals: read the maker's safety data sheet, wear eye and hand protection, and never mix two of them."
ELECTRICITY = (
    "Electricity: switch off and lock out before any cover is opened; live parts are a licensed electrician's."
)
ULTRAVIOLET = "UV: never look at a burning lamp and let no light fall on skin; lamps hold mercury and break."
BEDDING = "Spent media: ventilate, wear a mask, never enter a vessel; wet carbon takes the oxygen out of the air."

HAZARDS: dict[str, tuple[str, ...]] = {
    "feed pump": (PRESSURE, ELECTRICITY),
    "high-pressure pump": (PRESSURE, ELECTRICITY),
    "media filter": (PRESSURE,),
    "activated carbon": (PRESSURE, BEDDING),
    "post-carbon": (PRESSURE, BEDDING),
    "cartridge filter": (PRESSURE,),
    "antiscalant dosing": (CHEMICALS, ELECTRICITY),
    "softener": (PRESSURE, CHEMICALS),
    "reverse osmosis": (PRESSURE, CHEMICALS),
    "tank": (CHEMICALS,),
    "remineralisation": (CHEMICALS,),
    "ozone": (CHEMICALS, ELECTRICITY),
    "uv": (ULTRAVIOLET, ELECTRICITY),
    "filler": (ELECTRICITY,),
}
"""Usual hazards of working on a stage (common practice, no source)."""

PREVAILS = "Licensed practice, the local regulator's rules and the maker's own limits prevail."


def cautions(kind: str) -> str:
    """Return the usual cautions for work on a stage of a kind, and whose rules prevail."""
    return " ".join((*HAZARDS.get(kind, ()), PREVAILS))
