"""A real browser clicks the sample plant, chooses cells of its sheet and looks at the draft of its document."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")

from playwright.sync_api import Browser, FilePayload, Page, ViewportSize, sync_playwright

from tests.page_servers import ROOT, served_page
from tests.workbooks import xlsx_bytes

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_MS = 60_000
LAPTOP, TABLET = ViewportSize(width=1366, height=768), ViewportSize(width=820, height=1180)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason=f"there is no browser at {CHROMIUM}"),
    pytest.mark.filterwarnings("default::ResourceWarning", "default::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """Serve the page on a free loopback port and end it whatever happens."""
    with served_page(ROOT) as served_at:
        yield served_at


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start Chromium once and close it at the end."""
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        try:
            yield chromium
        finally:
            chromium.close()


@pytest.fixture
def page(browser: Browser, address: str) -> Iterator[Page]:
    """Open the page on a laptop screen."""
    context = browser.new_context(viewport=LAPTOP, accept_downloads=True)
    sheet = context.new_page()
    sheet.set_default_timeout(WAIT_MS)
    sheet.goto(address)
    yield sheet
    context.close()


def use_sample(page: Page, label: str, word: str) -> None:
    """Go to the view that takes sheets in, click one workbook of the sample plant and wait for its decision."""
    page.get_by_test_id("stRadio").get_by_text("Take in", exact=True).first.click()
    page.get_by_role("button", name=label).or_(page.get_by_role("radio", name=label)).first.click()
    page.get_by_test_id("stAlert").filter(has_text=word).first.wait_for()


def overflow(page: Page) -> int:
    """Give by how many pixels the page is wider than the window."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def chosen(page: Page, label: str) -> None:
    """Choose one entry of a row of choices."""
    page.get_by_test_id("stRadio").get_by_text(label, exact=True).first.click()


def test_trouble_is_seen_and_its_cells_are_chosen_by_mouse_and_keys(page: Page) -> None:
    """The picture of the sheet shows what could not be read; a click and the keys choose cells; nothing overflows."""
    use_sample(page, "B2108: in trouble", "batch B2108")
    chosen(page, "Picture of the sheets")
    unread = page.locator("td.unreadable").first
    unread.wait_for()
    assert "could not be read: 1" in page.locator(".legend").inner_text()
    name = unread.get_attribute("data-cell")
    unread.click()
    page.get_by_text("Taken for unreadable result").wait_for()
    assert page.get_by_label("Cell", exact=True).input_value() == name
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    page.get_by_text("Taken for result").wait_for()
    assert page.get_by_label("Cell", exact=True).input_value() != name
    assert page.locator('td[aria-selected="true"]').count() == 1
    for size in (LAPTOP, TABLET):
        page.set_viewport_size(size)
        page.wait_for_timeout(1000)
        assert overflow(page) <= 0


def test_sheet_text_is_shown_and_never_run(page: Page) -> None:
    """A sheet that says markup and script is shown as it stands, in the picture and around it."""
    wild = "<img src=x onerror=\"document.title='run'\"><script>document.title='run'</script>"
    rows = [["Batch:", "B1"], ["Sample", "Lead (mg/L)", wild], ["S-1", 0.001, wild], [wild, wild, "**bold**"]]
    chosen(page, "Take in")
    upload = page.get_by_test_id("stMain").locator("input[type=file]")
    upload.wait_for(state="attached")
    upload.set_input_files(FilePayload(name="wild.xlsx", mimeType="", buffer=xlsx_bytes({"Run": rows})))
    chosen(page, "Picture of the sheets")
    cell = page.locator('td[data-cell="C2"]')
    cell.wait_for()
    assert "<script>" in cell.inner_text()
    cell.click()
    page.get_by_text("Taken for").first.wait_for()
    assert page.locator("td img, td script").count() == 0
    assert page.title() == "wqcheck"


def test_draft_is_seen_before_the_batch_is_recorded(page: Page) -> None:
    """The clean run is recommended for release; Release shows a draft that says so, and nothing to download."""
    use_sample(page, "B2107: in order", "RELEASE")
    chosen(page, "Release")
    page.get_by_text("Look at a draft of the document").click()
    page.get_by_text("A draft, not a certificate").wait_for()
    page.get_by_role("img").first.wait_for()
    assert page.get_by_test_id("stDownloadButton").count() == 0
