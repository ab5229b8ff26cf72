"""Turns a train into an SVG diagram: stages as boxes in the order of flow, points as ticks, branches as lines.

What a box says of its stage stands in words below it and as a pattern inside it, never as colour alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.quantities import show_quantity
from wqcheck.tables import StageVerdict, StageVerdicts
from wqcheck.train.description import Stage, Train
from wqcheck.train.equipment import StageFlow
from wqcheck.train.removal_words import removal_words

PER_ROW = 5
_BOX, _HIGH, _GAP, _LEFT, _TOP = 152, 66, 66, 62, 46
_ROW, _BRANCH = 168, 56
_INK, _LINE, _FILL, _SOFT = "#1d2b33", "#5a6f7a", "#f4f7f8", "#44545c"
_PATTERNS = {
    StageVerdict.WEAK: ("hatch", '<path d="M0 8 L8 0" stroke="#5a6f7a" stroke-width="1.2"/>'),
    StageVerdict.WORSE: ("cross", '<path d="M0 0 L8 8 M0 8 L8 0" stroke="#1d2b33" stroke-width="1.1"/>'),
    StageVerdict.NOT_SHOWN: ("dots", '<circle cx="4" cy="4" r="1.1" fill="#5a6f7a"/>'),
    StageVerdict.UNEXPLAINED: ("bars", '<path d="M4 0 V8" stroke="#1d2b33" stroke-width="1.4"/>'),
}  # fmt: skip
"""Verdict → name and drawing of its pattern; *as expected* has none."""


@dataclass(frozen=True, slots=True)
class StageNote:
    """What stands below a box: a figure, a verdict that also gives the box its pattern, and the flow through it."""

    figure: str = ""
    verdict: str = ""
    flow: str = ""


def notes_for(stages: DataFrame[StageVerdicts], parameter: str, say: Catalogue = ENGLISH) -> dict[str, StageNote]:
    """Return by stage what it removed of one parameter, and its verdict."""
    rows = stages[stages["parameter"].eq(parameter)].drop_duplicates("stage")
    return {
        row["stage"]: StageNote(
            removal_words(row["removal_percent"], row["log_removal"], row["bound"], say),
            "" if pd.isna(row["verdict"]) else str(row["verdict"]),
        )
        for row in rows.to_dict("records")
    }


def worst_notes(stages: DataFrame[StageVerdicts], say: Catalogue = ENGLISH) -> dict[str, StageNote]:
    """Return by stage the gravest of its verdicts, and of how many parameters it was given."""
    order = [StageVerdict.WORSE, StageVerdict.UNEXPLAINED, StageVerdict.WEAK, StageVerdict.AS_EXPECTED,
             StageVerdict.NOT_SHOWN]  # fmt: skip
    found = {}
    for stage, rows in stages[stages["verdict"].notna()].groupby("stage", sort=False):
        counts = rows["verdict"].value_counts()
        word = next(word for word in order if word in counts.index)
        figure = say("{number} of {all} parameters", number=counts[word], all=len(rows))
        found[str(stage)] = StageNote(figure, str(word))
    return found


def with_flows(
    notes: Mapping[str, StageNote],
    flows: Mapping[str, StageFlow],
    *,
    us_units: bool = False,
    say: Catalogue = ENGLISH,
) -> dict[str, StageNote]:
    """Return the notes with the flow through each stage, ``8 m³/h metered``; a stage without a note gets one.

    Three digits, for a flow meter has no more.
    """
    told = {
        stage: f"{show_quantity(float(f'{flow.value:.3g}'), 'flow', us_units=us_units)} {say(flow.known)}"
        for stage, flow in flows.items()
    }
    return {
        stage: replace(notes.get(stage, StageNote()), flow=told.get(stage, ""))
        for stage in dict.fromkeys((*notes, *flows))
    }


def train_svg(
    train: Train,
    notes: Mapping[str, StageNote] | None = None,
    *,
    about: str = "",
    per_row: int = PER_ROW,
    say: Catalogue = ENGLISH,
) -> str:
    """Return the diagram of a train.

    Parameters
    ----------
    train : Train
        Its stages are drawn in the order of the file.
    notes : mapping, optional
        Stage name → what stands below its box.
    about : str, optional
        What the notes are, a line below the drawing: ``removal of chloride``.
    per_row : int
        Boxes in a row before the line wraps.
    say : Catalogue, optional
        What the drawing's own words are said in.

    Returns
    -------
    str
        An SVG document with ``<title>`` and ``<desc>``; all text of the train file is escaped.
    """
    said = notes or {}
    tops = _row_tops(train.stages, per_row)
    width = 2 * _LEFT + min(per_row, len(train.stages)) * (_BOX + _GAP) - _GAP
    height = tops[-1] + (24 if about else 0)
    body = "\n".join(_drawing(train, said, per_row, say))
    patterns = "".join(
        f'<pattern id="{name}" width="8" height="8" patternUnits="userSpaceOnUse">{drawn}</pattern>'
        for name, drawn in _PATTERNS.values()
    )
    foot = _text(_LEFT, height - 10, about, size=12, anchor="start") if about else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        'role="img" aria-labelledby="train-title train-desc" font-family="Helvetica, Arial, sans-serif">\n'
        f'<title id="train-title">{escape(say("{name}: treatment train", name=train.name))}</title>\n'
        f'<desc id="train-desc">{escape(describe(train, said, say))}</desc>\n'
        '<defs><marker id="arrow" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto">'
        f'<path d="M0 0 L8 4 L0 8 z" fill="{_LINE}"/></marker>{patterns}</defs>\n'
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n{body}\n{foot}</svg>\n'
    )


def describe(train: Train, notes: Mapping[str, StageNote], say: Catalogue = ENGLISH) -> str:
    """Return the diagram in words, for those who do not see it."""
    parts = []
    for stage in train.stages:
        words = [f"{stage.name} ({say(stage.kind)})", say("to point {point}", point=stage.outlet)]
        words += [say("concentrate to {point}", point=stage.concentrate)] if stage.concentrate else []
        words += [say("led back to {point}", point=stage.recycle_to)] if stage.recycle_to else []
        note = notes.get(stage.name, StageNote())
        parts.append(", ".join([*words, *filter(None, (note.figure, _verdict(note, say), note.flow))]))
    told = "; ".join(parts)
    return say("{number} stages in the order of flow: {stages}.", number=len(train.stages), stages=told)


def _verdict(note: StageNote, say: Catalogue) -> str:
    return say(note.verdict) if note.verdict else ""


def _drawing(train: Train, notes: Mapping[str, StageNote], per_row: int, say: Catalogue) -> Iterator[str]:
    names = {point.code: point.name for point in train.points}
    tops = _row_tops(train.stages, per_row)
    for number, stage in enumerate(train.stages):
        x = _LEFT + (number % per_row) * (_BOX + _GAP)
        y, below = tops[number // per_row], tops[number // per_row + 1]
        last = number + 1 == len(train.stages)
        if number == 0 and stage.inlet:
            yield _line(f"M{x - 48} {y + _HIGH / 2} H{x - 2}", arrow=True)
            yield _tick(x - 26, y + _HIGH / 2, stage.inlet, names)
        follows = None if last else train.stages[number + 1]
        turn = below if (number + 1) % per_row == 0 else None
        yield from _outlet(stage, follows, (x + _BOX, y + _HIGH / 2), turn, names, say)
        yield from _box(stage, notes.get(stage.name, StageNote()), x, y, say)
        yield from _branch(stage, x, y, names, say)


def _box(stage: Stage, note: StageNote, x: float, y: float, say: Catalogue) -> Iterator[str]:
    frame = f'x="{x}" y="{y}" width="{_BOX}" height="{_HIGH}" rx="7"'
    yield f'<rect {frame} fill="{_FILL}" stroke="{_LINE}" stroke-width="1.4"/>'
    if note.verdict in _PATTERNS:
        pattern = _PATTERNS[StageVerdict(note.verdict)][0]
        yield f'<rect {frame} fill="url(#{pattern})" fill-opacity="0.55" stroke="{_INK}" stroke-width="2.2"/>'
    lines = _wrapped(stage.name, 18, 2)
    units = stage.equipment.installed
    kind = say(stage.kind) if stage.kind != stage.name.casefold() else ""
    duty = say("{number} of {all} on duty", number=stage.equipment.on_duty, all=units) if units > 1 else ""
    small = ", ".join(filter(None, (kind, duty)))
    yield f'<rect x="{x + 8}" y="{y + 8}" width="{_BOX - 16}" height="{_HIGH - 16}" rx="4" fill="{_FILL}"/>'
    top = y + _HIGH / 2 + 5 - 8 * (len(lines) - 1) - (8 if small else 0)
    for place, line in enumerate(lines):
        yield _text(x + _BOX / 2, top + 16 * place, line, size=14, bold=True)
    if small:
        yield _text(x + _BOX / 2, top + 16 * len(lines), small, size=11)
    for place, (line, bold) in enumerate(_note_lines(note, say)):
        yield _text(x + _BOX / 2, y + _HIGH + 17 + 14 * place, line, size=12, bold=bold)


def _note_lines(note: StageNote, say: Catalogue) -> Iterator[tuple[str, bool]]:
    """Yield the lines below a box, at most four, and whether each is bold."""
    if note.figure:
        yield from ((line, False) for line in _wrapped(note.figure, 26, 2))
    if note.verdict:
        yield say(note.verdict), True
    if note.flow:
        yield note.flow, False


def _row_tops(stages: Sequence[Stage], per_row: int) -> list[float]:
    """Return the upper edge of each row of boxes, and last where the drawing ends; rows with a branch are higher."""
    tops: list[float] = [_TOP]
    for first in range(0, len(stages), per_row):
        branches = any(stage.concentrate or stage.recycle_to for stage in stages[first : first + per_row])
        tops.append(tops[-1] + _ROW + (_BRANCH if branches else 0))
    return tops


def _outlet(
    stage: Stage,
    follows: Stage | None,
    start: tuple[float, float],
    turn: float | None,
    names: Mapping[str, str],
    say: Catalogue,
) -> Iterator[str]:
    """Yield the line from a box to the next one (in the row that begins at *turn*), or to the end, with its point."""
    x, y = start
    joins = follows is not None and follows.inlet == stage.outlet
    if joins and turn is not None:
        yield _line(f"M{x} {y} H{x + 44} V{turn - 30} H{_LEFT - 40} V{turn + _HIGH / 2} H{_LEFT - 2}", arrow=True)
    else:
        yield _line(f"M{x} {y} H{x + (_GAP if joins else 46) - 2}", arrow=True)
    yield _tick(x + 24, y, stage.outlet, names)
    if follows is not None and not joins:
        yield _text(x + 24, y + 26, say("next from {point}", point=follows.inlet), size=10)


def _branch(stage: Stage, x: float, y: float, names: Mapping[str, str], say: Catalogue) -> Iterator[str]:
    """Yield the concentrate of a stage as a line down from its box, dashed where it is led back."""
    if not stage.concentrate and not stage.recycle_to:
        return
    side, foot = x + 16, y + _HIGH + 78
    yield _line(f"M{side} {y + _HIGH} V{foot + 18} H{side + 22}", arrow=True, dashed=bool(stage.recycle_to))
    if stage.concentrate:
        yield _tick(side, foot, stage.concentrate, names, upright=True)
    words = say("back to {point}", point=stage.recycle_to) if stage.recycle_to else say("concentrate")
    yield _text(side + 28, foot + 22, words, size=11, anchor="start")


def _line(path: str, *, arrow: bool = False, dashed: bool = False) -> str:
    end = ' marker-end="url(#arrow)"' if arrow else ""
    dash = ' stroke-dasharray="6 4"' if dashed else ""
    return f'<path d="{path}" fill="none" stroke="{_LINE}" stroke-width="1.6"{dash}{end}/>'


def _tick(x: float, y: float, code: str, names: Mapping[str, str], *, upright: bool = False) -> str:
    """Return a mark across a line with its point's code; its name shows where a pointer rests on it."""
    mark = f"M{x - 6} {y} H{x + 6}" if upright else f"M{x} {y - 7} V{y + 7}"
    at = (x + 11, y + 4, "start") if upright else (x, y - 12, "middle")
    label = _text(at[0], at[1], code, size=12, anchor=at[2], bold=True)
    name = escape(f"{code}: {names.get(code, '')}")
    return f'<g><title>{name}</title><path d="{mark}" stroke="{_INK}" stroke-width="2.4"/>{label}</g>'


def _text(x: float, y: float, text: str, *, size: int, anchor: str = "middle", bold: bool = False) -> str:
    """Return a line of text; the small sizes are softer."""
    weight, fill = "bold" if bold else "normal", _INK if size >= 12 else _SOFT
    shape = f'x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}" fill="{fill}"'
    return f"<text {shape}>{escape(text)}</text>"


def _wrapped(text: str, most: int, lines: int) -> Sequence[str]:
    return textwrap.wrap(text, most, max_lines=lines, placeholder="…") or [""]
