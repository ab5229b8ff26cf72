"""Checks certificates and notices as data: form, digest, refusals, order, wording and the words of limits."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from dataclasses import asdict, replace
from datetime import UTC, datetime
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.certificate_batches import FAILING, GOOD, OPEN, good_batch, held_batch, judged_table, rejected_batch
from wqcheck.certificate.data import (
    Certificate,
    CertificateKind,
    from_json,
    issue_certificate,
    issue_notice,
    to_json,
    verify_digest,
)
from wqcheck.certificate.figures import compared_text, limit_text, number_text, removal_text, unit_text
from wqcheck.certificate.lines import finite, plain_text, result_lines
from wqcheck.errors import ReleaseRefusedError
from wqcheck.findings import Finding, Severity
from wqcheck.release.decision import BatchCheck, Disposition
from wqcheck.tables import Bound, Rule, Verdict

WHEN = datetime(2026, 3, 5, 6, 2, tzinfo=UTC)


def released() -> Certificate:
    return issue_certificate(good_batch(), number="CR-2026-0107", signed_by="Mara Quell (invented)", issued_at=WHEN)


def noticed(check: BatchCheck) -> Certificate:
    return issue_notice(check, number="N-2026-0012", signed_by="Mara Quell (invented)", issued_at=WHEN)


def documents() -> list[Certificate]:
    return [released(), noticed(held_batch()), noticed(rejected_batch())]


def test_the_same_inputs_give_the_same_bytes_and_leave_the_tables_alone() -> None:
    check = held_batch()
    tables: list[pd.DataFrame] = [check.readings, check.judged, check.stages]
    before = [table.copy() for table in tables]
    assert to_json(noticed(check)) == to_json(noticed(held_batch()))
    for table, copy in zip(tables, before, strict=True):
        pd.testing.assert_frame_equal(table, copy)


def test_each_kind_has_its_disposition() -> None:
    assert [(c.kind, c.disposition) for c in documents()] == [
        (CertificateKind.RELEASE, Disposition.RELEASE),
        (CertificateKind.HOLD, Disposition.HOLD),
        (CertificateKind.REJECT, Disposition.REJECT),
    ]


def schema() -> Any:
    return json.loads(resources.files("wqcheck").joinpath("certificate_schema.json").read_text("utf-8"))


def test_documents_match_the_published_schema() -> None:
    """The jsonschema library is the judge (JSON Schema, draft 2020-12)."""
    jsonschema.Draft202012Validator.check_schema(schema())
    for certificate in documents():
        jsonschema.Draft202012Validator(schema()).validate(json.loads(to_json(certificate)))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("disposition",), "hold"),
        (("results", 0, "verdict"), "fine"),
        (("files", 0, "sha256"), "a1"),
        (("results", 0, "compared_high"), "0"),
        (("batch", "colour"), "blue"),
        (("number",), ""),
    ],
)
def test_the_schema_refuses_what_is_not_a_certificate(path: tuple[str | int, ...], value: object) -> None:
    data = json.loads(to_json(released()))
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(data)


def test_a_certificate_comes_back_from_its_json() -> None:
    for certificate in documents():
        assert from_json(to_json(certificate)) == certificate


def test_json_knows_neither_nan_nor_infinity() -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    check = good_batch()
    judged = check.judged.assign(compared_high=math.inf, compared_low=-math.inf)
    text = to_json(noticed(replace(held_batch(), judged=judged)))
    assert json.loads(text, parse_constant=refuse)["results"][0]["compared_high"] is None


@pytest.mark.skipif(not (shutil.which("grep") and shutil.which("sha256sum")), reason="needs grep and sha256sum")
def test_anyone_can_check_the_digest_without_this_package(tmp_path: Path) -> None:
    """GNU coreutils are the judge of the recipe that the module states."""
    file = tmp_path / "c.json"
    file.write_text(to_json(released()), "utf-8", newline="\n")
    command = f"grep -v '^  \"content_digest\": ' {file} | sha256sum"
    found = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=True).stdout.split()[0]
    assert found == released().digest == json.loads(file.read_text("utf-8"))["content_digest"]


def test_the_digest_tells_every_change_of_content() -> None:
    text = to_json(noticed(rejected_batch()))
    assert verify_digest(text)
    assert verify_digest(json.dumps(json.loads(text), indent=None))
    for old, new in (("12.5", "2.5"), ("fail", "pass"), ('"number": "N-', '"number": "M-'), ("B2107", "B2108")):
        assert old in text
        assert not verify_digest(text.replace(old, new, 1))
    assert not verify_digest(text.replace('"number":', '"number": "N-1", "number":', 1))


@pytest.mark.parametrize("text", ["", "[]", "{}", "null", '{"content_digest": 1}', "[" * 100_000, '{"a": NaN}'])
def test_what_is_not_a_certificate_does_not_verify(text: str) -> None:
    assert not verify_digest(text)
    with pytest.raises(ValueError, match="not a certificate"):
        from_json(text)


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_no_single_changed_digit_goes_unseen(data: st.DataObject) -> None:
    text = to_json(released())
    place = data.draw(st.sampled_from([n for n, c in enumerate(text) if c.isdigit()]))
    other = data.draw(st.sampled_from([d for d in "0123456789" if d != text[place]]))
    assert not verify_digest(text[:place] + other + text[place + 1 :])


def refusal(
    check: BatchCheck, *, number: str = "CR-1", signed_by: str = "Mara Quell (invented)"
) -> ReleaseRefusedError:
    with pytest.raises(ReleaseRefusedError) as caught:
        issue_certificate(check, number=number, signed_by=signed_by, issued_at=WHEN)
    return caught.value


def test_a_batch_on_hold_or_rejected_gets_no_certificate() -> None:
    for check in (held_batch(), rejected_batch()):
        error = refusal(check)
        assert error.disposition == check.decision.disposition
        assert [reason.message for reason in check.decision.reasons] == list(error.reasons)


def test_a_decision_that_its_own_data_contradicts_gets_no_certificate() -> None:
    check = good_batch()
    missing = replace(check, decision=replace(check.decision, missing=("lead",)))
    assert refusal(missing).reasons == ("lead is required and has no result",)
    failing = replace(check, judged=judged_table(GOOD, FAILING))
    assert refusal(failing).reasons == ("Pseudomonas aeruginosa exceeds its limit", "bromate exceeds its limit")
    hold = Finding(code="x", severity=Severity.HOLD, message="the unit of lead is not known; state it")
    assert refusal(replace(check, findings=(hold,))).reasons == (hold.message,)


def test_number_and_name_may_not_be_blank() -> None:
    assert "number" in refusal(good_batch(), number=" ").reasons[0]
    assert "signs" in refusal(good_batch(), signed_by="").reasons[0]


def test_a_released_batch_gets_no_notice() -> None:
    with pytest.raises(ReleaseRefusedError, match="issue a certificate instead"):
        noticed(good_batch())


def test_every_judged_row_stands_on_the_document_once() -> None:
    for check, certificate in zip((good_batch(), held_batch(), rejected_batch()), documents(), strict=True):
        lines = (*certificate.results, *certificate.without_limit)
        assert sorted(line.cell for line in lines) == sorted(
            f"{book}|{sheet}!{cell}" for book, sheet, cell in check.judged[["workbook", "sheet", "cell"]].to_numpy()
        )
        assert {line.verdict for line in certificate.without_limit} == {Verdict.NO_LIMIT}
        assert Verdict.NO_LIMIT not in {line.verdict for line in certificate.results}


def test_rows_that_ask_for_a_decision_stand_first_and_required_ones_before_others() -> None:
    lines = result_lines(judged_table(GOOD, OPEN, FAILING), ("bromate", "lead"))
    verdicts = [line.verdict for line in lines]
    assert verdicts == ["fail"] * 3 + ["undetermined"] * 2 + ["pass"] * 6 + ["no limit"]
    assert [line.parameter for line in lines][:3] == ["bromate", "pseudomonas_aeruginosa", "turbidity"]
    assert lines[5].parameter == "lead"


def test_limits_not_read_in_the_official_text_are_marked() -> None:
    lines = {line.parameter: line.unverified for line in result_lines(judged_table(GOOD, OPEN), ())}
    marked = {code for code, remark in lines.items() if remark == "not verified against the official text"}
    assert marked == {"ph", "cadmium"}
    assert set(lines.values()) == {"", "not verified against the official text"}


def test_the_statement_follows_the_facts() -> None:
    assert released().statement == (
        "The results listed were compared with the limits listed; no listed required result exceeded its limit.",
        "Of the 6 limit rows used, 1 is not verified against the official text; the table marks it.",
    )
    hold, reject = " ".join(noticed(held_batch()).statement), " ".join(noticed(rejected_batch()).statement)
    assert "could not be compared with their limit: Escherichia coli, cadmium." in hold
    assert "required parameters have no result: cyanide." in hold
    assert "required results did not keep their limit: Pseudomonas aeruginosa." in reject
    assert "other results did not keep their limit: bromate, turbidity." in reject
    assert "no listed required result exceeded" not in hold + reject


def test_without_a_judged_row_nothing_is_said_to_have_been_compared() -> None:
    check = held_batch()
    sentences = noticed(replace(check, judged=judged_table(GOOD).iloc[-1:])).statement
    assert sentences[0] == "No result was compared with a limit."


def test_notices_say_what_to_do_and_name_what_is_concerned() -> None:
    hold, reject = noticed(held_batch()).next_steps, noticed(rejected_batch()).next_steps
    for steps in (hold, reject):
        assert steps[0].startswith("Do not dispatch batch B2107.")
    assert any("cyanide" in step for step in hold)
    assert any("bromate" in step for step in reject)


def test_no_document_calls_water_safe() -> None:
    for certificate in documents():
        words = to_json(certificate).lower()
        for claim in ("safe", "potable", "fit to drink", "fit for consumption", "harmless", "guarantee"):
            assert claim not in words


def test_the_local_regulator_prevails_on_every_document() -> None:
    for certificate in documents():
        assert "regulator" in certificate.caution
        assert "licence" in certificate.caution


def test_stages_findings_files_and_samples_are_carried_over() -> None:
    certificate, check = noticed(held_batch()), held_batch()
    assert [asdict(finding) for finding in certificate.findings] == [asdict(finding) for finding in check.findings]
    assert certificate.files == check.files
    assert sum(sample.results for sample in certificate.samples) == len(check.readings)
    assert [stage.removal for stage in certificate.stages] == ["91.7 %", "≥ 60 %", "unknown"]
    assert certificate.missing == ("cyanide",)
    assert "cyanide" in certificate.not_tested
    assert "mercury" in certificate.not_tested


@pytest.mark.parametrize(
    ("rule", "lower", "upper", "unit", "words"),
    [
        (Rule.MAX, None, 10.0, "µg/L", "≤ 10 µg/L"),
        (Rule.MIN, 0.2, None, "mg/L", "≥ 0.2 mg/L"),
        (Rule.RANGE, 6.5, 9.5, "", "6.5–9.5"),
        (Rule.ABSENT, None, None, "CFU/250 mL", "absent in 250 mL"),
        (Rule.ABSENT, None, None, "CFU/mL", "absent in 1 mL"),
        (Rule.ABSENT, None, None, "CFU", "absent"),
        (Rule.MAX, None, 100.0, "CFU/mL", "≤ 100 CFU/mL"),
        (Rule.SUM_MAX, None, 0.1, "µg/L", "sum ≤ 0.1 µg/L"),
        (Rule.RATIO_SUM_MAX, None, 1.0, "", "sum of ratios ≤ 1"),
        (Rule.PERCENTILE_MAX, None, 1.0, "NTU", "percentile ≤ 1 NTU"),
        (Rule.MEAN_MAX, None, 80.0, "µg/L", "mean ≤ 80 µg/L"),
        (Rule.ATTRIBUTE_PLAN, None, None, "", "sampling plan of the clause"),
        (Rule.GUIDANCE, None, None, "", "no number, see the clause"),
        ("", None, None, "", ""),
    ],
)
def test_limits_in_words(rule: str, lower: float | None, upper: float | None, unit: str, words: str) -> None:
    assert limit_text(rule, lower, upper, unit) == words


def test_every_rule_has_words() -> None:
    assert all(limit_text(rule, 1.0, 2.0, "mg/L") for rule in Rule)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (9.5, 9.5, "9.5 mg/L"),
        (0.0, 5.0, "0 to 5 mg/L"),
        (300.0, math.inf, "300 or more mg/L"),
        (-math.inf, 3.0, "3 or less mg/L"),
        (math.nan, math.nan, ""),
        (math.nan, 3.0, ""),
        (None, pd.NA, ""),
        (-math.inf, math.inf, ""),
    ],
)
def test_what_was_compared_in_words(low: object, high: object, words: str) -> None:
    assert compared_text(low, high, "mg/L") == words


@given(st.floats(min_value=-1e11, max_value=1e11, allow_nan=False))
def test_numbers_are_printed_to_twelve_digits(value: float) -> None:
    """Python's own ``format`` (12 significant digits) is the judge."""
    printed = number_text(value).replace("−", "-")
    assert float(printed) == float(f"{value:.12g}")
    assert "e" not in printed or abs(value) < 1e-9


