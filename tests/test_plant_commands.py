"""The plant commands print figures with formula, source and caution, in either system with the same verdicts."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from wqcheck.cli import app, main
from wqcheck.errors import PlantFileError
from wqcheck.plant.readings import SECTIONS, read_plant_readings
from wqcheck.quantities import KINDS, read_quantity, to_us

SAMPLE = Path(__file__).resolve().parent.parent / "sample_results" / "plant_readings.toml"
COMMANDS = ("membrane", "scaling", "pretreatment", "disinfection", "fit")
US_SPELLING = {"flow": "gal/min", "volume": "gal", "area": "ft2", "pressure": "psi", "temperature": "°F"}


def run(*arguments: object) -> Result:
    """Run a command in this process; an unexpected exception is raised here."""
    return CliRunner().invoke(app, ["plant", *map(str, arguments)], catch_exceptions=False)


def figures(command: str, file: Path) -> dict[str, dict[str, Any]]:
    result = run(command, file, "--json")
    assert result.exit_code == 0
    return {figure["name"]: figure for figure in json.loads(result.stdout)["figures"]}


def in_us_units(text: str) -> str:
    """Return a file of plant readings with each quantity of the other system written in United States units."""
    kinds = {key: kind for table in SECTIONS.values() for key, kind in table.items()} | {"drop": "pressure"}
    kinds |= {"rated": "flow"}

    def turned(match: re.Match[str]) -> str:
        kind = kinds[match["key"]]
        if kind not in US_SPELLING:
            return match[0]
        value = to_us(read_quantity(match["text"], kind), kind)
        return f'{match["key"]} = "{value!r} {US_SPELLING[kind]}"'

    text = re.sub(r'(?m)^(?P<key>\w+) = "(?P<text>[-\d.]+ [^"]+)"', turned, text)
    flows = re.search(r"(?s)\[flow\.hourly\].*?\n\n", text)
    assert flows
    hourly = re.sub(r"(?<=[\[ ])[\d.]+(?=[,\]])", lambda number: repr(to_us(float(number[0]), "flow")), flows[0])
    return text.replace(flows[0], hourly.replace('unit = "m3/h"', 'unit = "gal/min"'))


@pytest.fixture
def us_file(tmp_path: Path) -> Path:
    path = tmp_path / "us.toml"
    path.write_text(in_us_units(SAMPLE.read_text(encoding="utf-8")), encoding="utf-8")
    return path


def changed(tmp_path: Path, old: str, new: str) -> Path:
    """Return a copy of the sample file with one piece of text changed, which must be there."""
    text = SAMPLE.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "changed.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_every_figure_has_its_formula_and_source(command: str) -> None:
    found = figures(command, SAMPLE)
    assert len(found) >= 5
    for figure in found.values():
        assert figure["formula"]
        assert figure["source"]
        assert figure["unit"] == KINDS[figure["kind"]].si
        assert figure["value"] is not None, figure["name"]


@pytest.mark.parametrize("command", COMMANDS)
def test_both_systems_give_the_same_figures_and_verdicts(command: str, us_file: Path) -> None:
    """The same plant read in gallons, psi and degrees Fahrenheit."""
    assert "psi" in us_file.read_text(encoding="utf-8")
    metric, us = figures(command, SAMPLE), figures(command, us_file)
    assert metric.keys() == us.keys()
    for name, figure in metric.items():
        assert us[name]["verdict"] == figure["verdict"], name
        assert us[name]["value"] == pytest.approx(figure["value"], rel=1e-6, abs=1e-9), name


@pytest.mark.parametrize("command", COMMANDS)
def test_printing_in_us_units_changes_no_verdict(command: str) -> None:
    metric, us = run(command, SAMPLE), run(command, SAMPLE, "--units", "us")
    words = re.compile(r"\[(within|plan it|act on it|not known)\]")
    assert words.findall(metric.stdout) == words.findall(us.stdout)
    assert "kPa" not in us.stdout
    assert "m³" not in us.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_report_carries_the_caution_and_never_calls_water_good(command: str) -> None:
    result = run(command, SAMPLE)
    assert "maker's own limits and licensed practice prevail" in result.stderr
    assert "pressure, chemicals, electricity and UV can hurt" in result.stderr
    assert "(invented)" in result.stdout
    assert not re.search(r"\b(safe|potable|drinkable)\b", result.stdout + result.stderr, re.IGNORECASE)


def test_the_sample_unit_has_fouled() -> None:
    found = figures("membrane", SAMPLE)
    assert found["recovery"]["value"] == pytest.approx(0.7)
    assert found["change of flow"]["verdict"] == "act on it"
    assert found["change of differential"]["verdict"] == "within"
    assert found["flow balance"]["verdict"] == "within"


def test_triggers_are_the_plants_own(tmp_path: Path) -> None:
    file = changed(tmp_path, 'clean_at_flow_change = "-10 %"', 'clean_at_flow_change = "-20 %"')
    assert figures("membrane", file)["change of flow"]["verdict"] == "within"


def test_a_reading_that_was_not_taken_is_not_known(tmp_path: Path) -> None:
    found = figures("membrane", changed(tmp_path, 'concentrate_tds = "8500 mg/L"\n', ""))
    assert found["salt balance"]["value"] is None
    assert found["salt balance"]["verdict"] == "not known"
    found = figures("scaling", changed(tmp_path, 'barium = "0.04 mg/L"\n', ""))
    assert found["barite saturation ratio"]["verdict"] == "not known"
    assert found["highest recovery within the limits"]["verdict"] == "not known"
    assert "barite" in found["highest recovery within the limits"]["note"]
    found = figures("disinfection", changed(tmp_path, 'baffling = "poor"\n', ""))
    assert found["free chlorine credit, giardia"]["value"] is None
    found = figures("pretreatment", changed(tmp_path, 'sdi_last = "45 s"\n', ""))
    assert found["silt density index, 15 min"]["verdict"] == "not known"


def test_without_antiscalant_the_sample_recovery_is_too_high(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    file = tmp_path / "bare.toml"
    file.write_text(re.sub(r"(?s)\[feed_water\.limits\].*?\n\n", "", text), encoding="utf-8")
    found = figures("scaling", file)
    assert found["highest recovery within the limits"]["verdict"] == "act on it"
    assert found["barite saturation ratio"]["verdict"] == "act on it"


def test_a_strong_concentrate_gets_the_other_index(tmp_path: Path) -> None:
    """ASTM D4582 takes over from D3739 above 10,000 mg/L of dissolved solids."""
    names = figures("scaling", SAMPLE).keys()
    assert any("Langelier" in name for name in names)
    strong = figures("scaling", changed(tmp_path, 'recovery = "70 %"\ntemp', 'recovery = "85 %"\ntemp')).keys()
    assert any("Stiff" in name for name in strong)
    assert not any("Langelier" in name for name in strong)


def test_an_unbalanced_analysis_is_flagged(tmp_path: Path) -> None:
    found = figures("scaling", changed(tmp_path, 'chloride = "1000 mg/L"', 'chloride = "100 mg/L"'))
    assert found["charge balance of the feed"]["verdict"] == "act on it"


def test_the_fit_names_the_bottleneck_and_the_tank_that_spills() -> None:
    found = figures("fit", SAMPLE)
    assert "the bottleneck" in found["peak flow of reverse osmosis"]["note"]
    assert found["peak flow of delivery pump, post-carbon and UV"]["verdict"] == "act on it"
    assert found["product tank spills"]["note"].startswith("in hour")
    assert found["balance left over"]["value"] == pytest.approx(0, abs=1e-9)


def test_the_filler_that_is_not_served_is_named(tmp_path: Path) -> None:
    file = changed(tmp_path, 'product_tank_start = "6 m3"', 'product_tank_start = "0 m3"')
    file.write_text(file.read_text(encoding="utf-8").replace("filler = [0, 6", "filler = [8, 6"), encoding="utf-8")
    found = figures("fit", file)
    assert found["asked by the filler and not delivered"]["verdict"] == "act on it"
    assert found["product tank runs dry"]["note"].startswith("in hour 0")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('feed_flow = "8.0 m3/h"\npermeate_flow = "5', 'feed_flow = "8"\npermeate_flow = "5', "[membrane] feed_flow"),
        ('baffling = "poor"', 'baffling = ["poor"]', "['poor'] is not known"),
        ("[feed_water.limits]", "[feed_water]\nlimits = 3\n[x]", "not valid TOML"),
        ("[flow.hourly]", "[flow.hours]", "[flow.hourly] is missing"),
        ('feed_pressure = "13.2 bar"\n', "", "[membrane]: feed_pressure is missing"),
        ('temperature = "19 °C"\nfeed_tds', 'temperature = "190 °C"\nfeed_tds', "it runs from 0 to 60"),
        ('permeate_tds = "70 mg/L"', 'permeate_tds = "-70 mg/L"', "it runs from 0 up"),
        ("ph = 7.3\ncalcium", "ph = 73\ncalcium", "73.0 is no pH"),
        ("[disinfection]", "[disinfecting]", "'disinfecting' is not known"),
        ('baffling = "poor"', 'baffling = "awful"', "'awful' is not known"),
        ('carries = "permeate"', 'carries = "water"', "carries 'water' is not known"),
        ("rinse = [0.5, 0,", "rinse = [0.5,", "the same number"),
        ("supply = [8, 8,", 'supply = [8, "8",', "[flow.hourly] supply"),
        ('unit = "m3/h"', 'unit = "buckets"', "[flow.hourly] unit"),
        ('drop = "2.9 psi"', 'drop = "2.9"', "number 2"),
        ('raw_tank_start = "15 m3"', 'raw_tank_start = "25 m3"', "starts with more than it holds"),
        ('name = "Port', 'title = "Port', "name is missing"),
        ("barium =", "baryum =", "'baryum' is not known"),
        ("ph = 7.3\ncalcium", "ph = true\ncalcium", "[feed_water] ph"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_file_is_named_with_its_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(PlantFileError) as problem:
        read_plant_readings(changed(tmp_path, old, new))
    assert said in str(problem.value)


@pytest.mark.parametrize(
    "line",
    ["membrane = 5", 'feed_water = "soft"', "pretreatment = { cartridges = 3 }", "membrane = { settings = [1] }",
     "flow = { stages = [1], hourly = [] }", "disinfection = { baffling = 3 }",
     "pretreatment = { cartridges = [{ day = 1 }] }"],
)  # fmt: skip
def test_what_is_no_table_is_refused_with_a_sentence(tmp_path: Path, line: str) -> None:
    file = tmp_path / "odd.toml"
    file.write_text(f'name = "Port Almara (invented)"\n{line}\n', encoding="utf-8")
    with pytest.raises(PlantFileError, match="problem"):
        read_plant_readings(file)


def test_water_without_calcium_has_no_scale(tmp_path: Path) -> None:
    found = figures("scaling", changed(tmp_path, 'calcium = "165 mg/L"', 'calcium = "0 mg/L"'))
    assert found["gypsum saturation ratio"]["value"] == 0
    assert found["Langelier index, full form"]["verdict"] == "within"


def test_all_mistakes_are_listed_at_once(tmp_path: Path) -> None:
    file = changed(tmp_path, ' bar"', ' furlongs"')
    with pytest.raises(PlantFileError) as problem:
        read_plant_readings(file)
    assert "6 problem(s)" in str(problem.value)
    assert "units: kpa, pa, mpa, bar, psi" in str(problem.value)


def test_a_table_that_a_command_needs_is_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "bare.toml"
    file.write_text('name = "Port Almara (invented)"\n', encoding="utf-8")
    for command, table in zip(
        COMMANDS, ("membrane", "feed_water", "pretreatment", "disinfection", "flow"), strict=True
    ):
        with pytest.raises(PlantFileError, match=rf"\[{table}\] is missing"):
            run(command, file)


def test_pretreatment_of_the_sample() -> None:
    """27 s and 45 s over 15 minutes are 2.67 (ASTM D4189); 60 · 1.4/8 are 10.5 minutes; 8.6/0.95 are 9.05 m/h."""
    found = figures("pretreatment", SAMPLE)
    assert found["silt density index, 15 min"]["value"] == pytest.approx(2.6667, abs=1e-3)
    assert found["carbon empty-bed contact time"]["value"] == pytest.approx(10.5)
    assert found["filter loading"]["value"] == pytest.approx(9.0526, abs=1e-3)
    assert 30 < found["days to cartridge change-out"]["value"] < 50


def test_a_plugged_run_is_not_called_within(tmp_path: Path) -> None:
    found = figures("pretreatment", changed(tmp_path, 'sdi_last = "45 s"', 'sdi_last = "150 s"'))
    assert found["silt density index, 15 min"]["verdict"] == "not known"
    assert "shorter run" in found["silt density index, 15 min"]["note"]


def test_chlorine_outside_the_tables_gets_no_credit(tmp_path: Path) -> None:
    """EPA's tables run from pH 6 to 9."""
    found = figures(
        "disinfection", changed(tmp_path, 'temperature = "19 °C"\nph = 7.3\n\n', 'temperature = "19 °C"\nph = 9.2\n\n')
    )
    assert found["free chlorine credit, giardia"]["value"] is None
    assert found["free chlorine credit, virus"]["value"] is None


def test_water_without_ions_is_not_called_balanced(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    file = tmp_path / "empty.toml"
    ions = "calcium|magnesium|sodium|potassium|strontium|barium|alkalinity|sulfate|chloride|nitrate|fluoride"
    file.write_text(re.sub(rf'(?m)^({ions}) = "[^"]* mg/L"', r'\1 = "0 mg/L"', text), encoding="utf-8")
    assert figures("scaling", file)["charge balance of the feed"]["verdict"] == "not known"


def test_a_file_that_cannot_be_used_ends_with_exit_code_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["wqcheck", "plant", "fit", str(tmp_path / "none.toml")])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "cannot be opened" in capsys.readouterr().err


def test_every_plant_command_has_help() -> None:
    listed = run("--help").stdout
    for command in COMMANDS:
        assert command in listed
        assert "TOML" in run(command, "--help").stdout
