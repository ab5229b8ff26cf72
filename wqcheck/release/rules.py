"""Turns the plant's release-rules file into checked rules: what each batch needs, and what weighs how much."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wqcheck.findings import Severity
from wqcheck.parameters import catalogue
from wqcheck.plant_files import is_list_of_texts, is_text, read_plant_file, refuse_problems, unknown_keys
from wqcheck.release.finding_weights import UNCHANGED, FindingWeights, read_weights, weight_problems
from wqcheck.release.usual_bands import USUAL, Bands, band_problems, read_bands, unbanded
from wqcheck.tables import LimitClass, Product

_CODE_KEYS = ("reported_only", "hold_if_found")
_CLASS_KEYS = ("reject_classes", "hold_classes", "note_classes")
_SEVERITY_KEYS = ("undetermined", "conditional_pass", "memory_evidence", "not_tested")
_OTHER_KEYS = ("title", "required", "found_volume_ml", "findings", "overdue", "sample_days", USUAL)
_KEYS = frozenset({*_OTHER_KEYS, *_CODE_KEYS, *_CLASS_KEYS, *_SEVERITY_KEYS})
FOUND_VOLUME_ML = 100.0
SAMPLE_DAYS = 90
_ALWAYS_REJECT = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseRules:
    """What decides over a batch.

    Attributes
    ----------
    title : str
        Name of the rules, for print.
    required : Mapping[str, tuple[tuple[str, ...], ...]]
        Product word → required entries; each entry is the parameter codes of which one is enough.
    reported_only : frozenset[str]
        Codes that must be measured but need no limit to be compared with.
    usual : Bands
        What parameters usually are, by kind of water; judged where no limit binds them.
    hold_if_found : frozenset[str]
        Codes of organisms that hold a batch when they are found and no limit table binds them.
    found_volume_ml : float
        Water that must have been examined for such an organism to count as not found, in mL.
    reject_classes, note_classes : frozenset[str]
        Limit classes whose failures reject, or only inform; failures of all others hold.
    undetermined : Severity
        What an undetermined result weighs outside the rejecting classes and the required parameters, where it holds.
    conditional_pass : Severity
        What a pass weighs whose uncertainty reaches over the limit.
    memory_evidence : Severity
        What a limit weighs that was not checked against its text.
    not_tested : Severity
        What it weighs that parameters have a limit and no result.
    overdue : Severity
        What it weighs that a parameter's last result is older than its panel allows (:mod:`wqcheck.release.due`).
    sample_days : int
        Days before the check that a batch's samples may have been taken, where the start of its run is not known.
    findings : FindingWeights
        Findings about the data that hold, only inform or are left out.
    digest, path : str
        SHA-256 of the file's bytes, and where it was read.
    """

    title: str
    required: Mapping[str, tuple[tuple[str, ...], ...]]
    reported_only: frozenset[str] = frozenset()
    usual: Bands = field(default_factory=dict)
    hold_if_found: frozenset[str] = frozenset()
    found_volume_ml: float = FOUND_VOLUME_ML
    reject_classes: frozenset[str] = frozenset(map(str, _ALWAYS_REJECT))
    note_classes: frozenset[str] = frozenset()
    undetermined: Severity = Severity.HOLD
    conditional_pass: Severity = Severity.NOTE
    memory_evidence: Severity = Severity.NOTE
    not_tested: Severity = Severity.NOTE
    overdue: Severity = Severity.NOTE
    sample_days: int = SAMPLE_DAYS
    findings: FindingWeights = UNCHANGED
    digest: str = ""
    path: str = ""


def load_release_rules(path: Path | str) -> ReleaseRules:
    """Read a release-rules file.

    Parameters
    ----------
    path : Path or str
        A TOML file; ``limits/release_rules.toml`` explains every key.

    Raises
    ------
    PlantFileError
        The text lists every problem of the file with its mend; nothing of it is used.
    """
    data, digest = read_plant_file(path)
    problems = [*unknown_keys(data, _KEYS, "the file"), *_class_problems(data), *_severity_problems(data)]
    problems += [*_required_problems(data), *_title_problems(data), *weight_problems(data), *_volume_problems(data)]
    problems += [*_day_problems(data), *band_problems(data)]
    problems += [] if problems else unbanded(data)
    refuse_problems(path, problems)
    return ReleaseRules(
        title=str(data["title"]),
        required={word: tuple(map(split_entry, entries)) for word, entries in data["required"].items()},
        reported_only=frozenset(data.get("reported_only", ())),
        usual=read_bands(data),
        hold_if_found=frozenset(data.get("hold_if_found", ())),
        found_volume_ml=float(data.get("found_volume_ml", FOUND_VOLUME_ML)),
        reject_classes=frozenset(data["reject_classes"]),
        note_classes=frozenset(data.get("note_classes", ())),
        overdue=Severity(data.get("overdue", Severity.NOTE)),
        sample_days=data.get("sample_days", SAMPLE_DAYS),
        findings=read_weights(data),
        digest=digest,
        path=str(path),
        **{key: Severity(data[key]) for key in _SEVERITY_KEYS},
    )


def split_entry(entry: str) -> tuple[str, ...]:
    """Return the parameter codes of one required entry, ``free_chlorine|total_chlorine``."""
    return tuple(code.strip() for code in entry.split("|"))


def _title_problems(data: Mapping[str, Any]) -> Iterator[str]:
    if not is_text(data.get("title")):
        yield 'title: it is missing; write title = "..."'


def _volume_problems(data: Mapping[str, Any]) -> Iterator[str]:
    volume = data.get("found_volume_ml", FOUND_VOLUME_ML)
    if isinstance(volume, bool) or not isinstance(volume, int | float) or not volume > 0:
        yield f"found_volume_ml: it must be a volume above 0 in mL, such as 250 (given: {volume!r})"


def _day_problems(data: Mapping[str, Any]) -> Iterator[str]:
    days = data.get("sample_days", SAMPLE_DAYS)
    if isinstance(days, bool) or not isinstance(days, int) or days < 0:
        yield f"sample_days: it must be a whole number of days, 0 or more (given: {days!r})"


def _class_problems(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield limit classes that stand in no list or in two, or that may not stand where they do."""
    lists = {key: data.get(key, []) for key in _CLASS_KEYS}
    wrong = [key for key, words in lists.items() if not is_list_of_texts(words)]
    yield from (f'{key}: it must be a list of texts; write {key} = ["..."]' for key in wrong)
    if wrong:
        return
    given = [word for words in lists.values() for word in words]
    for word in sorted(set(given) - set(LimitClass)):
        yield f"the class {word!r} is not known; use {', '.join(LimitClass)}"
    for word in LimitClass:
        if given.count(word) != 1:
            yield f"the class {str(word)!r} stands in {given.count(word)} of {', '.join(_CLASS_KEYS)}; name it in one"
        if word in _ALWAYS_REJECT and word not in lists["reject_classes"]:
            yield f"reject_classes: {str(word)!r} is missing; failures of this class always reject"


