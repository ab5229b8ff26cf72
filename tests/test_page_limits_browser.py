"""A real browser edits a limit in the grid, sees what differs, saves it, and sees a batch judged by it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")

from playwright.sync_api import Browser, Page, Position

from tests.page_servers import served_page
from tests.test_page_browser import CHROMIUM, LAPTOP, TABLET, WAIT_MS, browser, overflow, use_sample
from wqcheck.limit_tables.loading import load_limits

__all__ = ["browser"]

UPPER_CELL = Position(x=413, y=53)
"""Middle of the first cell of the column *upper*, in pixels of the grid; the columns before it have set widths."""

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason=f"there is no browser at {CHROMIUM}"),
    pytest.mark.filterwarnings("default::ResourceWarning", "default::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture
def page(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """Serve the page from an empty folder, and open it on a laptop screen."""
    with served_page(tmp_path) as address:
        context = browser.new_context(viewport=LAPTOP)
        sheet = context.new_page()
        sheet.set_default_timeout(WAIT_MS)
        sheet.goto(address)
        yield sheet
        context.close()


def fill(page: Page, label: str, text: str) -> None:
    """Fill a field and wait until the page has taken it in."""
    field = page.get_by_role("textbox", name=label)
    field.fill(text)
    field.press("Enter")
    page.get_by_test_id("stApp").and_(page.locator("[data-test-script-state=notRunning]")).wait_for()


def test_edit_a_limit(page: Page, tmp_path: Path) -> None:
    """Total dissolved solids from 500 (21 CFR 165.110(b)(4)(i)(A)) to 5 mg/L: the run that was in order is held."""
    open_copy(page)
    fill(page, "Show only", "total dissolved solids")
    type_into_grid(page, "5")
    page.get_by_text("To mend before this copy can be saved").wait_for()
    fill(page, "Whose limits are the changed ones?", "Specification of the plant (invented)")
    page.get_by_role("button", name="Name it in the changed rows").click()
    page.get_by_text("1 tightened").wait_for()
    assert "at most 5 mg/L" in page.get_by_test_id("stTable").first.inner_text()
    fits_a_tablet(page)
    fill(page, "Name of your table", "our_plant")
    page.get_by_role("button", name="Save among your own tables (limits_own)").click()
    page.get_by_text("our_plant.csv is saved").wait_for()
    rows = load_limits(tmp_path / "limits_own" / "our_plant.csv").rows.set_index("parameter")
    assert rows.loc["total_dissolved_solids", "upper"] == 5
    page.get_by_role("button", name="Use it in checks").click()
    page.get_by_text("our_plant (own)").first.wait_for()
    assert_run_is_held(page)


def open_copy(page: Page) -> None:
    """Open a copy of the bottled water standard in the grid."""
    page.get_by_test_id("stRadio").get_by_text("Limits", exact=True).first.click()
    page.get_by_role("radio", name="Edit a copy").or_(page.get_by_role("button", name="Edit a copy")).first.click()
    page.get_by_label("Table to copy").first.click()
    page.get_by_role("option", name="us_21cfr165_110b").click()
    page.get_by_role("button", name="Copy into the grid").click()
    page.get_by_text("Being edited").wait_for()


def type_into_grid(page: Page, text: str) -> None:
    """Change the first upper limit of the grid by keyboard."""
    page.wait_for_timeout(1500)
    page.locator(".dvn-scroller").first.click(position=UPPER_CELL)
    page.keyboard.press("Enter")
    cell = page.locator("#portal textarea, #portal input").first
    cell.fill(text)
    cell.press("Enter")


def fits_a_tablet(page: Page) -> None:
    """Hold that a tablet needs no sideways scrolling."""
    page.set_viewport_size(TABLET)
    page.wait_for_timeout(1000)
    assert overflow(page) <= 0
    page.set_viewport_size(LAPTOP)


def assert_run_is_held(page: Page) -> None:
    """Hold that the run which is in order by the shipped tables is out of the own limit."""
    use_sample(page, "B2107: in order", "HOLD")
    page.get_by_test_id("stRadio").get_by_text("Flags", exact=True).first.click()
    page.get_by_text("our_plant").first.wait_for()
    page.get_by_text("5 mg/L").first.wait_for()
