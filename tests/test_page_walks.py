"""A quality manager's morning in a real browser, from the laboratory's sheet to the signed decision."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

pytest.importorskip("playwright.sync_api")

from playwright.sync_api import Browser, FilePayload, Locator, Page, expect

from tests.page_servers import ROOT, served_page
from tests.test_page_browser import CHROMIUM, LAPTOP, WAIT_MS, browser
from wqcheck.page.issued_papers import ISSUE_KEY
from wqcheck.page.main import TRY_AGAIN_KEY
from wqcheck.page.office import PERSON_KEY
from wqcheck.page.recording import RECORD_KEY
from wqcheck.page.release_view import SIGN_KEY, step_key
from wqcheck.page.sheet_questions import KEEP_KEY
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.records.certificates import document_file, documents
from wqcheck.records.standing import State
from wqcheck.records.store import open_store
from wqcheck.verification.paper import verify_paper

__all__ = ["browser"]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason=f"there is no browser at {CHROMIUM}"),
    pytest.mark.filterwarnings("default::ResourceWarning", "default::pytest.PytestUnraisableExceptionWarning"),
]


class Desk:
    """The page in the browser, found by the keys of its widgets so that its wording may change."""

    def __init__(self, page: Page, folder: Path) -> None:
        self.page, self.folder = page, folder

    def view(self, name: str) -> None:
        self.page.get_by_test_id("stRadio").get_by_text(name, exact=True).first.click()
        self.settled()

    def settled(self) -> None:
        """Wait until the page has begun and ended its answer."""
        self.page.wait_for_timeout(400)
        self.page.locator('[data-testid="stApp"][data-test-script-state="notRunning"]').wait_for()

    def of(self, key: str) -> Locator:
        return self.page.locator(f".st-key-{re.sub('[^a-zA-Z0-9_-]', '-', key)}").first

    def press(self, key: str) -> None:
        self.of(key).get_by_role("button").click()
        self.settled()

    def write(self, key: str, text: str) -> None:
        field = self.of(key).get_by_role("textbox")
        field.fill(text)
        field.press("Tab")
        self.settled()

    def choose(self, key: str, text: str) -> None:
        self.of(key).get_by_role("combobox").click()
        self.page.get_by_role("option").filter(has_text=text).first.click()
        self.settled()

    def drop(self, *files: tuple[str, bytes]) -> None:
        """Drop files on the view that takes sheets in, and wait until the page has answered."""
        upload = self.page.get_by_test_id("stMain").locator("input[type=file]").first
        upload.wait_for(state="attached")
        payloads = [FilePayload(name=name, mimeType="", buffer=content) for name, content in files]
        upload.set_input_files(payloads)
        self.page.get_by_test_id("stMain").get_by_text(files[0][0]).first.wait_for()
        self.settled()

    def says(self, words: str, seconds: float = 60) -> None:
        """Wait until the page says something."""
        expect(self.page.get_by_test_id("stMain").get_by_text(words).first).to_be_visible(timeout=1000 * seconds)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


@pytest.fixture
def address(folder: Path) -> Iterator[str]:
    """Serve the page from an empty folder of its own."""
    with served_page(folder) as served_at:
        yield served_at


@pytest.fixture
def desk(browser: Browser, address: str, folder: Path) -> Iterator[Desk]:
    context = browser.new_context(viewport=LAPTOP)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(address)
    opened = Desk(page, folder)
    opened.settled()
    yield opened
    context.close()


def clean_run(*changes: tuple[str, str | None]) -> bytes:
    """Give the clean run of the sample plant with some cells changed."""
    book = openpyxl.load_workbook(ROOT / "sample_results" / "run_B2107_clean.xlsx")
    for cell, value in changes:
        book.worksheets[0][cell] = value
    kept = BytesIO()
    book.save(kept)
    return kept.getvalue()


def use_clean_run(desk: Desk) -> None:
    """Take the clean run of the sample plant in."""
    desk.view("Take in")
    sample = desk.page.get_by_role("button", name="B2107: in order")
    sample.or_(desk.page.get_by_role("radio", name="B2107: in order")).first.click()
    desk.of(RECORD_KEY).wait_for()
    desk.settled()


def released(desk: Desk) -> str:
    """Bring the batch on the desk to its certificate by two people and give its number."""
    desk.write(PERSON_KEY, "Ada Sorrel")
    desk.press(RECORD_KEY)
    desk.says("is recorded")
    desk.view("Release")
    desk.press(step_key(State.UNDER_REVIEW))
    desk.press(SIGN_KEY)
    desk.write(PERSON_KEY, "Mei Quell")
    desk.press(step_key(State.RELEASED))
    desk.press(SIGN_KEY)
    desk.press(ISSUE_KEY)
    desk.says("C-")
    store = open_store(desk.folder / "records.sqlite", create=False)
    try:
        return str(documents(store, "B2107")["number"].iloc[-1])
    finally:
        store.close()


def test_from_sheet_over_a_question_and_flags_to_the_certificate(desk: Desk) -> None:
    """The sheet asks one thing, which is answered and kept; two people sign; the certificate verifies offline."""
    desk.view("Take in")
    desk.drop(("run.xlsx", clean_run(("A14", "Totl coliforms"))))
    desk.says("Totl coliforms")
    desk.says("HOLD")
    answer = desk.page.locator("[class*=st-key-answer]").first
    answer.get_by_role("combobox").click()
    desk.page.keyboard.type("Total coli")
    desk.page.get_by_role("option", name=re.compile("^Total coliform")).first.click()
    desk.press(KEEP_KEY)
    desk.says("RELEASE")
    layout = next(desk.folder.glob("layouts/*.toml")).read_text("utf-8")
    assert re.search('aliases."Totl coliforms" = .*total_coliforms', layout)
    desk.view("Flags")
    desk.says("Nothing is flagged in batch B2107")
    desk.says("Have a limit and were not tested")
    desk.view("Take in")
    number = released(desk)
    store = open_store(desk.folder / "records.sqlite", create=False)
    pdf = document_file(store, number, "pdf")
    store.close()
    assert verify_paper(pdf).sound
    desk.page.get_by_role("img").first.wait_for()
    assert desk.page.get_by_test_id("stDownloadButton").count() >= 3


def test_missing_bacteria_hold_the_batch(desk: Desk) -> None:
    """Without a result for Escherichia coli the batch is held, and the flags name it."""
    desk.view("Take in")
    desk.drop(("run.xlsx", clean_run(("B13", None))))
    desk.says("HOLD")
    desk.view("Flags")
    desk.says("Escherichia coli")


def test_language_is_switched_and_kept_over_the_views(desk: Desk) -> None:
    """The views change their words; the chosen language stays while the page is open."""
    english = desk.page.get_by_test_id("stMain").get_by_text("What waits today")
    expect(english.first).to_be_visible(timeout=WAIT_MS)
    desk.choose(LANGUAGE_KEY, "français")
    expect(english).to_have_count(0, timeout=WAIT_MS)
    desk.choose(LANGUAGE_KEY, "English")
    expect(english.first).to_be_visible(timeout=WAIT_MS)


def test_file_that_is_no_workbook_is_said_and_loses_nothing(desk: Desk) -> None:
    """The good sheet beside it is read; the batch is held until the bad one is taken off."""
    desk.view("Take in")
    desk.drop(("run.xlsx", clean_run()), ("photo.xlsx", b"\x89PNG no workbook at all"))
    desk.says("photo.xlsx")
    desk.says("HOLD")


def test_large_upload_is_taken_in_or_refused_in_words(desk: Desk) -> None:
    """A file of 49 MB is answered, one beyond the limit is refused by the page in words."""
    desk.view("Take in")
    line = b"S-1,FP,2026-03-04,Lead,0.001,mg/L,%s\n"
    filler = line % (b"x" * 5000)
    content = b"Sample,Point,Sampled,Parameter,Result,Unit,Remark\n" + filler * (49_000_000 // len(filler))
    desk.drop(("large.csv", content))
    desk.says("large.csv", seconds=180)
    assert desk.page.get_by_test_id("stException").count() == 0


def test_reload_keeps_the_records_and_two_tabs_do_not_sign_twice(desk: Desk, address: str) -> None:
    """A second tab that still shows the step before cannot sign it again, and is told so."""
    use_clean_run(desk)
    number = released(desk)
    desk.page.reload()
    desk.settled()
    desk.view("Release")
    desk.says(number)
    other = desk.page.context.new_page()
    other.set_default_timeout(WAIT_MS)
    other.goto(address)
    second = Desk(other, desk.folder)
    second.settled()
    second.view("Release")
    second.says(number)
    second.of(step_key(State.WITHDRAWN)).wait_for()
    second.write(PERSON_KEY, "Rui Vale")
    desk.write(PERSON_KEY, "Mei Quell")
    for tab in (second, desk):
        tab.press(step_key(State.WITHDRAWN))
        tab.page.locator("[class*=st-key-written-reason] textarea").fill("cap defect")
        tab.page.keyboard.press("Tab")
        tab.settled()
    desk.press(SIGN_KEY)
    second.press(SIGN_KEY)
    assert other.get_by_test_id("stException").count() == 0
    store = open_store(desk.folder / "records.sqlite", create=False)
    status = documents(store, "B2107")["status"].tolist()
    store.close()
    assert status == ["withdrawn"]


def test_locked_records_are_said_and_nothing_is_lost(desk: Desk) -> None:
    """While another program holds the file, recording is refused in words; afterwards the same button records."""
    use_clean_run(desk)
    desk.write(PERSON_KEY, "Ada Sorrel")
    open_store(desk.folder / "records.sqlite").close()
    lock = sqlite3.connect(desk.folder / "records.sqlite", isolation_level=None)
    lock.execute("BEGIN EXCLUSIVE")
    desk.of(RECORD_KEY).get_by_role("button").click()
    expect(desk.page.get_by_test_id("stAlert").filter(has_text="busy").first).to_be_visible(timeout=240_000)
    assert desk.page.get_by_test_id("stException").count() == 0
    lock.execute("ROLLBACK")
    lock.close()
    desk.press(TRY_AGAIN_KEY)
    desk.press(RECORD_KEY)
    desk.says("is recorded")
