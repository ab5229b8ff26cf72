"""The view of the train names the planted faults first, takes readings from files or hands, and writes the report."""

from __future__ import annotations

import base64
import hashlib
import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from tests.record_stores import ADA, act
from tests.table_rows import readings_of
from wqcheck.batch import check_workbook
from wqcheck.errors import RecordRefusedError
from wqcheck.page.checking import DESK_KEY, Desk
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.train_diagram import SHOWN_KEY, diagram_html
from wqcheck.page.train_figures import figure_table, hour_table
from wqcheck.page.train_input import IN_ORDER, IN_TROUBLE, SOURCE_KEY, TRAIN_KEY, commissioned, sample_results
from wqcheck.page.train_profile import (
    ABOVE,
    BELOW,
    MEASURED,
    NONE_FOUND,
    RANGE,
    can_be_logarithmic,
    profile_chart,
    profile_rows,
    profiled,
    with_bars,
)
from wqcheck.page.train_readings import (
    CARTRIDGES,
    FILES_KEY,
    HOURS,
    TABLE_KEY,
    TYPED_KEY,
    UNIT,
    VALUE,
    VESSELS,
    blank_table,
    typed_readings,
)
from wqcheck.page.train_view import LOG_KEY, PREPARE_KEY, PROFILE_KEY, US_KEY, papers_of
from wqcheck.plant.readings import HOURLY
from wqcheck.plant.typed_readings import typed_toml
from wqcheck.records.intake import files_used, kept_file, take_in
from wqcheck.records.store import open_store
from wqcheck.release.decision import BatchDetails
from wqcheck.train.description import load_train
from wqcheck.train.diagram import worst_notes

SAMPLES = Path(__file__).parent.parent / "sample_results"
TRAIN = load_train(SAMPLES / "train_equipped.toml")
SHEET, TRAIN_FILE = SAMPLES / "commissioning_faults.xlsx", SAMPLES / "train_equipped.toml"
LIMITS = ("us_21cfr165_110b",)
ON = date(2025, 5, 21)


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path / "records.sqlite"


def opened(place: Path, source: str = "", desk: Desk | None = None) -> AppTest:
    """Open the view of the train on a store of its own, with a sample or a batch on the desk."""
    arguments: Any = (f"--store={place}",)
    page = AppTest.from_function(script, args=arguments, default_timeout=120).run()
    if desk is not None:
        page.session_state[DESK_KEY] = desk
    page.radio(key=VIEW_KEY).set_value("Train").run()
    return page.radio(key=SOURCE_KEY).set_value(source).run() if source else page


def words_on(page: AppTest) -> str:
    """Give all words of the page in one text, markup taken off."""
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    texts = [element.value for kind in kinds for element in kind] + [one.label for one in page.expander]
    return "\n".join(texts).replace("\\", "")


def warnings_on(page: AppTest) -> list[str]:
    """Give the warnings below the one that says that the sample plant is invented, which stands first for it alone."""
    found = [one.value.replace("\\", "") for one in page.warning]
    sample = page.radio(key=SOURCE_KEY).value in (IN_ORDER, IN_TROUBLE)
    assert sample == any("INVENTED" in words for words in found[:1])
    return found[sample:]


def downloads(page: AppTest) -> list[str]:
    """Give the labels of the files that are offered."""
    labels = [str(getattr(button, "label", "")) for button in page.get("download_button")]
    return [label for label in labels if label != "Download the train file"]


def checked(train: Path | None = TRAIN_FILE) -> Desk:
    """Return the sheet with the planted faults as a checked batch on the desk."""
    check = check_workbook(
        [SHEET], details=BatchDetails(batch="C-02", product="purified"), limits=list(LIMITS), train=train, rules=None,
        on=ON, product="purified",
    )  # fmt: skip
    return Desk(key="desk", check=check, files=tuple(files_used([SHEET], LIMITS, train, None)), on=ON)


