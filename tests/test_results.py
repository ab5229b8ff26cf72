"""One result cell is read as what it says, or as nothing: no text becomes a number that it does not state.

Forms of writing numbers: ISO 80000-1:2022, 7.3 (point or comma as decimal sign, thin spaces between groups of three).
Laboratory flags U, UJ and J: US EPA, National Functional Guidelines for Inorganic Superfund Methods Data Review (2020).
The other forms are those that laboratory sheets use: common practice, no source.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.strategies import RESULT_TEXTS
from wqcheck.numerals import AMBIGUOUS_COMMA, AWAITED, UNREADABLE, format_number, to_number
from wqcheck.results import ReportedResult, parse_result, sign_of
from wqcheck.tables import Sign


def parts(result: ReportedResult) -> dict[str, Any]:
    """Return what a result says, without its text and without blanks."""
    names = ("value", "value_high", "uncertainty", "volume_ml", "unit_text", "qualifier")
    given = {name: getattr(result, name) for name in names}
    return {"sign": result.sign.value} | {name: value for name, value in given.items() if value not in {None, ""}}


def states(text: object, sign: str, value: float | None = None, **others: Any) -> None:
    expected = {"sign": sign, **({} if value is None else {"value": value}), **others}
    result = parse_result(text)
    assert parts(result) == expected
    assert not result.problem


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("5", 5), ("0", 0), (".5", 0.5), ("5.", 5), ("5,", 5), ("+5", 5), ("-5", -5), ("−5", -5), ("=5", 5),
        ("1.000", 1),
        ("0.123", 0.123), ("0,123", 0.123), ("5,0", 5), ("1,23", 1.23), ("1,2345", 1.2345), ("1000,0", 1000),
        ("1 234", 1234), ("1\u202f234,5", 1234.5), ("10\u00a0000.5", 10000.5), ("1'234.5", 1234.5), ("1’234", 1234),
        ("1,234.5", 1234.5), ("1.234,5", 1234.5), ("1,234,567", 1234567), ("1.234.567", 1234567),
        ("12,34,567", 1234567),
        ("1.2E-3", 0.0012), ("4,5e-02", 0.045), ("1.5 E+03", 1500), ("1 x 10^3", 1000), ("1,2×10³", 1200),
        ("2·10⁻³", 0.002),
        ("１２", 12), ("  7.1 ", 7.1), ("5;", 5), (5, 5), (0.1 + 0.2, 0.1 + 0.2),
    ],
)  # fmt: skip
def test_a_number_in_any_usual_form_is_that_number(text: object, value: float) -> None:
    states(text, "=", value)


@pytest.mark.parametrize(
    ("text", "sign", "value"),
    [
        ("<0.01", "<", 0.01), ("< 0,01", "<", 0.01), ("˂2.0", "<", 2), ("‹2", "<", 2), ("≤0.5", "<", 0.5),
        ("<= 0.5", "<", 0.5),
        ("&lt;1", "<", 1), ("less than 0.5", "<", 0.5), ("Inférieur à 0,5", "<", 0.5), ("menor que 0,05", "<", 0.05),
        ("inf. à 5", "<", 5), ("kleiner als 3", "<", 3), ("minore di 2", "<", 2), (">300", ">", 300),
        ("> 2419.6", ">", 2419.6),
        ("≥ 8", ">", 8), ("maior que 8", ">", 8), ("mehr als 80", ">", 80), ("plus de 100", ">", 100),
        ("<1e3", "<", 1000),
    ],
)  # fmt: skip
def test_signs_and_words_for_signs(text: str, sign: str, value: float) -> None:
    states(text, sign, value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.150U", {"sign": "<", "value": 0.15, "qualifier": "U"}),
        ("5 UJ", {"sign": "<", "value": 5, "qualifier": "UJ"}),
        ("0.05J", {"sign": "=", "value": 0.05, "qualifier": "J"}),
        ("1.8(BDL)", {"sign": "<", "value": 1.8, "qualifier": "BDL"}),
        ("<0.05(LOQ)", {"sign": "<", "value": 0.05, "qualifier": "LOQ"}),
        ("12*", {"sign": "=", "value": 12, "qualifier": "*"}),
        ("*12", {"sign": "=", "value": 12, "qualifier": "*"}),
        ("12 [a]", {"sign": "=", "value": 12, "qualifier": "[a]"}),
        ("ca. 12", {"sign": "=", "value": 12, "qualifier": "ca."}),
        ("5 mg/L U", {"sign": "<", "value": 5, "unit_text": "mg/L", "qualifier": "U"}),
        ("5 J mg/L", {"sign": "=", "value": 5, "unit_text": "mg/L", "qualifier": "J"}),
        ("7.2 at 25 °C", {"sign": "=", "value": 7.2, "qualifier": "at 25 °C"}),
        ("23 (7-70)", {"sign": "=", "value": 23, "qualifier": "(7-70)"}),
        ("23 (95% CI: 7.0 to 70)", {"sign": "=", "value": 23, "qualifier": "(95% CI: 7.0 to 70)"}),
    ],
)
def test_flags_behind_or_before_a_number_are_kept_and_non_detect_flags_make_it_a_less_than(
    text: str, expected: dict[str, Any]
) -> None:
    states(text, **expected)


@pytest.mark.parametrize(
    ("text", "value", "spread"),
    [
        ("1.2 ± 0.3", 1.2, 0.3),
        ("1,2±0,3", 1.2, 0.3),
        ("1.2 +/- 0.3", 1.2, 0.3),
        ("2±10%", 2, 0.2),
        ("2 (± 10 %)", 2, 0.2),
    ],
)
def test_an_uncertainty_is_in_the_unit_of_its_value(text: str, value: float, spread: float) -> None:
    states(text, "=", value, uncertainty=spread)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("0.5 mg/L", 0.5, "mg/L"), ("0,5 mg/l N", 0.5, "mg/l N"), ("2.5 ppm", 2.5, "ppm"), ("12.3 °C", 12.3, "°C"),
        ("5%", 5, "%"),
        ("100 NTU", 100, "NTU"), ("3 CFU/mL", 3, "CFU/mL"), ("15 UH", 15, "UH"), ("8 (mg/L)", 8, "(mg/L)"),
        ("5 furlongs", 5, "furlongs"),
    ],
)  # fmt: skip
def test_a_unit_in_the_cell_is_kept_as_text_known_or_not(text: str, value: float, unit: str) -> None:
    states(text, "=", value, unit_text=unit)


@pytest.mark.parametrize(
    ("text", "low", "high", "others"),
    [
        ("6.5-8.5", 6.5, 8.5, {}), ("6,5 à 8,5", 6.5, 8.5, {}), ("5 to 10", 5, 10, {}),
        ("1 – 3 CFU", 1, 3, {"unit_text": "CFU"}),
        ("1-3 U", 1, 3, {"sign": "<", "qualifier": "U"}),
    ],
)  # fmt: skip
def test_a_range_keeps_both_ends(text: str, low: float, high: float, others: dict[str, Any]) -> None:
    states(text, **{"sign": "=", "value": low, "value_high": high, **others})


@pytest.mark.parametrize(
    ("text", "sign", "others"),
    [
        ("Absent", "absent", {}), ("ausência", "absent", {}), ("nicht vorhanden", "absent", {}),
        ("absent (0)", "absent", {}), ("nil", "absent", {}),
        ("absent/25 mL", "absent", {"volume_ml": 25}), ("Absence dans 250 mL", "absent", {"volume_ml": 250}),
        ("absent in 1 L", "absent", {"volume_ml": 1000}),
        ("Not detected in 100 mL", "absent", {"volume_ml": 100, "qualifier": "ND"}), ("Présence", "present", {}),
        ("+", "present", {}),
        ("present/250ml", "present", {"volume_ml": 250}), ("ND", "<", {"qualifier": "ND"}),
        ("n.d.", "<", {"qualifier": "ND"}), ("<LOQ", "<", {}),
        ("< l.q.", "<", {}), ("Traces", "<", {}), ("TNTC", ">", {"qualifier": "TNTC"}),
        ("incontáveis", ">", {"qualifier": "TNTC"}),
        ("nd (0.05)", "<", {"value": 0.05, "qualifier": "ND"}), ("<LQ 0,05", "<", {"value": 0.05}),
        ("BDL (<0.05)", "<", {"value": 0.05}),
        ("ND<0.05 mg/L", "<", {"value": 0.05, "qualifier": "ND", "unit_text": "mg/l"}),
        ("0/100 mL", "=", {"value": 0, "volume_ml": 100}),
        ("<1 in 100 mL", "<", {"value": 1, "volume_ml": 100}), ("not tested", "not done", {}), ("-", "not done", {}),
        ("", "not done", {}), ("   ", "not done", {}), (None, "not done", {}), ("non mesuré", "not done", {}),
    ],
)  # fmt: skip
def test_words_for_absent_present_not_detected_too_many_and_not_done(
    text: object, sign: str, others: dict[str, Any]
) -> None:
    states(text, sign, **others)


@pytest.mark.parametrize(
    "text",
    ["O.5", "l.5", "I0", "z150", "Pass", "OK", "yes", "true", True, False, "Clear", "inf", math.inf, -math.inf,
    math.nan,
     "12 34", "1.2.3", "5..5", "5,,5", "1,2,3", "1.234,5.6", "1,23,4", "1e999", "1e-999", "#DIV/0!", "#VALUE!", "±5",
     "5±", "(5)",
     "<<5", "<>5", "2419.6>", "0.1 < x < 0.5", ">0.1 - <0.5", "5 ± 1 ± 2", "10-3", "5 N/A", "5 ;6", "5/6", "3/4",
     "10^3", "3.6 x 10E3",
     "2026-03-01", "12/03/2026", "1.2.2026", "10:30", "½", "5½", "0.5²", "12①", "10²", "0.5₂", "12 of 15",
     "5 to <10", "not tested/100 mL"],
)  # fmt: skip
def test_what_is_no_single_result_stays_unreadable(text: object) -> None:
    result = parse_result(text)
    assert parts(result) == {"sign": "unreadable"}
    assert result.problem == UNREADABLE


@pytest.mark.parametrize(
    "text",
    ["4 x 100", "4x1000", "2*1000", "4·1000", "4 x 10 000", "=5*100", "=5*102", "=5+3", "=A2*2", "1O", "5O", "1OO",
     "1I", "2Z", "1S", "1 O", "1 E", "4 M", "4 K", "0.4 OR", "0.4 R", "0 P", "<1 (P)", "0.4 mg/L R",
     "0.4 R mg/L", "0.4 J, R",
     "0.4 (12)", "0.4 µg/L (12)", "4 (10)", "4 (x10)", "4[9]", "0.5\n(900)", "0 [5]", "0.4 (100-900)", "1 (5–9)",
     "23 (95% CI: 70 to 90)", "?", "x", "X", ".", ";", "/", '"', "#N/A", "*", "unknown", "broken", "spoiled",
     "rejected sample", "void"],
)  # fmt: skip
def test_no_part_of_a_number_and_no_sign_of_doubt_behind_it_is_left_off(text: str) -> None:
    assert parts(parse_result(text)) == {"sign": "unreadable"}


@pytest.mark.parametrize(
    ("text", "value"), [("4 x 10-1", 0.4), ("4×10 3", 4000), ("4x10^2", 400), ("4x103", 4000), ("4x 10^(3)", 4000)]
)
def test_a_power_of_ten_whose_raised_figure_was_lost_is_a_power_all_the_same(text: str, value: float) -> None:
    states(text, "=", value)


@pytest.mark.parametrize("text", ["pending", "en cours", "in progress", "to follow", "a suivre"])
def test_a_result_that_is_awaited_is_no_result_left_undone(text: str) -> None:
    assert parse_result(text).problem == AWAITED


@pytest.mark.parametrize(
    ("text", "beyond"), [("<LOQ", True), ("trace", True), ("BQL", True), ("<LOD", False), ("ND", False)]
)
def test_a_word_for_below_quantification_is_told_from_one_for_below_detection(text: str, *, beyond: bool) -> None:
    assert parse_result(text).below_quantification is beyond


@pytest.mark.parametrize(
    ("text", "with_comma", "with_point"), [("27,385", 27.385, 27385), ("<1,000", 1, 1000), ("-2,500", -2.5, -2500)]
)
def test_a_comma_before_three_digits_needs_the_mark_of_the_column(
    text: str, with_comma: float, with_point: float
) -> None:
    assert parse_result(text).problem == AMBIGUOUS_COMMA
    assert parse_result(text).value is None
    assert parse_result(text, ",").value == with_comma
    assert parse_result(text, ".").value == with_point


def test_a_point_in_a_column_of_decimal_commas_groups_thousands() -> None:
    assert parse_result("27.385", ",").value == 27385
    assert parse_result("27.38", ",").value == 27.38
    assert parse_result("27,38", ".").value is None


@pytest.mark.parametrize(
    ("text", "sign"), [("<", Sign.LESS), ("˂", Sign.LESS), ("menor que", Sign.LESS), ("ND", Sign.LESS)]
)
def test_the_cells_of_a_sign_column(text: str, sign: Sign) -> None:
    assert sign_of(text) is sign
    assert sign_of(">") is Sign.GREATER
    assert sign_of("=") is Sign.EQUAL
    assert sign_of("") is sign_of("5") is sign_of("present") is None


@given(
    st.one_of(
        st.text(),
        RESULT_TEXTS,
        st.from_regex(r"[<>=]?\s?[0-9.,' ]{1,9}[ a-zA-Z/%²½*()±-]{0,6}[0-9]{0,3}", fullmatch=True),
    )
)
def test_no_text_breaks_the_reading_and_every_result_is_finite(text: str) -> None:
    for decimal in ("", ".", ","):
        result = parse_result(text, decimal)
        assert result.text == text
        assert (result.sign is Sign.UNREADABLE) == (result.problem != "")
        numbers = (result.value, result.value_high, result.uncertainty, result.volume_ml)
        assert all(number is None or math.isfinite(number) for number in numbers)
        assert result.value is None or any(character.isdigit() for character in text)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_written_and_read_again_is_the_same(value: float) -> None:
    assert parse_result(format_number(value)).value == value
    assert parse_result(value).text == format_number(value)


@st.composite
def written_results(draw: st.DrawFn) -> tuple[str, dict[str, Any]]:
    """Draw a result as its parts and as a laboratory may write it."""
    value = draw(st.decimals(0, 99_999, places=draw(st.integers(0, 4)), allow_nan=False, allow_infinity=False))
    sign = draw(st.sampled_from(["", "<", ">"]))
    spread = draw(st.sampled_from([None, 0.5, 2.0])) if not sign else None
    unit = draw(st.sampled_from(["", "mg/L", "µg/L as N", "NTU", "CFU"]))
    flag = draw(st.sampled_from(["", "J", "*", "D"]))
    number = format(value, "f").replace(".", draw(st.sampled_from([".", ","])))
    pieces = [sign + number, f"± {spread}" if spread else "", unit, flag]
    expected = {"sign": sign or "=", "value": float(value)}
    expected |= {"uncertainty": spread} if spread else {}
    expected |= {"unit_text": unit.replace("µ", "μ")} if unit else {}
    return " ".join(filter(None, pieces)), expected | ({"qualifier": flag} if flag else {})


@given(written_results())
def test_a_result_written_from_its_parts_is_read_as_these_parts_or_refused_for_its_comma(
    written: tuple[str, dict[str, Any]],
) -> None:
    text, expected = written
    result = parse_result(text)
    if result.problem != AMBIGUOUS_COMMA:
        assert parts(result) == expected
    assert parts(parse_result(result.text)) == parts(result)


GROUPS = {".": ",", ",": "."}


@given(
    st.integers(0, 10**12),
    st.integers(0, 99),
    st.sampled_from([".", ","]),
    st.sampled_from(["", " ", "\u202f", "'", "other"]),
)
def test_every_locale_writes_the_same_number(whole: int, hundredths: int, decimal: str, group: str) -> None:
    mark = GROUPS[decimal] if group == "other" else group
    text = f"{whole:,}".replace(",", mark) + f"{decimal}{hundredths:02d}"
    assert to_number(text, decimal) == (float(f"{whole}.{hundredths:02d}"), "")
    assert to_number(text, "") == (float(f"{whole}.{hundredths:02d}"), "")
