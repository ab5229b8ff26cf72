"""A real browser looks at every view as axe-core does, walks it with the Tab key, and prints it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, Page, PdfMargins, ViewportSize
from pypdf import PdfReader

from tests.page_servers import served_page
from tests.test_page_browser import CHROMIUM, LAPTOP, TABLET, WAIT_MS, browser, overflow, use_sample
from wqcheck.page.main import VIEWS

__all__ = ["browser"]

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
GRAVE = {"serious", "critical"}
SIZES = {"laptop": LAPTOP, "tablet": TABLET}
NAMES = [name for name, _ in VIEWS]
PARTS = {
    "Take in": ("radio", ["Open questions", "What was read", "Picture of the sheets", "Files used"]),
    "Train": ("tab", ["Look here first", "Diagram", "Along the train", "Working figures", "Plant readings", "Report"]),
    "Limits": ("radio", ["Look into a table", "Which text binds", "Compare", "Edit a copy"]),
}
STEPS_MOST = 60
PAPER = ViewportSize(width=703, height=1000)
"""A4 between margins of 12 mm, at 96 pixels to the inch."""

STOP = """() => {
  const one = document.activeElement, label = one.closest("label");
  const look = at => getComputedStyle(at);
  const ringed = at => at && look(at).outlineStyle !== "none" && parseFloat(look(at).outlineWidth) >= 2;
  if (["BODY", "MAIN"].includes(one.tagName)) return [one.tagName, one.tagName === "BODY" || ringed(one)];
  const name = [label?.innerText, one.ariaLabel, one.innerText, one.value, one.tagName].find(word => word);
  return [name.trim(), ringed(one) || ringed(label)];
}"""
CUT = """() => [...document.querySelectorAll('[data-testid="stMain"] *')].filter(one =>
  one.checkVisibility() && one.scrollWidth > one.clientWidth + 2 && one.clientWidth > 30 &&
  ["hidden", "auto", "scroll", "clip"].includes(getComputedStyle(one).overflowX)
).map(one => `${one.tagName} ${one.className}: ${one.innerText}`.slice(0, 200))"""

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason=f"there is no browser at {CHROMIUM}"),
    pytest.mark.filterwarnings("default::ResourceWarning", "default::pytest.PytestUnraisableExceptionWarning"),
]


@contextmanager
def opened(browser: Browser, folder: Path) -> Iterator[Page]:
    """Serve the page from an empty folder, where its records are made with the first batch, and open it."""
    with served_page(folder) as address:
        context = browser.new_context(viewport=LAPTOP)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.goto(address)
        page.get_by_test_id("stRadio").first.wait_for()
        settle(page)
        yield page
        context.close()


@pytest.fixture(scope="module")
def empty(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Open the page where nothing was recorded."""
    with opened(browser, tmp_path_factory.mktemp("empty")) as page:
        yield page


