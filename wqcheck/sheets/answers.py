"""Turns the answers of a sheet layout into names, units, bases, volumes, points and signs of results that lack them.

An answer fills what the sheet leaves open. Where the sheet states something else the sheet holds and a finding says so,
unless the layout says ``replace = true``; then each replacement is a finding.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from wqcheck.findings import Severity
from wqcheck.sheet_layouts.checks import misfit
from wqcheck.sheet_layouts.records import NO_ANSWERS, NameAnswer
from wqcheck.sheets.coded import Coded, Flags, Numbers
from wqcheck.sheets.columns import units_of
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.recognise import Analyte
from wqcheck.sheets.told import NOT_USED, REPLACED
from wqcheck.tables import Sign


def told_names(work: Extraction, texts: Coded, found: Coded) -> Coded:
    """Return what each analyte name is recognised as (*found*), filled with what the layout says of the name."""
    if work.layout is NO_ANSWERS:
        return found
    if work.table.kind == "wide":
        here = np.isin(work.found.columns, sorted(work.told.named))
        work.supply("the parameter", here)
        return found
    answers = texts.map(lambda text: work.layout.name_of(str(text)))
    by_column = {c: _as_name(answer) for c, answer in work.told.columns.items() if answer.parameter}
    answers = answers.or_else(work.of_columns(by_column)) if by_column else answers
    if work.told.table.parameter:
        answers = answers.or_else(Coded.all_the_same(NameAnswer(parameter=work.told.table.parameter), work.count))
    told = answers.map(_analyte)
    differs = found.known() & told.known() & (found.attribute("code").objects() != told.attribute("code").objects())
    replaced = differs & answers.flags(lambda answer: answer.replace)
    for name, positions in texts.groups(differs):
        _say_difference(work, "the name means another parameter in the sheet layout", name, positions, replaced)
    work.supply("the parameter", ~found.known() & told.known())
    return found.without(replaced).or_else(told)


def _as_name(answer: Any) -> NameAnswer:
    return NameAnswer(parameter=answer.parameter, basis=answer.basis, fraction=answer.fraction)


def _analyte(answer: NameAnswer) -> Analyte:
    unit = units_of(Coded.all_the_same(answer.unit, 1)).objects()[0] if answer.unit else None
    return Analyte(answer.parameter, answer.basis, answer.fraction, unit, answer.unit)


def told_units(work: Extraction, code: Coded, stated: Coded, barred: Flags) -> Coded:
    """Return the unit text of each result: as *stated*, else as the layout says for its column, parameter or table.

    *barred* (shape (n,)) are results whose row contradicts itself; only ``replace = true`` gives them a unit.
    """
    layout, told = work.layout, work.told
    if layout is NO_ANSWERS:
        return stated
    spelled = stated.map(lambda text: layout.unit_spelling(str(text)))
    respelled = spelled.known() & ~units_of(stated).known()
    work.supply("a known spelling of the unit", respelled)
    text = stated.without(respelled).or_else(spelled.without(~respelled))
    column = work.of_columns({c: (a.unit, a.replace) for c, a in told.columns.items() if a.unit})
    by_code = code.map(lambda c: (layout.units[c].text, layout.units[c].replace) if c in layout.units else None)
    answers = column.or_else(by_code)
    if told.table.unit:
        unit = told.table.unit
        answers = answers.or_else(code.map(lambda c: None if misfit(unit, c) else (unit, False)))
    return _filled(work, "the unit", text, answers, barred, same=lambda unit: units_of(unit).attribute("label"))


def told_bases(work: Extraction, code: Coded, stated: Coded, barred: Flags) -> Coded:
    """Return the basis of each result: as *stated*, else as the layout says for its parameter."""
    bases = work.layout.bases
    if not bases:
        return stated
    answers = code.map(lambda c: (bases[c].text, bases[c].replace) if c in bases else None)
    return _filled(work, "the basis", stated, answers, barred, same=lambda basis: basis)


def told_volumes(work: Extraction, code: Coded, stated: Numbers) -> Numbers:
    """Return the volume examined (mL, shape (n,)): as *stated*, else as the layout says for its parameter."""
    volumes = work.layout.volumes
    if not volumes:
        return stated
    answers = code.map(lambda c: (volumes[c].volume_ml, volumes[c].replace) if c in volumes else None)
    given = Coded.of(stated.astype(object))
    none = np.zeros(work.count, dtype=bool)
    return _filled(work, "the volume examined", given, answers, none, same=lambda volume: volume).numbers()


def _filled(
    work: Extraction, what: str, stated: Coded, answers: Coded, barred: Flags, *, same: Callable[[Coded], Coded]
) -> Coded:
    """Return *stated*, filled from *answers* (pairs of value and whether it replaces); *same* is what is compared."""
    told = answers.map(lambda answer: answer[0])
    may = answers.flags(lambda answer: answer[1])
    meant = same(stated)
    differs = stated.known() & told.known() & (meant.objects() != same(told).objects())
    replaced = (differs | (barred & told.known())) & may
    told_apart = differs & (meant.known() | replaced)  # a text of no known meaning has its finding already
    for given, positions in stated.groups(told_apart):
        _say_difference(work, f"the sheet layout has another value for {what}", given, positions, replaced)
    for given, positions in told.groups(barred & replaced & ~stated.known()):
        message = f"the sheet layout settles {what}, on which the row contradicts itself"
        work.note(REPLACED, message, work.where(positions), str(given))
    fills = told.known() & (replaced | (~stated.known() & ~barred))
    work.supply(what, fills & ~replaced)
    return stated.without(replaced).or_else(told.without(~fills))


def _say_difference(work: Extraction, message: str, given: object, positions: Any, replaced: Flags) -> None:
    holds = not replaced[positions].any()
    ending = "what the sheet states holds" if holds else "it replaces what the sheet states, as its replace = true says"
    work.note(
        NOT_USED if holds else REPLACED, f"{message}; {ending} ({len(positions)} result(s))", work.where(positions),
        str(given), Severity.NOTE,
    )  # fmt: skip


def told_places(work: Extraction, texts: Mapping[str, Coded]) -> dict[str, Coded]:
    """Return the texts of *texts* with the points and stages that the layout says for spellings of points."""
    if not work.layout.points:
        return dict(texts)
    answers = texts["point"].map(lambda text: work.layout.point_of(str(text)))
    work.supply("the sampling point", answers.known())
    points, stages = answers.attribute("point"), answers.attribute("stage")
    point = texts["point"].without(points.known()).or_else(points)
    return {**texts, "point": point, "stage": texts["stage"].or_else(stages)}


def count_told_cells(work: Extraction) -> None:
    """Count the results whose word or decimal mark the layout says."""
    text = work.parsed.part("text")
    work.supply("the meaning of a word", text.flags(lambda given: work.layout.word_of(given) is not None))
    unproven = [column for column, mark in work.parsed.marks.items() if not mark]
    if work.layout.decimal and unproven:
        marked = text.flags(lambda given: "," in given or "." in given)
        work.supply("the decimal mark", marked & np.isin(work.found.columns, unproven))


def told_signs(work: Extraction, sign: Coded, *texts: Coded) -> Coded:
    """Return the sign of each result, with what the layout says of *texts* in sign and flag columns for plain ones."""
    if not work.layout.signs:
        return sign
    for text in texts:
        told = text.map(lambda given: Sign(said) if (said := work.layout.sign_of(str(given))) else None)
        here = told.known() & sign.equal_to(Sign.EQUAL)
        work.supply("the sign", here)
        sign = sign.without(here).or_else(told)
    return sign
