"""Turns the list of acts into what binds which water, and what to say when a table was chosen that does not."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from wqcheck.limit_tables.columns import EVIDENCE
from wqcheck.plant_files import is_text, read_plant_file, refuse_problems, unknown_keys
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Product

SHIPPED_ACTS = "acts.toml"
_TEXTS = ("jurisdiction", "act", "standing", "note", "evidence")
_KEYS = frozenset({*_TEXTS, "waters", "table", "short", "link", "until"})


class Standing(StrEnum):
    """Whether a text holds; a guideline binds only where a law adopts it."""

    IN_FORCE = "in force"
    REPEALED = "repealed"
    GUIDELINE = "guideline"


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One text, the waters that it binds, and where it stands; blank where unknown.

    ``table`` is the shipped table made from it and ``short`` names that table in a few words.
    """

    jurisdiction: str
    act: str
    waters: tuple[Product, ...]
    standing: Standing
    note: str
    evidence: str
    table: str = ""
    short: str = ""
    link: str = ""
    until: date | None = None


@cache
def short_titles() -> Mapping[str, str]:
    """Return the few words by which a person knows each shipped table, by its file name."""
    return {act.table: act.short for act in load_acts() if act.table}


def load_acts(path: Path | None = None) -> tuple[Act, ...]:
    """Return the acts of a TOML file, the shipped ``limits/acts.toml`` by default, in its order.

    Raises
    ------
    PlantFileError
        The text lists every problem of the file with its mend; nothing of it is used.
    """
    file = path or shipped_folder("limits") / SHIPPED_ACTS
    data, _ = read_plant_file(file)
    refuse_problems(file, list(_problems(data)))
    return tuple(_act(entry) for entry in data["acts"])


def acts_for(product: Product, acts: Sequence[Act]) -> tuple[Act, ...]:
    """Return the acts that bind *product*, those in force first, then guidelines, then repealed ones."""
    order = (Standing.IN_FORCE, Standing.GUIDELINE, Standing.REPEALED)
    bound = [act for act in acts if product in act.waters]
    return tuple(sorted(bound, key=lambda act: order.index(act.standing)))


def remark_on(table: str, product: Product, on: date, acts: Sequence[Act]) -> str:
    """Say why a shipped *table* is not the one for *product* on the day *on*; blank when it is, or is not listed."""
    own = next((act for act in acts if act.table == table), None)
    if own is None:
        return ""
    if own.standing is Standing.REPEALED and own.until is not None and on > own.until:
        return f"{own.act} was repealed and held until {own.until}. {own.note}"
    if product in own.waters:
        return ""
    others = [act for act in acts_for(product, acts) if act.jurisdiction == own.jurisdiction]
    instead = "; ".join(f"{act.act}" + (f" (table {act.table})" if act.table else " (no table)") for act in others)
    return f"{own.act} does not bind {product} water" + (f"; {instead} does" if instead else f". {own.note}")


def _act(entry: Mapping[str, Any]) -> Act:
    return Act(
        **{key: entry[key] for key in ("jurisdiction", "act", "note", "evidence")},
        waters=tuple(Product(water) for water in entry["waters"]),
        standing=Standing(entry["standing"]),
        table=entry.get("table", ""),
        short=entry.get("short", ""),
        link=entry.get("link", ""),
        until=entry.get("until"),
    )


def _problems(data: Mapping[str, Any]) -> Iterator[str]:
    yield from unknown_keys(data, {"acts"}, "the file")
    entries = data.get("acts")
    if not isinstance(entries, list) or not entries:
        yield "the file: there are no acts; write one [[acts]] table for each"
        return
    for number, entry in enumerate(entries, start=1):
        yield from _entry_problems(entry, f"[[acts]] number {number} ({entry.get('act', 'unnamed')})")


def _entry_problems(entry: Mapping[str, Any], where: str) -> Iterator[str]:
    yield from unknown_keys(entry, _KEYS, where)
    yield from (f'{where}: {key} is missing; write {key} = "..."' for key in _TEXTS if not is_text(entry.get(key)))
    if is_text(entry.get("table")) != is_text(entry.get("short")):
        yield f"{where}: table and short go together; write both or neither"
    waters = entry.get("waters")
    if not isinstance(waters, list) or not waters or not set(waters) <= set(Product):
        yield f"{where}: waters must be a list of {', '.join(Product)} (given: {waters!r})"
    if entry.get("standing") not in list(Standing):
        yield f"{where}: standing must be one of {', '.join(Standing)} (given: {entry.get('standing')!r})"
    if entry.get("standing") == Standing.REPEALED and type(entry.get("until")) is not date:
        yield f"{where}: a repealed act names its last day; write until = 2023-01-12"
    if not re.fullmatch(r"(https://[\w./?=&%()-]+)?", str(entry.get("link", ""))):
        yield f"{where}: link must be an address that begins with https:// (given: {entry.get('link')!r})"
    if not str(entry.get("evidence", "")).startswith(EVIDENCE):
        yield f"{where}: evidence must begin with one of {', '.join(EVIDENCE)}"