def test_without_a_batch_the_view_says_what_to_do(place: Path) -> None:
    assert "No batch is in hand. Take in a sheet first" in words_on(opened(place))


def test_the_two_planted_faults_stand_first_with_their_cautions(place: Path) -> None:
    page = opened(place, IN_TROUBLE)
    first = warnings_on(page)[0]
    assert first.index("1. **Free chlorine reaches reverse osmosis") < first.index("2. **UV is weak after a dirty")
    words = words_on(page)
    for said in ("free chlorine at SP5: 0.33 mg/L", "Commissioning!H15", "**Check next:** Stop the membranes",
                 "Licensed practice, the local regulator's rules and the maker's own limits prevail",
                 "rated below the flow that is planned", "The product tank spills on the planned day",
                 "say nothing of the fitness of the water"):  # fmt: skip
        assert said in words
    assert not page.error


def test_the_clean_twin_names_nothing_and_promises_nothing(place: Path) -> None:
    page = opened(place, IN_ORDER)
    words = words_on(page)
    assert "no rule found anything. That is not to say that nothing is wrong" in words
    assert "Look here first (" not in words
    assert "Fit in flow was not computed: the plant readings have no complete table [flow]" in words
    assert not page.error
    assert not warnings_on(page)


def test_batch_on_the_desk_brings_its_results_and_its_train(place: Path) -> None:
    page = opened(place, desk=checked())
    assert "1. **Free chlorine" in warnings_on(page)[0]
    assert "Train file: train_equipped.toml" in words_on(page)


def test_recorded_batch_brings_the_train_that_was_recorded_with_it(place: Path) -> None:
    desk = checked()
    store = open_store(place)
    take_in(store, desk.check, act(ADA), desk.files, on=ON)
    digest = hashlib.sha256(TRAIN_FILE.read_bytes()).hexdigest()
    assert kept_file(store, digest) == TRAIN_FILE.read_bytes()
    with pytest.raises(RecordRefusedError, match="keeps no file"):
        kept_file(store, "0" * 64)
    store.close()
    page = opened(place)
    assert "1. **Free chlorine" in warnings_on(page)[0]
    assert "Train file: train_equipped.toml" in words_on(page)


def test_batch_without_a_train_takes_one_and_a_bad_one_gets_its_sentence(place: Path) -> None:
    page = opened(place, desk=checked(None))
    assert "This batch was checked without a train" in words_on(page)
    page.file_uploader(key=TRAIN_KEY).set_value([("mine.toml", b'name = "Plant"\n', "application/toml")])
    page.run()
    assert page.error[0].value.replace("\\", "").startswith("mine.toml: ")
    page.file_uploader(key=TRAIN_KEY).set_value([("own.toml", TRAIN_FILE.read_bytes(), "application/toml")])
    page.run()
    assert "1. **Free chlorine" in warnings_on(page)[0]
    page.radio(key=VIEW_KEY).set_value("Start").run()
    page.radio(key=VIEW_KEY).set_value("Train").run()
    assert "Train file: own.toml" in words_on(page)


def test_united_states_units_change_figures_and_nothing_else(place: Path) -> None:
    page = opened(place, IN_TROUBLE)
    before = page.warning[0].value
    page.toggle(key=US_KEY).set_value(True).run()
    assert page.warning[0].value == before
    values = [cell for table in page.table if "Value" in table.value for cell in table.value["Value"].astype("str")]
    assert any(cell.endswith(" psi") for cell in values)
    assert any(cell.endswith(" gal/min") for cell in values)
    assert not any(cell.endswith((" kPa", " m³/h", " m³", " m²", " °C")) for cell in values)


