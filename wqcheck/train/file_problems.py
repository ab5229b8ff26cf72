"""Turns the keys of a train file into one sentence for each thing that is wrong with them, with its mend."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from wqcheck.plant.flow_fit import CARRIES
from wqcheck.plant_files import is_list_of_texts, is_text, unknown_keys
from wqcheck.quantities import QuantityError, read_quantity
from wqcheck.train.kinds import KINDS, ONLY_FOR, SOURCE, WHOLE_TRAIN
from wqcheck.train.point_texts import point_key, point_texts
from wqcheck.train.ratings import rated_removals

QUANTITIES = {
    "rated_flow": "flow", "rated_pressure": "pressure", "media_volume": "volume", "media_area": "area",
    "media_life": "duration", "membrane_area": "area", "lamp_dose": "dose", "lamp_life": "duration",
    "plan_change_out": "pressure", "change_out": "pressure",
}  # fmt: skip
"""Keys of a stage that hold a number with its unit, and the kind of quantity (:data:`wqcheck.quantities.KINDS`)."""

WHOLE_NUMBERS = {"installed": 1, "standby": 0, "membranes": 1}
"""Keys of a stage that hold a whole number, and the least it may be."""

TEXTS = ("note", "concentrate", "recycle_to", "carries", "rated_removal")
DATES = ("media_changed", "lamp_changed")
LONGEST_PAIRING = 7 * 24 * 60.0  # min

_TRAIN_KEYS = frozenset({"name", "product_points", "points", "stages", "pairing_tolerance"})
_POINT_KEYS = frozenset({"code", "name", "aliases"})
_STAGE_KEYS = frozenset({"name", "kind", "inlet", "outlet", *TEXTS, *DATES, *QUANTITIES, *WHOLE_NUMBERS})

Entry = Mapping[str, Any]


def train_problems(data: Entry) -> Iterator[str]:
    """Yield every problem of a train file.

    Parameters
    ----------
    data : Mapping
        The file's keys as TOML gives them.

    Yields
    ------
    str
        What, where, and how to mend it. A badly shaped entry is reported and does not hide the problems of others.
    """
    yield from unknown_keys(data, _TRAIN_KEYS, "the file")
    if not is_text(data.get("name")):
        yield 'the file: name is missing; write name = "..."'
    if not is_list_of_texts(data.get("product_points")) or not data["product_points"]:
        yield 'the file: there is no product point; write product_points = ["..."] with the codes of finished water'
    if "pairing_tolerance" in data:
        yield from _quantity_problems(data, "pairing_tolerance", "duration", "the file", LONGEST_PAIRING)
    yield from _entry_problems(data, "points", _POINT_KEYS, ("code", "name"))
    yield from _entry_problems(data, "stages", _STAGE_KEYS, ("name", "kind", "outlet"))
    points, stages = _entries(data, "points"), _entries(data, "stages")
    for stage in stages:
        yield from _equipment_problems(stage)
    products = data["product_points"] if is_list_of_texts(data.get("product_points")) else []
    yield from _name_problems(stages, points)
    yield from _place_problems(stages, points, products)
    yield from _order_problems(stages, products)


def _entries(data: Entry, table: str) -> list[Entry]:
    """Return the entries of a table that are tables themselves."""
    entries = data.get(table)
    return [entry for entry in entries if isinstance(entry, Mapping)] if isinstance(entries, list) else []


def _entry_problems(data: Entry, table: str, allowed: frozenset[str], needed: Sequence[str]) -> Iterator[str]:
    entries = data.get(table)
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        yield f"the file: there are no {table}; write one [[{table}]] table for each"
        return
    for number, entry in enumerate(entries, start=1):
        where = f"[[{table}]] number {number} ({entry.get(needed[0], 'unnamed')})"
        yield from unknown_keys(entry, allowed, where)
        yield from (f'{where}: {key} is missing; write {key} = "..."' for key in needed if not is_text(entry.get(key)))
        optional = sorted({"inlet", *TEXTS} & allowed & set(entry))
        yield from (f"{where}: {key} must be text in quotes" for key in optional if not isinstance(entry[key], str))
        if not is_list_of_texts(entry.get("aliases", [])):
            yield f'{where}: aliases must be a list of texts; write aliases = ["...", "..."]'


def _equipment_problems(stage: Entry) -> Iterator[str]:
    """Yield what is wrong with the numbers of one stage, and keys that its kind cannot have."""
    where = _where(stage)
    for key, kind in QUANTITIES.items():
        if key in stage:
            yield from _quantity_problems(stage, key, kind, where)
    for key in set(WHOLE_NUMBERS) & set(stage):
        if not (type(stage[key]) is int and stage[key] >= WHOLE_NUMBERS[key]):
            yield f"{where}: {key} must be a whole number, {WHOLE_NUMBERS[key]} or more (given: {stage[key]!r})"
    for key in set(DATES) & set(stage):
        if type(stage[key]) is not date:
            yield f"{where}: {key} must be a date without quotes, such as 2025-03-31 (given: {stage[key]!r})"
    yield from _misplaced_keys(stage, where)
    if is_text(stage.get("carries")) and stage["carries"] not in CARRIES:
        yield f"{where}: carries {stage['carries']!r} is not known; use one of {', '.join(CARRIES)}"
    yield from _rating_problems(stage, where)
    yield from _number_clashes(stage, where)


def _rating_problems(stage: Entry, where: str) -> Iterator[str]:
    text = stage.get("rated_removal", "")
    try:
        codes = [code for code, _, _ in rated_removals(text)] if isinstance(text, str) else []
    except ValueError as problem:
        yield f"{where}, rated_removal: {problem}"
        return
    twice = [code for code, times in Counter(codes).items() if times > 1]
    yield from (f"{where}, rated_removal: {code} stands there twice; keep one of them" for code in twice)


def _misplaced_keys(stage: Entry, where: str) -> Iterator[str]:
    kind = stage.get("kind")
    for key in sorted(set(ONLY_FOR) & set(stage)) if kind in KINDS else ():
        if kind not in ONLY_FOR[key]:
            allowed = ", ".join(ONLY_FOR[key])
            yield f"{where}: a stage of kind {kind!r} has no {key}; leave it out (kinds that have it: {allowed})"


def _number_clashes(stage: Entry, where: str) -> Iterator[str]:
    installed, standby = stage.get("installed", 1), stage.get("standby", 0)
    if type(installed) is int and type(standby) is int and standby >= installed >= 1:
        yield f"{where}: {standby} of {installed} units cannot stand by; at least one must be on duty"
    ends = [_number(stage, key) for key in ("plan_change_out", "change_out")]
    if ends[0] is not None and ends[1] is not None and ends[0] > ends[1]:
        yield f"{where}: plan_change_out is above change_out; give the smaller drop to plan_change_out"


def _number(stage: Entry, key: str) -> float | None:
    try:
        return read_quantity(stage[key], QUANTITIES[key]) if key in stage else None
    except QuantityError:
        return None


def _quantity_problems(entry: Entry, key: str, kind: str, where: str, most: float = float("inf")) -> Iterator[str]:
    try:
        value = read_quantity(entry[key], kind)
    except QuantityError as problem:
        yield f"{where}, {key}: {problem}"
        return
    if not 0 < value <= most:
        limit = "" if most == float("inf") else f" and at most {most / 60:g} h"
        yield f"{where}, {key}: {entry[key]!r} cannot be; it must be above zero{limit}"


def _where(stage: Entry) -> str:
    return f"stage {stage.get('name', 'unnamed')!r}"


def _name_problems(stages: Sequence[Entry], points: Sequence[Entry]) -> Iterator[str]:
    """Yield stage names, point codes and point texts that stand twice."""
    names = [stage["name"].strip().casefold() for stage in stages if is_text(stage.get("name"))]
    for name, times in Counter(names).items():
        if times > 1:
            yield f"stages: the name {name!r} stands {times} times; give each stage its own name"
    if WHOLE_TRAIN in names:
        yield f"stages: the name {WHOLE_TRAIN!r} is kept for the row over all stages; choose another"
    whole = [point for point in points if is_text(point.get("code")) and is_text(point.get("name"))]
    owners: dict[str, set[int]] = {}
    for number, point in enumerate(whole):
        aliases = point.get("aliases", [])
        texts = point_texts(point["code"], point["name"], aliases if is_list_of_texts(aliases) else [])
        for text in texts:
            owners.setdefault(point_key(text), set()).add(number)
    for text, numbers in owners.items():
        if len(numbers) > 1:
            codes = ", ".join(whole[number]["code"] for number in sorted(numbers))
            yield f"points: {text!r} means more than one point ({codes}); a code, name or alias may stand for one only"


def _place_problems(stages: Sequence[Entry], points: Sequence[Entry], products: Sequence[str]) -> Iterator[str]:
    """Yield stages and product points that name no point, and stage kinds that are not known."""
    codes = {point["code"].strip() for point in points if is_text(point.get("code"))}
    known = f"the points are {', '.join(sorted(codes))}"
    for stage in stages:
        yield from _stage_place_problems(stage, codes, known)
    for code in products:
        if code not in codes:
            yield f"product_points: {code!r} is not a point; {known}"


def _stage_place_problems(stage: Entry, codes: set[str], known: str) -> Iterator[str]:
    where, kind = _where(stage), stage.get("kind")
    if is_text(kind) and kind not in KINDS:
        yield f"{where}: the kind {kind!r} is not known; use one of {', '.join(KINDS)}"
    if not stage.get("inlet") and kind != SOURCE:
        yield f"{where}: inlet is missing; only a stage of kind {SOURCE!r} may have none"
    ends = [stage[key] for key in ("inlet", "outlet") if is_text(stage.get(key))]
    if len(ends) == 2 and ends[0] == ends[1]:
        yield f"{where}: its inlet and outlet are the same point {ends[0]!r}"
    yield from (f"{where}: its inlet or outlet {code!r} is not a point; {known}" for code in sorted({*ends} - codes))
    branches = {key: stage[key] for key in ("concentrate", "recycle_to") if is_text(stage.get(key))}
    for key, code in branches.items():
        if code not in codes:
            yield f"{where}: its {key} {code!r} is not a point; {known}"
    if branches.get("concentrate") in ends:
        yield f"{where}: its concentrate {branches['concentrate']!r} is its inlet or outlet; give it its own point"


def _order_problems(stages: Sequence[Entry], products: Sequence[str]) -> Iterator[str]:
    """Yield stages that stand before the stage that feeds them, and outlets that lead nowhere without a note."""
    for number, stage in enumerate(stages):
        later = stages[number + 1 :]
        inlet, outlet = stage.get("inlet"), stage.get("outlet")
        feeders = [other.get("name") for other in later if inlet and other.get("outlet") == inlet]
        if feeders:
            yield f"{_where(stage)}: it stands before {feeders[0]!r}, which feeds it; change their order"
        leads_on = outlet in products or any(other.get("inlet") == outlet for other in later)
        if is_text(outlet) and not leads_on and not is_text(stage.get("note")):
            yield (
                f"{_where(stage)}: its outlet {outlet!r} is no later stage's inlet and no product point; "
                "mend the order, or say why in note"
            )
