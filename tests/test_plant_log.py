"""A log of plant readings is read whole or refused whole, and gives the same figures as the file typed by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import Workbook

from wqcheck.errors import PlantFileError
from wqcheck.plant.figures import membrane_figures
from wqcheck.plant.log import open_plant_readings, read_plant_log
from wqcheck.plant.readings import NEEDED

SAMPLES = Path(__file__).parent.parent / "sample_results"
CLEAN, FAULTY = (SAMPLES / name for name in ("plant_log_clean.csv", "plant_log_faults.xlsx"))
GOOD = "Date,Feed pressure (bar),UV dose (mJ/cm2),Remarks\n2025-05-01,12.0,50,\n2025-05-08,12.5,48,new lamp\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_newest_row_is_today_and_first_whole_row_the_baseline() -> None:
    log = read_plant_log(CLEAN)
    assert log.tables["membrane"]["feed_pressure"] == pytest.approx(1230)
    assert log.tables["membrane.baseline"]["feed_pressure"] == pytest.approx(1240)
    assert log.tables["membrane"]["feed_tds"] == pytest.approx(4150 * 0.65)
    assert log.vessels == (61, 69, 78)
    assert [day for day, _ in log.cartridges] == [0, 7, 14, 21, 28, 35, 42, 49]
    assert log.cells["membrane.feed_chlorine"] == "plant_log_clean.csv|L9"
    assert any("0.65 mg/L" in note for note in log.notes)


def test_a_log_in_united_states_units_says_the_same() -> None:
    """The faulty plant's log is the clean one in gal/min, psi and °F, but for chlorine, dose and transmittance."""
    ours, theirs = read_plant_log(CLEAN), read_plant_log(FAULTY)
    for table in ("membrane", "membrane.baseline"):
        for key in NEEDED[table]:
            assert theirs.tables[table][key] == pytest.approx(ours.tables[table][key], rel=2e-3), key
    assert theirs.tables["membrane"]["feed_chlorine"] == pytest.approx(0.35)
    assert theirs.tables["disinfection"]["uv_transmittance"] == pytest.approx(0.71)
    names = [[(figure.name, figure.verdict) for figure in membrane_figures(log)] for log in (ours, theirs)]
    assert names[0] == names[1]


def test_cells_may_bring_their_own_unit_and_be_blank(tmp_path: Path) -> None:
    log = read_plant_log(written(tmp_path, GOOD.replace("12.5", "181 psi").replace(",48,", ",,")))
    assert log.tables["membrane"]["feed_pressure"] == pytest.approx(1247.95, abs=0.01)  # 181 · 6.894757 kPa
    assert log.tables["disinfection"]["uv_dose"] == 50
    assert any("membrane figures need more" in note for note in log.notes)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "Feed pressure (bar)",
            "Feed presure (bar)",
            "cell B1: the heading 'Feed presure (bar)' is not known; did you mean",
        ),
        ("Feed pressure (bar)", "Feed pressure", "cell B2: '12.0' is no pressure; write a number and its unit"),
        ("Feed pressure (bar)", "Feed pressure (hour)", "is no pressure"),
        ("UV dose (mJ/cm2)", "Feed pressure (psi)", "cell C1: the reading 'feed pressure' has two columns"),
        ("12.5", "high", "cell B3: 'high' is no pressure"),
        ("12.5", "-3", "cell B3: '-3' cannot be below zero"),
        ("2025-05-08", "last week", "cell A3: 'last week' is no date"),
    ],
)
def test_what_is_wrong_is_told_with_its_cell(tmp_path: Path, old: str, new: str, told: str) -> None:
    with pytest.raises(PlantFileError) as caught:
        read_plant_log(written(tmp_path, GOOD.replace(old, new)))
    assert told in str(caught.value)


@pytest.mark.parametrize("text", ["a,b\n1,2\n", "Date,Feed pressure (bar)\n"])
def test_a_sheet_that_is_no_log_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(PlantFileError, match=r"row of headings|no readings below"):
        read_plant_log(written(tmp_path, text))


def test_a_missing_file_is_refused_with_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="does not exist"):
        open_plant_readings(tmp_path / "none.xlsx")


def test_rows_in_any_order_and_dates_of_a_workbook(tmp_path: Path) -> None:
    from datetime import datetime

    book = Workbook()
    sheet = book.worksheets[0]
    for row in (["Date", "Cartridge pressure drop (psi)"], [datetime(2025, 5, 8), 4], [datetime(2025, 5, 1), 2]):
        sheet.append(row)
    path = tmp_path / "log.xlsx"
    book.save(path)
    drops = read_plant_log(path).cartridges
    assert [day for day, _ in drops] == [0, 7]
    assert [drop for _, drop in drops] == pytest.approx([13.78951, 27.57903], abs=1e-4)