def test_an_uploaded_log_and_a_bad_one(place: Path) -> None:
    """The clean sheet with the faulty log: chlorine is seen by the meter alone; a file that is no log is named."""
    page = opened(place, IN_ORDER)
    log = SAMPLES / "plant_log_faults.xlsx"
    files = [(log.name, log.read_bytes(), "application/octet-stream"), ("bad.csv", b"Date,Level\n2025-01-01,3\n", "")]
    page.file_uploader(key=FILES_KEY).set_value(files).run()
    assert "1. **Free chlorine" in warnings_on(page)[0]
    assert page.error[0].value.replace("\\", "").startswith("bad.csv: no row of headings was found")
    assert "In use: plant_log_faults.xlsx" in words_on(page)


def typed(name: str, **values: str) -> pd.DataFrame:
    """Return a table of readings with these values typed into it, in the units that stand there."""
    table = blank_table(name, us_units=False)
    for key, value in values.items():
        table.loc[key, VALUE] = value
    return table


def test_typed_readings_count_and_are_offered_as_a_file(place: Path) -> None:
    """They stay typed while another view is looked at."""
    page = opened(place, IN_ORDER)
    page.session_state[TYPED_KEY] = {"disinfection": typed("disinfection", uv_dose="20", uv_transmittance="70")}
    page.selectbox(key=TABLE_KEY).set_value("disinfection").run()
    words = words_on(page)
    assert "Typed readings in use: 2." in words
    assert any("plant_readings_typed.toml" in label for label in downloads(page))
    page.radio(key=VIEW_KEY).set_value("Start").run()
    page.radio(key=VIEW_KEY).set_value("Train").run()
    assert "Typed readings in use: 2." in words_on(page)


def test_typed_nonsense_gets_one_sentence_and_is_not_used(place: Path) -> None:
    page = opened(place, IN_ORDER)
    page.session_state[TYPED_KEY] = {"disinfection": typed("disinfection", uv_dose="2O")}
    page.selectbox(key=TABLE_KEY).set_value("disinfection").run()
    said = page.error[0].value.replace("\\", "")
    assert "the typed readings have 1 problem(s), so none of them is used" in said
    assert "Disinfection, UV dose: '2O mJ/cm²' cannot be read" in said
    assert "no rule found anything" in words_on(page)
    assert not any("readings" in label for label in downloads(page))


def test_what_the_editors_give_becomes_the_file_of_the_commands() -> None:
    """Blank cells and rows are left out; units are those that were chosen, none for a pure number."""
    hours = pd.DataFrame({flow: ["1.5", "2", None, ""] for flow in HOURLY})
    tables = {
        "disinfection": typed("disinfection", ph="7.3"),
        "flow": typed("flow", raw_tank="20", raw_tank_start="15", product_tank="10", product_tank_start="6",
                      recovery="70"),
        "membrane": blank_table("membrane", us_units=True),
        CARTRIDGES: pd.DataFrame({"day": ["0", None], VALUE: ["2.0", None], UNIT: ["psi", None]}),
        VESSELS: pd.DataFrame({VALUE: ["", None], UNIT: ["µS/cm", None]}),
        HOURS: hours,
    }  # fmt: skip
    text = typed_toml(typed_readings(tables, "poor", "m³/h"), "Plant")
    assert 'ph = "7.3"' in text
    assert 'baffling = "poor"' in text
    assert 'recovery = "70 %"' in text
    assert 'day = 0\ndrop = "2.0 psi"' in text
    assert "supply = [1.5, 2.0]" in text
    assert "vessels" not in text
    assert "[membrane]" not in text


def test_report_is_the_one_of_the_command_line(place: Path) -> None:
    page = opened(place, IN_TROUBLE)
    page.button(key=PREPARE_KEY).click().run()
    assert [label.split(":")[0] for label in downloads(page)] == [
        f"Download {form}" for form in ("PDF", "XLSX", "JSON", "SVG")
    ]
    page.toggle(key=US_KEY).set_value(True).run()
    assert not downloads(page), "papers in other units than those shown must be prepared again"
    results = sample_results(IN_TROUBLE)
    assert results.train is not None
    case = commissioned(results.key, results, results.train, results.plant)
    papers = papers_of(case, "T/1", datetime(2025, 5, 21, tzinfo=UTC), us_units=False)
    assert papers[0].content.startswith(b"%PDF")
    assert len({paper.name.rsplit(".", 1)[0] for paper in papers}) == 1
    assert "/" not in papers[0].name
    assert b"/tmp" not in papers[2].content


