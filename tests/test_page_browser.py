"""A real browser clicks the sample plant, reads the flags and downloads a certificate."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")

from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright

ROOT = Path(__file__).parent.parent
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


def free_port() -> int:
    """Give a loopback port that nobody listens on."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def wait_until_answered(address: str, server: subprocess.Popen[bytes], seconds: float = 60) -> None:
    """Wait for a server to answer; one that ends early or never answers fails the test."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        assert server.poll() is None, "the server ended before it answered"
        try:
            with urllib.request.urlopen(address, timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.2)
    pytest.fail(f"{address} did not answer within {seconds} s")


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """Serve the page on a free loopback port and end it whatever happens."""
    port = free_port()
    settings = ["--server.headless=true", f"--server.port={port}", "--server.address=127.0.0.1"]
    quiet = ["--browser.gatherUsageStats=false", "--server.fileWatcherType=none"]
    command = [sys.executable, "-m", "streamlit", "run", "app.py", *settings, *quiet]
    server = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_until_answered(f"http://127.0.0.1:{port}/_stcore/health", server)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.kill()
        server.wait(timeout=30)


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


def test_trouble_is_seen_and_its_notice_downloaded(page: Page, tmp_path: Path) -> None:
    """One click shows the run in trouble; its flags are readable text; the notice is a PDF."""
    use_sample(page, "B2108: in trouble", "batch B2108")
    page.get_by_role("tab", name="Out of limit").click()
    flags = page.get_by_role("tabpanel").get_by_test_id("stTable").first
    flags.wait_for()
    words = flags.inner_text()
    assert "Out of limit" in words
    assert "Arsenic: 14 µg/L" in words
    assert overflow(page) <= 0
    pdf = download_pdf(page, tmp_path)
    assert pdf.startswith(b"%PDF")


def test_run_in_order_gives_a_certificate(page: Page, tmp_path: Path) -> None:
    """The clean run is recommended for release, and its certificate is a PDF."""
    use_sample(page, "B2107: in order", "RELEASE")
    assert download_pdf(page, tmp_path).startswith(b"%PDF")


def test_stages_are_drawn_and_fit_a_tablet(page: Page) -> None:
    """The commissioning run shows a chart of its stages, and a tablet needs no sideways scrolling."""
    use_sample(page, "C-01: commissioning", "batch")
    page.get_by_role("tab", name="Stages").click()
    page.get_by_test_id("stVegaLiteChart").first.wait_for()
    assert "reverse osmosis" in page.get_by_role("tabpanel").get_by_test_id("stTable").first.inner_text()
    page.set_viewport_size(TABLET)
    page.wait_for_timeout(1000)
    assert overflow(page) <= 0


def download_pdf(page: Page, folder: Path) -> bytes:
    """Sign, prepare the paper of the decision and give the bytes of its PDF."""
    signed = page.get_by_label("Signed by")
    signed.fill("A. Signatory (invented)")
    signed.press("Enter")
    page.get_by_role("tab", name="Certificate").click()
    page.get_by_role("button", name="Prepare the").click()
    button = page.get_by_role("button", name="Download PDF")
    button.wait_for()
    with page.expect_download() as waiting:
        button.click()
    path: Path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path.read_bytes()
