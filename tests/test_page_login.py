"""People log in through a real OpenID Connect service in a real browser; the people file says what they may do.

The service is ``oidc-provider-mock`` from the package registry, which follows OpenID Connect Core 1.0; the page itself
is the one that ``wqcheck page`` starts.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")

from playwright.sync_api import Browser, Page, expect

from tests.page_servers import free_port, served
from tests.test_page_browser import WAIT_MS, browser

__all__ = ["browser"]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("default::ResourceWarning", "default::pytest.PytestUnraisableExceptionWarning"),
]

PEOPLE = """
[[people]]
person = "mei"
name = "Mei Quell (invented)"
email = "mei@plant.example"
roles = ["releaser"]

[[people]]
person = "ada"
name = "Ada Sorrel (invented)"
subject = "ada-1"
roles = ["analyst", "reviewer"]
"""
USERS = [
    '{"sub": "mei-1", "email": "mei@plant.example", "email_verified": true}',
    '{"sub": "ada-1"}',
    '{"sub": "eve-1", "email": "ada@plant.example", "email_verified": false}',
]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve a login service and the page that trusts it."""
    folder = tmp_path_factory.mktemp("login")
    service, page = free_port(), free_port()
    issuer, own = f"http://127.0.0.1:{service}", f"http://127.0.0.1:{page}"
    (folder / "people.toml").write_text(PEOPLE, encoding="utf-8")
    (folder / "secrets.toml").write_text(
        f'[auth]\nredirect_uri = "{own}/oauth2callback"\ncookie_secret = "only of this test, only of this test"\n'
        f'client_id = "wqcheck"\nclient_secret = "only of this test"\n'
        f'server_metadata_url = "{issuer}/.well-known/openid-configuration"\n',
        encoding="utf-8",
    )
    claims = [argument for user in USERS for argument in ("--user-claims", user)]
    login = [str(Path(sys.executable).with_name("oidc-provider-mock")), "--port", str(service), *claims]
    start = [sys.executable, "-m", "wqcheck.cli", "page", "--port", str(page), "--people", "people.toml"]
    with (
        served(login, f"{issuer}/.well-known/openid-configuration", folder),
        served([*start, "--login", "secrets.toml"], f"{own}/_stcore/health", folder),
    ):
        yield own


@pytest.fixture
def page(browser: Browser, address: str) -> Iterator[Page]:
    """Open the page in a browser that nobody has used."""
    context = browser.new_context()
    opened = context.new_page()
    opened.set_default_timeout(WAIT_MS)
    opened.goto(address)
    yield opened
    context.close()


def log_in(page: Page, subject: str) -> None:
    """Log in at the service as one of its users."""
    page.get_by_role("button", name="Log in").click()
    page.locator("input[name=sub]").fill(subject)
    page.get_by_role("button", name="Authorize").click()


@pytest.mark.parametrize(
    ("subject", "told"),
    [("mei-1", "You act as Mei Quell (invented) (releaser)"), ("ada-1", "You act as Ada Sorrel (invented)")],
)
def test_who_logs_in_acts_with_the_roles_of_the_people_file(page: Page, subject: str, told: str) -> None:
    """By verified e-mail address, or by subject where the file gives one; logging out ends it."""
    expect(page.get_by_text("Until you log in you can look, but not act.")).to_be_visible(timeout=WAIT_MS)
    log_in(page, subject)
    expect(page.get_by_text(told)).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Log out").click()
    page.get_by_role("button", name="End session").click()
    expect(page.get_by_text("Until you log in you can look, but not act.")).to_be_visible(timeout=WAIT_MS)


def test_address_that_is_not_verified_gives_no_role(page: Page) -> None:
    """A login with somebody else's unverified address is refused in clear words."""
    log_in(page, "eve-1")
    expect(page.get_by_text("nobody in the people file has the login")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_text("You act as")).to_have_count(0)
