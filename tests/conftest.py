"""What all tests share: a fresh data folder, and a plain word where Chromium or PostgreSQL is absent."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import hypothesis
import pytest
from absence import IN_CI, absent
from small_reserve import small, take  # noqa: F401  (fixtures of many folders)
from standing_cast import bring_sequences, cast, filler  # noqa: F401

import trod  # noqa: F401  (before NumPy: it holds linear algebra to one thread)

ROOT = Path(__file__).resolve().parents[1]

CHROMIUM_REMEDY = "On Debian: apt install chromium; or set TROD_TEST_CHROMIUM to the path of a Chrome."
POSTGRES_REMEDY = "Run: sh .ci/postgres.sh python3 start.py test"

# No time limit per example, for slow and busy machines; in CI the same examples each time.
hypothesis.settings.register_profile("trod", deadline=None)
hypothesis.settings.register_profile("trod-ci", deadline=None, derandomize=True)
hypothesis.settings.load_profile("trod-ci" if IN_CI else "trod")


def find_chromium() -> str | None:
    """The path of a Chromium or Chrome on this machine; TROD_TEST_CHROMIUM names another one."""
    named = os.environ.get("TROD_TEST_CHROMIUM")
    if named:
        return named
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge"):
        if found := shutil.which(name):
            return found
    mac = Path("/Applications/Google Chrome.app/Contents/MacOS/Google Chrome")
    return str(mac) if mac.exists() else None


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("browser"):
        if not find_chromium():
            absent("Chromium", CHROMIUM_REMEDY)
        # Playwright's plain calls run a sequence loop in this thread, where Django would refuse its database.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


@pytest.fixture(autouse=True)
def no_metadata_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on every machine: the general metadata reader is off, but in the tests of it."""
    monkeypatch.setenv("TROD_METADATA_READER", "off")


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the checkout."""
    return ROOT


@pytest.fixture
def trod_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A fresh, empty data folder; TROD_HOME points to it while the test runs."""
    folder = tmp_path / "trod home"
    folder.mkdir()
    monkeypatch.setenv("TROD_HOME", str(folder))
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """The path of the browser, to be given to Playwright as executable_path."""
    found = find_chromium()
    if not found:
        absent("Chromium", CHROMIUM_REMEDY)
    assert found
    return found


@pytest.fixture(scope="session")
def postgres_url() -> str:
    """The address of a throw-away PostgreSQL: TROD_TEST_POSTGRES_URL, set by `.ci/postgres.sh`."""
    url = os.environ.get("TROD_TEST_POSTGRES_URL", "")
    if not url:
        absent("A PostgreSQL to test on", POSTGRES_REMEDY)
    return url
