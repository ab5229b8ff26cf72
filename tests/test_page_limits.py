"""The Limits view: tables are read, compared and copied; a copy is saved only when sound and seen; own tables count.

Figures of shipped tables are held by tests/test_limits_*.py; own tables are invented.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from tests.test_limit_editing import US, line_of, shipped_cells, with_cell
from tests.test_limit_sheets import GOOD, cells_of
from wqcheck.errors import LimitTableError
from wqcheck.limit_tables.editing import as_own
from wqcheck.limit_tables.loading import limit_table, load_limits
from wqcheck.limit_tables.own_folder import OWN_FOLDER, save_own
from wqcheck.limit_tables.sheets import csv_bytes
from wqcheck.page import limits_acts, limits_browse, limits_compare, limits_diff, limits_edit, limits_save, limits_view
from wqcheck.page.checking import DESK_KEY
from wqcheck.page.limits_draft import DRAFT_KEY, Draft, Grid, shown_cells, taken_over
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.settings import TABLES_KEY
from wqcheck.page.sheets_brought import SAMPLE_KEY
from wqcheck.page.shown import table_title
from wqcheck.tables import Judged

APP = Path(__file__).parent.parent / "app.py"
SOURCE = "Specification of the plant (invented), issue 4"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Start in an empty folder, where the plant's own tables are kept."""
    monkeypatch.chdir(tmp_path)
    return Path(OWN_FOLDER)


def opened(part: str) -> AppTest:
    """Open one part of the Limits view."""
    page = AppTest.from_file(str(APP), default_timeout=120)
    page.session_state[VIEW_KEY] = "Limits"
    page.run()
    return page.segmented_control(key=limits_view.PART_KEY).set_value(part).run()


def said(page: AppTest) -> str:
    """Give every word of the page; nothing may have failed."""
    assert not page.exception
    spoken = [*page.markdown, *page.error, *page.warning, *page.success, *page.info, *page.caption]
    tables = [table.value.to_csv() for table in page.table]
    return "\n".join([*(str(element.value) for element in spoken), *tables]).replace("\\", "")


def edited(page: AppTest, cells: pd.DataFrame) -> AppTest:
    """Put cells into the copy under edit, as the grid does."""
    draft: Draft = page.session_state[DRAFT_KEY]
    page.session_state[DRAFT_KEY] = replace(draft, cells=cells, number=draft.number + 1)
    return page.run()


def copied(name: str = US) -> AppTest:
    """Open a copy of a shipped table."""
    page = opened(limits_view.EDIT)
    page.selectbox(key=limits_edit.COPY_KEY).set_value(name).run()
    return page.button(key=limits_edit.OPEN_KEY).click().run()


@pytest.mark.parametrize(
    ("text", "parameter"),
    [("7440-38-2", "arsenic"), ("colibacilles", "escherichia_coli"), ("radiological", "gross_alpha")],
)
def test_rows_are_found_by_cas_spelling_and_class(text: str, parameter: str) -> None:
    """7440-38-2 is the CAS number of arsenic (CAS registry, as in parameters.csv)."""
    rows = load_limits("who_gdwq_2022").rows
    found = rows[limits_browse.matching(rows, text)]
    assert parameter in set(found["parameter"])
    assert len(found) < len(rows) / 3


def test_a_member_of_a_sum_finds_the_sum() -> None:
    rows = load_limits("eu_2020_2184").rows
    found = rows[limits_browse.matching(rows, "67-66-3")]
    assert "trihalomethanes_total" in set(found["parameter"])


def test_browse_says_what_the_table_is_and_what_is_not_verified(folder: Path) -> None:
    page = opened(limits_view.BROWSE)
    words = said(page)
    assert "World Health Organization:" in words
    assert "191 of 191 rows are not verified against the official text" in words
    assert "https://www.who.int/publications/i/item/9789240045064" in words
    shown = page.dataframe[0].value
    assert set(shown["Read in the official text"]) == {"NOT verified (memory)", "NOT verified (secondary text)"}
    page.selectbox(key=limits_browse.TABLE_KEY).set_value("us_40cfr141_143").run()
    assert "does not bind purified water" in said(page)
    assert not folder.exists(), "looking makes no folder"
    page.text_input(key=limits_browse.SEARCH_KEY).set_value("no such thing").run()
    assert "No row answers the search" in said(page)


def test_everything_that_a_row_says_is_told() -> None:
    rows = load_limits(US).rows
    row = {str(name): cell for name, cell in rows[rows["parameter"] == "bromate"].iloc[0].items()}
    facts = limits_browse.row_facts(row)
    assert facts["Clause"] == "(b)(4)(iii)(H)"
    assert facts["Read in the official text"].startswith("yes · primary text")
    assert "CAS 15541-45-4" in facts["Code"]