@pytest.fixture(scope="module")
def full(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Open the page with the sample plant in trouble taken in and recorded."""
    with opened(browser, tmp_path_factory.mktemp("full")) as page:
        use_sample(page, "B2108: in trouble", "batch B2108")
        settle(page)
        who = page.get_by_label("Who acts", exact=True)
        who.fill("Ada Sorrel")
        who.press("Tab")
        settle(page)
        page.get_by_role("button", name="Record batch B2108").click()
        page.get_by_text("is recorded").first.wait_for()
        yield page


def settle(page: Page) -> None:
    """Wait until the script has run and what it sent is drawn."""
    page.wait_for_timeout(300)
    page.locator('[data-testid="stApp"][data-test-script-state="notRunning"]').wait_for()
    page.wait_for_timeout(250)


def look_at(page: Page, view: str) -> None:
    """Choose a view; in Train choose results that fill it."""
    page.set_viewport_size(LAPTOP)
    page.get_by_test_id("stRadio").first.get_by_text(view, exact=True).click()
    settle(page)
    if view == "Train":
        page.get_by_text("the sample plant in trouble (invented)").click()
        page.get_by_role("tab", name="Report").wait_for()
        settle(page)


def parts(page: Page, view: str) -> Iterator[str]:
    """Open the parts of a view one after the other, as far as it has any now."""
    role, names = PARTS.get(view, ("", []))
    yield view
    for name in names:
        page.set_viewport_size(LAPTOP)
        part = page.get_by_test_id("stMain").locator(f'[role="{role}"], label').filter(has_text=name)
        if part.count():
            part.first.click()
            settle(page)
            yield f"{view}, {name}"


def grave(page: Page) -> list[str]:
    """List the serious and critical findings of axe-core on what is shown."""
    page.evaluate(AXE_SCRIPT)
    options = {"resultTypes": ["violations"], "runOnly": TAGS}
    found: dict[str, Any] = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{rule['id']}: {node['html'][:200]} {node['failureSummary'][:300]}"
        for rule in found["violations"]
        if rule["impact"] in GRAVE
        for node in rule["nodes"]
    ]


def grave_in(page: Page, view: str) -> tuple[list[str], list[str]]:
    """Give what was looked at, and the grave findings in it, on a laptop and on a tablet."""
    seen, found = [], []
    look_at(page, view)
    for part in parts(page, view):
        for name, size in SIZES.items():
            page.set_viewport_size(size)
            page.wait_for_timeout(500)
            seen.append(part)
            found += [f"{part}, {name}: {one}" for one in grave(page)]
    return seen, found


@pytest.mark.parametrize("view", NAMES)
def test_empty_view_has_no_grave_finding(empty: Page, view: str) -> None:
    """Rules of axe-core for WCAG 2.0, 2.1 and 2.2, levels A and AA (https://www.w3.org/TR/WCAG22/)."""
    assert grave_in(empty, view)[1] == []


@pytest.mark.parametrize("view", NAMES)
def test_full_view_has_no_grave_finding(full: Page, view: str) -> None:
    """Rules of axe-core for WCAG 2.0, 2.1 and 2.2, levels A and AA (https://www.w3.org/TR/WCAG22/), part by part."""
    seen, found = grave_in(full, view)
    assert found == []
    assert len(set(seen)) == 1 + len(PARTS.get(view, ("", []))[1])


def test_pale_text_and_nameless_button_are_found(empty: Page) -> None:
    """The check sees what it is for: pale text (WCAG 2.2, 1.4.3 asks for 4.5:1), a button without a name."""
    look_at(empty, "Start")
    caption = empty.get_by_test_id("stMain").get_by_test_id("stCaptionContainer").last
    caption.evaluate("one => {one.style.color = '#999'; one.insertAdjacentHTML('beforeend', '<button></button>')}")
    found = "\n".join(grave(empty))
    caption.evaluate("one => {one.style.color = ''; one.querySelector('button').remove()}")
    assert "color-contrast" in found
    assert "button-name" in found


def walk(page: Page, until: str) -> list[str]:
    """Press Tab until a name is reached; everything on the way is visibly ringed (WCAG 2.2, 2.1.1 and 2.4.7)."""
    names: list[str] = []
    for _ in range(STEPS_MOST):
        page.keyboard.press("Tab")
        page.wait_for_timeout(60)
        name, ringed = page.evaluate(STOP)
        assert ringed, f"{name} has the focus and does not show it"
        names.append(name)
        if name.startswith(until):
            return names
    pytest.fail(f"{until} was not reached by Tab: {names}")


def from_top(page: Page) -> None:
    """Begin again where a fresh page begins."""
    page.reload()
    page.get_by_test_id("stRadio").first.wait_for()
    settle(page)


def test_tab_reaches_the_first_button_of_start(empty: Page) -> None:
    """From the top through the side panel and the views to the sample plant, which Enter opens."""
    from_top(empty)
    names = walk(empty, "Try the sample plant")
    assert names[0] == "Skip to main content"
    assert {"Language", "Kind of water", "Limit tables", "Who acts", "Start"} <= set(names)
    empty.keyboard.press("Enter")
    empty.get_by_test_id("stAlert").filter(has_text="batch B2107").first.wait_for()


def test_keys_choose_a_view_and_turn_to_the_next_flags(full: Page) -> None:
    """Arrows choose the view and the flag; Tab goes from the list to its button, and Enter turns the page."""
    from_top(full)
    walk(full, "Start")
    for _ in range(2):
        full.keyboard.press("ArrowRight")
        settle(full)
    walk(full, "1. ")
    full.keyboard.press("ArrowDown")
    settle(full)
    assert full.evaluate(STOP)[0].startswith("2. ")
    walk(full, "Next")
    full.keyboard.press("Enter")
    full.get_by_text("Flags 11 to").wait_for()


@pytest.mark.parametrize(
    ("view", "words"),
    [
        ("Flags", ["what you must look at", "What to do next", "decides what becomes of the batch"]),
        ("Release", ["Release", "Reasons to reject (2)", "Signed steps (1)"]),
    ],
)
def test_printed_view_is_whole(full: Page, view: str, words: list[str]) -> None:
    """On A4 the side panel and the buttons are gone, nothing is cut off, and the text goes on to its end."""
    look_at(full, view)
    full.emulate_media(media="print")
    full.set_viewport_size(PAPER)
    full.wait_for_timeout(800)
    try:
        assert not full.get_by_test_id("stSidebar").is_visible()
        assert full.get_by_test_id("stButton").filter(visible=True).count() == 0
        assert overflow(full) <= 0
        assert full.evaluate(CUT) == []
        margins = PdfMargins(top="12mm", bottom="12mm", left="12mm", right="12mm")
        printed = PdfReader(BytesIO(full.pdf(format="A4", margin=margins))).pages
    finally:
        full.emulate_media(media="screen")
        full.set_viewport_size(LAPTOP)
    text = " ".join(" ".join(sheet.extract_text() for sheet in printed).split())
    assert len(printed) > 1
    assert [word for word in words if word not in text] == []
    assert "How to check" not in text