def test_diagram_says_in_words_what_it_draws_and_scrolls_by_keys() -> None:
    results = sample_results(IN_TROUBLE)
    assert results.train is not None
    report = commissioned(results.key, results, results.train, results.plant).report
    drawn = diagram_html(report, worst_notes(report.stages), about="<gravest>", size=200)
    alternative = re.search(r'alt="([^"]*)"', drawn)
    content = re.search(r"base64,([^\"]+)", drawn)
    assert alternative
    assert content
    for stage in TRAIN.stages:
        assert stage.name in alternative[1]
    assert 'tabindex="0"' in drawn
    assert "overflow-x: auto" in drawn
    svg = base64.b64decode(content[1]).decode()
    assert "&lt;gravest&gt;" in svg
    width = re.search(r'width="([\d.]+)"', svg)
    assert width
    assert f"width: {2 * float(width[1]):.0f}px" in drawn


def test_diagram_and_profile_follow_the_parameter_that_is_chosen(place: Path) -> None:
    page = opened(place, IN_TROUBLE)
    page.selectbox(key=SHOWN_KEY).set_value("free_chlorine").run()
    page.selectbox(key=PROFILE_KEY).set_value("free_chlorine").run()
    page.toggle(key=LOG_KEY).set_value(True).run()
    words = words_on(page)
    assert "A filled bar is surely there" in words
    headings = [list(table.value.columns) for table in page.table]
    assert any("Usual (source)" in columns for columns in headings)


def profile(*rows: dict[str, Any], code: str = "iron") -> pd.DataFrame:
    """Return the profile of results that differ as given, milligrams per litre unless they say otherwise."""
    full = [{"parameter": code, "unit": "mg/L", **row} for row in rows]
    table, left_out = profile_rows(readings_of(full), TRAIN, code)
    assert left_out == 0
    return table


def test_every_result_is_known_as_what_it_is_in_the_order_of_flow() -> None:
    """Ends by hand: ``<0.02`` is 0 to 0.02; ``>5`` has no upper end; 500 µg/L are 0.5 mg/L; a range has both."""
    rows = profile(
        {"point": "SP9", "sign": "<", "value": 0.02},
        {"point": "SP2", "sign": ">", "value": 5.0},
        {"point": "SP1", "value": 500.0, "unit": "µg/L", "reported": "500"},
        {"point": "SP3", "value": 0.1, "value_high": 0.3},
        {"point": "SP4", "value": 0.0},
    )
    assert list(rows["point"]) == ["SP1", "SP2", "SP3", "SP4", "SP9"]
    assert list(rows["known"]) == [MEASURED, ABOVE, RANGE, NONE_FOUND, BELOW]
    assert list(rows["low"]) == [0.5, 5.0, 0.1, 0.0, 0.0]
    assert list(rows["high"]) == [0.5, np.inf, 0.3, 0.0, 0.02]
    assert list(rows["figure"]) == ["0.5", ">5", "0.1–0.3", "0", "<0.02"]
    assert rows["reported"].iloc[0] == "500 µg/L"