def test_acts_say_what_binds_and_what_was_chosen_in_error(folder: Path) -> None:
    page = opened(limits_view.ACTS)
    page.selectbox(key=limits_acts.WATER_KEY).set_value("natural mineral").run()
    page.selectbox(key=limits_acts.WHERE_KEY).set_value("European Union").run()
    words = said(page)
    assert "2009/54/EC" in words
    assert "Directive (EU) 2020/2184 (recast)" not in words
    page.multiselect(key=TABLES_KEY).set_value(["eu_2020_2184"]).run()
    assert "Chosen for checks: EU, Directive 2020/2184" in said(page)


def test_compare_says_who_is_strictest_and_who_has_none(folder: Path) -> None:
    """Lead, packaged water: 21 CFR 165.110(b)(4)(iii)(A) 0.005 mg/L; Directive (EU) 2020/2184 10 µg/L until 2036."""
    page = opened(limits_view.COMPARE)
    page.multiselect(key=limits_compare.TABLES_KEY).set_value([US, "eu_2020_2184", "who_gdwq_2022"]).run()
    lines = page.dataframe[0].value.set_index("Parameter")
    assert str(lines.loc["Lead", "Strictest"]).removesuffix(" (not verified)") == table_title(US)
    assert lines.loc["Lead", table_title("who_gdwq_2022")] == "≤ 0.01 mg/L (not verified) (10 µg/L)"
    page.segmented_control(key=limits_compare.SHOW_KEY).set_value(limits_compare.GAPS).run()
    gaps = page.dataframe[0].value
    assert "Lead" not in set(gaps["Parameter"])
    assert (gaps == "no limit").any(axis=None)
    assert len(page.get("download_button")) == 2


def test_a_bad_row_is_named_and_nothing_can_be_saved(folder: Path) -> None:
    page = copied()
    page = edited(page, with_cell(shipped_cells(US), 40, "upper", "n/a"))
    words = said(page)
    assert "To mend before this copy can be saved" in words
    assert "line 40" in words
    assert "write a number with a decimal point" in words
    assert not page.get("download_button")
    assert limits_save.SAVE_KEY not in {button.key for button in page.button}


def test_a_limit_is_tightened_seen_saved_and_used(folder: Path) -> None:
    """Bromate from 0.010 to 0.005 mg/L: cited as own, shown as tightened, saved, read back, and judged with."""
    page = copied()
    before = shipped_cells(US)
    line = line_of(before, "bromate")
    page = edited(page, with_cell(before, line, "upper", "0.005"))
    assert "still cites the text that says another" in said(page)
    page.text_input(key=limits_edit.SOURCE_KEY).set_value(SOURCE).run()
    page.button(key=limits_edit.CITE_KEY).click().run()
    words = said(page)
    assert "**1** tightened · **0** added · **0** relaxed · **0** dropped" in words
    assert "at most 0.005 mg/L" in words
    page.text_input(key=f"{limits_save.NAME_KEY} {US}").set_value("our_plant").run()
    page.button(key=limits_save.SAVE_KEY).click().run()
    path = folder / "our_plant.csv"
    assert "is saved: 98 rows" in said(page)
    assert load_limits(path).rows.set_index("parameter").loc["bromate", "upper"] == 0.005
    page.button(key=limits_save.USE_KEY).click().run()
    assert str(path) in page.multiselect(key=TABLES_KEY).value
    page.radio(key=VIEW_KEY).set_value("Take in").run()
    page.pills(key=SAMPLE_KEY).set_value("B2107: in order").run()
    assert not page.exception
    judged = page.session_state[DESK_KEY].check.judged
    own = judged[(judged[Judged.table] == "our_plant") & (judged[Judged.parameter] == "bromate")]
    assert set(own[Judged.upper]) == {0.005}
    assert set(own[Judged.source]) == {SOURCE}
    assert ("our_plant.csv", path.read_bytes()) in page.session_state[DESK_KEY].files


def test_another_file_of_the_name_is_asked_about_and_set_beside(folder: Path) -> None:
    before = shipped_cells(US)
    own = as_own(before, with_cell(before, line_of(before, "bromate"), "upper", "0.002"), SOURCE)
    save_own(own, folder / f"{US}_own.csv")
    page = copied()
    page = edited(page, with_cell(before, 40, "note", "ours"))
    assert page.button(key=limits_save.SAVE_KEY).disabled
    assert "**1** relaxed" in said(page), "0.010 in the place of the own 0.002"
    page.checkbox(key=f"{limits_save.OVERWRITE_KEY} {folder / f'{US}_own.csv'}").check().run()
    page.button(key=limits_save.SAVE_KEY).click().run()
    assert load_limits(folder / f"{US}_own.csv").rows.set_index("parameter").loc["bromate", "upper"] == 0.010


def test_an_edit_outlives_another_view(folder: Path) -> None:
    page = copied()
    cells = with_cell(shipped_cells(US), 40, "note", "kept")
    page = edited(page, cells)
    page.radio(key=VIEW_KEY).set_value("Start").run()
    page.radio(key=VIEW_KEY).set_value("Limits").run()
    assert page.session_state[DRAFT_KEY].cells.loc[40, "note"] == "kept"
    assert "Being edited: a copy of" in said(page)