@given(st.floats(min_value=-500, max_value=100), st.sampled_from([Bound.EXACT, Bound.AT_LEAST, Bound.AT_MOST]))
def test_a_printed_removal_never_claims_more_than_was_shown(percent: float, bound: Bound) -> None:
    printed = Decimal(removal_text(percent, bound).strip("≥≤ %").replace("−", "-"))
    gap = printed - Decimal(percent)
    tiny = Decimal("1e-9")
    assert abs(gap) <= Decimal("0.0001" if percent >= 99 else "0.1") + tiny
    assert gap >= -tiny if bound == Bound.AT_MOST else gap <= tiny


def test_an_unknown_removal_is_not_a_number() -> None:
    assert removal_text(None, Bound.EXACT) == removal_text(99.0, Bound.UNKNOWN) == "unknown"
    assert removal_text(99.99999, Bound.AT_LEAST) == "≥ 99.9999 %"


@pytest.mark.parametrize(
    ("unit", "basis", "volume", "words"),
    [
        ("mg/L", "NO3", None, "mg/L as NO3"),
        ("µS/cm", "25 °C", None, "µS/cm at 25 °C"),
        ("CFU", "", 250.0, "CFU in 250 mL"),
        ("pH", "", None, ""),
        ("1", "", None, ""),
    ],
)
def test_units_in_words(unit: str, basis: str, volume: float | None, words: str) -> None:
    assert unit_text(unit, basis, volume) == words


@settings(max_examples=30, deadline=None)
@given(st.text(st.characters(codec=None)))
def test_every_text_can_be_written(text: str) -> None:
    assert plain_text(text).encode("utf-8").decode("utf-8").count("\ud800") == 0
    check = good_batch()
    certificate = issue_certificate(
        replace(check, details=replace(check.details, remarks=text)), number="C1", signed_by="A", issued_at=WHEN
    )
    assert from_json(to_json(certificate)) == certificate


@pytest.mark.parametrize("blank", [None, float("nan"), pd.NA, pd.NaT])
def test_blank_cells_are_blank_text(blank: object) -> None:
    assert plain_text(blank) == ""
    assert finite(None if blank is pd.NaT else blank) is None