@pytest.mark.parametrize("log", [False, True])
def test_bars_reach_over_what_a_result_can_be_and_no_further(log: bool) -> None:
    rows = profile(
        {"point": "SP1", "value": 0.5},
        {"point": "SP1", "value": 0.6},
        {"point": "SP2", "sign": ">", "value": 5.0},
        {"point": "SP3", "value": 0.1, "value_high": 0.3},
        {"point": "SP9", "sign": "<", "value": 0.02},
    )
    drawn, (foot, top) = with_bars(rows, log=log)
    assert (foot == 0.01) if log else (foot == 0)
    assert top > 5.0
    assert list(drawn["nth"]) == ["0", "1", "0", "0", "0"]
    np.testing.assert_allclose(drawn["filled_to"], [0.5, 0.6, 5.0, 0.1, foot])
    np.testing.assert_allclose(drawn["open_from"], [0.5, 0.6, 5.0, 0.1, foot])
    np.testing.assert_allclose(drawn["open_to"], [0.5, 0.6, top, 0.3, 0.02])
    np.testing.assert_allclose(drawn["mark"], [0.5, 0.6, 5.0, 0.3, 0.02])
    chart = profile_chart(rows, "Iron", log=log)
    assert isinstance(chart, alt.LayerChart)
    layers = chart.to_dict()["layer"]
    assert layers[0]["encoding"]["y"]["scale"]["type"] == ("log" if log else "linear")
    assert layers[0]["mark"]["filled"] is False
    assert "strokeDash" in layers[0]["mark"]


def test_a_scale_below_zero_is_drawn_from_zero_and_never_logarithmic() -> None:
    rows = profile(
        {"point": "SP1", "value": -120.0, "unit": "mV"}, {"point": "SP2", "value": 350.0, "unit": "mV"},
        code="redox_potential",
    )  # fmt: skip
    assert list(rows["low"]) == [-120.0, 350.0]
    assert not can_be_logarithmic(rows)
    drawn, (foot, top) = with_bars(rows, log=False)
    assert foot < -120 < 350 < top
    assert list(drawn["filled_from"]) == [0.0, 0.0]
    assert list(drawn["filled_to"]) == [-120.0, 350.0]


def test_nothing_but_zeros_cannot_be_logarithmic_and_still_has_an_axis() -> None:
    rows = profile({"point": "SP1", "value": 0.0}, {"point": "SP2", "value": 0.0})
    assert not can_be_logarithmic(rows)
    _, (foot, top) = with_bars(rows, log=False)
    assert foot < top


def test_only_parameters_at_two_points_have_a_profile() -> None:
    rows = readings_of([
        {"point": "SP1", "parameter": "iron", "value": 1.0, "unit": "mg/L"},
        {"point": "SP2", "parameter": "iron", "value": 1.0, "unit": "mg/L"},
        {"point": "SP1", "parameter": "lead", "value": 1.0, "unit": "mg/L"},
        {"point": "CON", "parameter": "lead", "value": 1.0, "unit": "mg/L"},
    ])  # fmt: skip
    assert profiled(rows, TRAIN) == ["iron"]


def test_hours_balance_in_either_system() -> None:
    """Supply + permeate side by hand: 8 m³/h are 35.22 gal/min, and 15 m³ are 3,963 gal (gallon of 231 in³)."""
    results = sample_results(IN_TROUBLE)
    assert results.train is not None
    plant = commissioned(results.key, results, results.train, results.plant).report.plant
    assert plant is not None
    assert plant.production_day is not None
    metric, customary = (hour_table(plant.production_day, us_units=us) for us in (False, True))
    assert metric["supply"].iloc[0] == 8.0
    assert customary["supply"].iloc[0] == pytest.approx(35.22, abs=0.01)
    assert customary["raw_level"].iloc[0] == pytest.approx(metric["raw_level"].iloc[0] * 264.172, rel=1e-5)
    gained = metric["raw_level"].diff() + metric["raw_spill"] - metric["supply"] + metric["feed"] + metric["backwash"]
    assert gained.dropna().abs().max() < 1e-9


def test_figure_table_keeps_formula_source_and_note() -> None:
    one = {"name": "recovery", "shown": "70 %", "verdict": "within", "note": "limit 75", "formula": "Qp/Qf",
           "source": "definition"}  # fmt: skip
    assert list(figure_table([one]).iloc[0]) == ["Recovery", "70 %", "within; limit 75", "Qp/Qf (definition)"]