def test_an_unsound_upload_is_opened_to_be_mended(folder: Path) -> None:
    page = opened(limits_view.EDIT)
    bad = csv_bytes(with_cell(shipped_cells(US), 40, "unit", "ug/L"))
    page.file_uploader(key=limits_edit.UPLOAD_KEY).set_value([("theirs.csv", bad, "text/csv")]).run()
    words = said(page)
    assert "write the unit as µg/L" in words
    assert "Being edited: a copy of **theirs (own)**, 98 rows" in words


def test_the_grid_hands_over_changes_new_rows_and_deletions() -> None:
    """Rows that the search hides stay; a new row gets a line after the last one; a deleted one is gone."""
    cells = shipped_cells(US)
    first, second, third = (int(line) for line in cells.index[:3])
    grid = Grid(key="g 0", number=1, search="x", base=cells, shown=shown_cells(cells.loc[[first, second]]))
    after = grid.shown.drop(index=1)
    after.loc[0, "upper"] = " 7 "
    new = {**dict.fromkeys(cells.columns), "line": np.nan, "parameter": "boron"}
    taken = taken_over(grid, pd.concat([after, pd.DataFrame([new])]), int(cells.index.max()))
    assert taken.loc[first, "upper"] == "7"
    assert second not in taken.index
    assert taken.loc[[third]].equals(cells.loc[[third]])
    assert taken.index[-1] == cells.index.max() + 1
    assert taken.iloc[-1]["parameter"] == "boron"
    assert len(taken) == len(cells)
    assert taken_over(grid, grid.shown, int(cells.index.max())).equals(cells)


def test_bad_own_tables_are_said_and_chosen_ones_never_dropped(folder: Path) -> None:
    """A table that was chosen and is gone, or is bad, stops the check instead of being left out of it."""
    path = folder / "ours.csv"
    save_own(cells_of([{**GOOD, "parameter": "bromate", "unit": "mg/L"}]).set_axis([2], axis=0), path)
    (folder / "broken.csv").write_text("nothing", encoding="utf-8")
    page = opened(limits_view.BROWSE)
    assert "broken.csv" in said(page)
    page.multiselect(key=TABLES_KEY).set_value([str(path)]).run()
    assert "ours (own): 1 row judged beside the other tables" in said(page)
    page.radio(key=VIEW_KEY).set_value("Take in").run()
    page.pills(key=SAMPLE_KEY).set_value("B2107: in order").run()
    assert DESK_KEY in page.session_state
    path.unlink()
    page.run()
    assert page.multiselect(key=TABLES_KEY).value == [str(path)]
    assert "ours.csv was chosen and is not in the folder any more" in said(page)
    assert DESK_KEY not in page.session_state


def test_the_side_panel_says_which_row_won_and_why(folder: Path) -> None:
    """An own 5 µg/L of bromate takes the place of the 0.010 mg/L; own lead of 10 µg/L may not relax 0.005 mg/L."""
    status = {"status": f"overrides {US}", "unit": "µg/L", "evidence": "primary text: invented"}
    rows = [
        {**GOOD, **status, "parameter": "bromate", "upper": "5"},
        {**GOOD, **status, "parameter": "lead", "upper": "10"},
    ]
    save_own(cells_of(rows).set_axis([2, 3], axis=0), folder / "ours.csv")
    page = opened(limits_view.BROWSE)
    page.multiselect(key=TABLES_KEY).set_value([US, str(folder / "ours.csv")]).run()
    words = said(page)
    assert "bromate is judged by the own limit, at most 5 µg/L" in words
    assert "was put aside" in words
    assert "it is less strict; both are judged" in words


def test_two_editions_are_set_beside_each_other(folder: Path) -> None:
    """Lead went from 10 to 5 µg/L from 98/83/EC to Directive (EU) 2020/2184, Annex I, Part B."""
    page = opened(limits_view.DIFF)
    page.selectbox(key=limits_diff.OLD_KEY).set_value("eu_98_83_ec").run()
    page.selectbox(key=limits_diff.NEW_KEY).set_value("eu_2020_2184").run()
    words = said(page)
    assert "tightened" in words
    assert "Lead" in words


def test_bad_cells_of_a_file_are_listed_with_line_and_column() -> None:
    """Each problem of the check stands in a row of its own."""
    cells = shipped_cells(US)
    content = csv_bytes(with_cell(cells, line_of(cells, "lead"), "upper", "1O"))
    with pytest.raises(LimitTableError) as caught:
        limit_table(Path("own.csv"), content)
    rows = limits_diff.problem_rows(caught.value.problems)
    assert list(rows.columns) == ["Line", "Column", "Stands there", "How to mend it"]
    assert (rows["Column"][0], rows["Stands there"][0]) == ("upper", "1O")
