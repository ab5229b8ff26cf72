"""Turns the number of the sample of each result into the point, batch and dates that a list of samples says of it.

What stands in the row of a result itself holds; the list comes next, and last what a label says of all results. Where
two of them say different things, where a number stands nowhere in the lists or only nearly so, a finding holds.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.columns import texts_of
from wqcheck.sheets.dates import parse_dates
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.roles import RoleGrid, cell_text, first_cells
from wqcheck.sheets.sample_lists import LISTED_TEXTS, Entry, SampleList, SampleLists, entry_of

MISSING, DOUBLED, CONTRADICTS = "sample not in list", "sample twice in list", "sample list contradicts"

_NO_LETTER = re.compile(r"[\W_]+")
_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")


def joined(work: Extraction, texts: Mapping[str, Coded]) -> dict[str, Coded]:
    """Return *texts* by role (each of n results) with what the lists of samples say; keeps the entry of each result."""
    found, lacking = dict(texts), _lacking(work, texts)
    lists = work.samples if lacking.any() else work.samples.without_results()
    if not lists.lists or not work.count:
        return found
    number, sample = _numbers(work, found, lists)
    known = lists.rows_of(map(str, number.distinct))
    places = {name: known[name] for name in number.distinct if name in known}
    entries = {name: entry_of(rows) for name, rows in places.items()}
    _say_unjoined(work, number.without(~lacking), entries, known)
    work.entries = number.map(lambda name: entries[name] if name in entries and not entries[name].doubled else None)
    for one, row in (place for rows in places.values() for place in rows):
        one.used.add(row)
    moved = sample.known() & ~found["sample"].known() & sample.known_values(found["point"])
    found |= {"sample": sample, "point": found["point"].without(moved)}
    for role in LISTED_TEXTS:
        listed = work.entries.attribute(role)
        fact = work.facts.get(role)
        label = Coded.all_the_same(cell_text(fact.value), work.count) if fact else Coded.blank(work.count)
        _say_contradicting(work, role, found[role].or_else(label), listed)
        found[role] = found[role].or_else(listed)
    return found


def _lacking(work: Extraction, texts: Mapping[str, Coded]) -> Flags:
    """Return, per result, whether neither its row nor a label names its point, or none of the table gives a date."""
    dated = "sampled_at" in work.facts or work.table.with_role("sampled_at") or work.special_row("sampled_at")
    if not dated:
        return np.ones(work.count, dtype=bool)
    return ~texts["point"].known() & ("point" not in work.facts)


def _numbers(work: Extraction, texts: Mapping[str, Coded], lists: SampleLists) -> tuple[Coded, Coded]:
    """Return the number by which each result is joined, and the name of its sample.

    It is what names the sample; in a crosstab also what stands above its column; and where the lists know none of
    these, another column of the table all of whose cells they know.
    """
    number = sample = texts["sample"]
    if work.table.kind == "crosstab" and not sample.known().any():
        number = sample = texts["point"].map(lambda name: name if lists.knows([name]) else None)
    if number.known().any() and lists.knows(number.distinct, every=False):
        return number, sample
    spare = [c for role in ("sample", "", "other") for c in work.table.with_role(role)]
    for c in spare if work.table.kind != "crosstab" else ():
        here = texts_of(work.per_row(c))
        if here.known().all() and lists.knows(here.distinct):
            work.grid.mark(work.result_rows, c, "sample", "the number by which its row is joined to a list of samples")
            return here, sample.or_else(here)
    return number, sample


def listed_times(work: Extraction, role: str) -> npt.NDArray[np.datetime64]:
    """Return a time that the lists say of each result (shape (n,)), NaT where none; reports texts that are no date."""
    cells = Coded.blank(work.count) if work.entries is None else work.entries.attribute(role)
    if not cells.known().any():
        return np.full(work.count, np.datetime64("NaT", "us"))
    dates = parse_dates(cells, work.samples.order(role) or work.layout.dates.get(role, ""))
    if dates.ambiguous or dates.unread:
        message = f"{role!r} in the list of samples holds texts that are no full date, or could be two; none is taken"
        where = work.where(np.flatnonzero(cells.known() & np.isnat(dates.times)))
        work.note("no full date", message, where, first_cells([*dates.ambiguous, *dates.unread]))
    return dates.times


def say_other_times(
    work: Extraction, role: str, own: npt.NDArray[np.datetime64], listed: npt.NDArray[np.datetime64]
) -> None:
    """Hold where the row or label of a result gives another day (*own*, shape (n,)) than the list of samples."""
    differ = own.astype("datetime64[D]") != listed.astype("datetime64[D]")
    _hold_contradiction(work, role, differ & ~np.isnat(own) & ~np.isnat(listed))


def _say_contradicting(work: Extraction, role: str, own: Coded, listed: Coded) -> None:
    both = own.known() & listed.known()
    if both.any():
        _hold_contradiction(work, role, both & (own.map(normalise).objects() != listed.map(normalise).objects()))


def _hold_contradiction(work: Extraction, role: str, differ: Flags) -> None:
    if differ.any():
        message = (
            f"the list of samples gives another {role.replace('_', ' ')} for these results than their own row or the "
            "label above them; ask which one holds, and correct the other"
        )
        places = work.entries.map(lambda entry: entry.place).objects()[differ] if work.entries is not None else ()
        given = first_cells(dict.fromkeys(places))
        work.note(CONTRADICTS, message, work.where(np.flatnonzero(differ)), given, Severity.HOLD)


def _say_unjoined(work: Extraction, sample: Coded, entries: Mapping[str, Entry], known: Mapping[str, object]) -> None:
    """Hold for samples that the lists do not name, name in nearly the same way, or of which they say two things."""
    spelled: dict[str, str] = {}
    for name in known:
        spelled.setdefault(_squeezed(name), name)
    for name, positions in sample.groups(sample.known()):
        entry, where = entries.get(name), work.where(positions)
        if entry is not None and entry.doubled:
            roles = " and ".join(role.replace("_", " ") for role in entry.doubled)
            message = f"the list of samples names this sample more than once, with another {roles}; nothing was joined"
            work.note(DOUBLED, message, where, f"{name}: {entry.place}", Severity.HOLD)
        elif entry is None and (near := spelled.get(_squeezed(name))):
            message = (
                f"the list of samples has {near!r}, which differs from this sample in blanks, signs, case or zeros "
                "alone; nothing was joined: write both in the same way if they are one"
            )
            work.note(MISSING, message, where, str(name), Severity.HOLD)
        elif entry is None:
            message = "the list of samples does not name this sample, so its point and date are not known from there"
            work.note(MISSING, message, where, str(name), Severity.HOLD)


def _squeezed(name: str) -> str:
    return _LEADING_ZEROS.sub("", _NO_LETTER.sub("", name.casefold()))


def explain_list(grid: RoleGrid, one: SampleList) -> None:
    """Give every cell of a list without results its role: of joined samples, of others, and the headings."""
    grid.mark(one.header, slice(None), "heading", "heading of its column in a list of samples")
    rows = np.arange(one.header + 1, len(grid.sheet.cells))
    used = np.isin(rows, sorted(one.used))
    for c, column in one.columns.items():
        named = column.role.replace("_", " ") or "other column"
        own = "the number by which its row is joined" if c == one.key else "joined to the results of its sample"
        grid.mark(rows[used], c, "sample" if c == one.key else named, own if column.role else "in a list of samples")
        grid.mark(rows[~used], c, named, "in a list of samples; its sample has no results in other tables")


def say_list(one: SampleList, workbook: str) -> Iterator[Finding]:
    """Yield a finding that says what a list of samples was used for, and which of its samples have no results."""
    where = f"{workbook}|{one.part.name}" if one.part.name else workbook
    message = f"a list of samples; point, batch and dates of {len(one.used)} of them were joined to results by number"
    yield Finding(code="sample list", severity=Severity.NOTE, message=message, where=where)
    rows = [row for row in range(one.header + 1, len(one.part.cells)) if row not in one.used]
    names = [cell_text(one.part.cells[row, one.key]) for row in rows if one.part.cells[row, one.key] is not None]
    if names:
        message = f"{len(names)} sample(s) of the list have no results in this workbook; ask whether they are missing"
        yield Finding(
            code="sample without results", severity=Severity.NOTE, message=message, where=where,
            given=first_cells(names),
        )  # fmt: skip
