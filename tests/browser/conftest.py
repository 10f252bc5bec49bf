"""Debian's Chromium against a live server; skipped with a reason where there is no browser, not in CI."""

import os
import shutil
from collections.abc import Iterator

import pytest

# Playwright's synchronous interface keeps an event loop in the thread; Django would refuse the database.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.nodeid:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session", autouse=True)
def _browser_is_here() -> None:
    if CHROMIUM is None:
        words = "Chromium is not installed (Debian: apt-get install chromium)"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": FLAGS,
        "headless": True,
    }


@pytest.fixture
def browser_context_args(browser_context_args):
    """No service worker: what it fetches by itself would outlive a test. test_offline.py allows it."""
    return {**browser_context_args, "service_workers": "block"}


#: Says on the console what the content policy refused, so that ``watched`` hears of it.
POLICY_WATCH = """
addEventListener("securitypolicyviolation", (event) => console.error(
  `refused by the policy: ${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}`
), true);
"""


class Watched:
    """What the browser complained of, or asked of anyone but the shop's own server."""

    def __init__(self) -> None:
        self.complaints: list[str] = []


@pytest.fixture
def watched(page, live_server) -> Iterator[Watched]:
    """A page whose console errors, refusals by the policy and outside requests fail the test."""
    watch = Watched()
    page.set_default_timeout(8000)

    def heard(message) -> None:
        # A refused form is a 422, which the console reports as a failed load; that is meant.
        # htmx reports an answer that a newer one made needless as two errors; a failed one as a third.
        needless = ("htmx:afterRequest", "htmx:sendAbort")
        meant = ("422", "Service Worker registration blocked", *needless)
        if message.type in ("error", "warning") and not any(m in message.text for m in meant):
            watch.complaints.append(message.text)

    def asked(request) -> None:
        if not request.url.startswith((live_server.url, "data:", "blob:")):
            watch.complaints.append(f"outside request: {request.url}")

    page.add_init_script(POLICY_WATCH)
    page.on("console", heard)
    page.on("pageerror", lambda error: watch.complaints.append(str(error)))
    page.on("request", asked)
    yield watch
    assert watch.complaints == []


@pytest.fixture
def sign_in(page, live_server):
    """Sign in as a person, through the form."""

    def signing_in(user) -> None:
        from tests.factories import PASSWORD

        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_label("Username").fill(user.username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()

    return signing_in


@pytest.fixture
def without_scripts(browser, live_server):
    """A page of a browser without JavaScript in which a person has signed in."""
    contexts = []

    def opening(user, **choices):
        from tests.factories import PASSWORD

        context = browser.new_context(
            java_script_enabled=False, base_url=live_server.url, **choices
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(8000)
        page.goto("/sign-in/")
        page.get_by_label("Username").fill(user.username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        return page

    yield opening
    for context in contexts:
        context.close()
