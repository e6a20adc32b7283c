"""A real server with the demo, a real browser, and people who walk through the one with the other."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from readiness.actions.demo import PASSWORD
from tests.browser.serving import Server, prepare, serving
from tests.browser.walking import Walker

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DEVICES: dict[str, dict[str, Any]] = {
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True},
    "desk": {"viewport": {"width": 1280, "height": 800}},
}
Visit = Callable[..., Walker]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--take-screenshots", action="store_true", help="write the screenshots of README.md anew")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.fail("No chromium is installed; on Debian: sudo apt install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    database = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    prepare(database)
    return database


@pytest.fixture(scope="session")
def server(demo_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The server of those who only look."""
    with serving(demo_database, tmp_path_factory.mktemp("server")) as started:
        yield started


@pytest.fixture
def own_server(demo_database: Path, tmp_path: Path) -> Iterator[Server]:
    """A server for one test, which may change what it likes."""
    with serving(demo_database, tmp_path) as started:
        yield started


@pytest.fixture(params=DEVICES)
def device(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Visit]:
    """Somebody comes to a server: nobody in particular, or signed in as one of the demo's people."""
    walkers: list[Walker] = []

    def come(server: Server, name: str = "", *, device: str = "desk", scripts: bool = True) -> Walker:
        context = chromium.new_context(**DEVICES[device], java_script_enabled=scripts, reduced_motion="reduce")
        walker = Walker(context.new_page(), server.address)
        walkers.append(walker)
        if name:
            sign_in(walker, name)
        return walker

    yield come
    try:
        for walker in walkers:
            walker.finish()
    finally:
        for walker in walkers:
            walker.page.context.close()


def sign_in(walker: Walker, name: str) -> None:
    """The first page of everybody."""
    walker.open("/sign-in/")
    walker.field("Sign-in name or e-mail").fill(name)
    walker.field("Password").fill(PASSWORD)
    walker.press("Sign in")