def _severity_problems(data: Mapping[str, Any]) -> Iterator[str]:
    for key in (*_SEVERITY_KEYS, *({"overdue"} & set(data))):
        if data.get(key) not in list(Severity):
            yield f'{key}: it must be "hold" or "note" (given: {data.get(key)!r})'


def _required_problems(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield product words and parameter codes that are not known, and kinds of water without a required parameter."""
    for key in _CODE_KEYS:
        codes = data.get(key, [])
        if is_list_of_texts(codes):
            yield from _code_problems(key, codes)
        else:
            yield f'{key}: it must be a list of texts; write {key} = ["..."]'
    required = data.get("required")
    if not isinstance(required, dict) or not required:
        yield "required: it is missing; write a [required] table with a list of parameter codes for each kind of water"
        return
    for word, entries in required.items():
        where = f"required, {word}"
        if word not in list(Product):
            yield f"{where}: this kind of water is not known; use {', '.join(Product)}"
        if not is_list_of_texts(entries) or not entries:
            yield f"{where}: it must be a list of at least one parameter code"
            continue
        yield from _code_problems(where, [code for entry in entries for code in split_entry(entry)])


def _code_problems(where: str, codes: list[str]) -> Iterator[str]:
    for code, times in Counter(codes).items():
        if code not in catalogue():
            yield f"{where}: the parameter {code!r} is not in the catalogue; write its code as in parameters.csv"
        if times > 1:
            yield f"{where}: {code!r} stands {times} times; name it once"
