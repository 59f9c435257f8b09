"""A real Trod for the browser: `trod serve` as a process, on its own data folder, filled with invented rows.

house        one Trod for the whole session, with the invented reserve in it. Do not change what it holds.
open_house   starts another one: open_house(pictures=0) for an empty one you may change.
visit        opens a page and watches it: visit(house.url, width=360, theme="night").
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[3]


@dataclass
class House:
    """A running Trod. url : ends with a slash. env : for a further process on the same data folder."""

    url: str
    home: Path
    process: subprocess.Popen[str]
    env: dict[str, str]

    def work(self) -> None:
        """Do, beside the server that runs without a worker, all the long work that waits."""
        script = (
            "from trod.catalogue.start import ready; ready()\n"
            "import trod.catalogue.work.handlers\n"
            "from trod.catalogue import jobs\n"
            "while jobs.work_once(): pass"
        )
        subprocess.run([sys.executable, "-c", script], env=self.env, check=True, timeout=120)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.process.kill()
        if self.process.stdout:
            self.process.stdout.close()


def environment(home: Path) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    return {**env, "TROD_HOME": str(home), "PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"}


@pytest.fixture(scope="session")
def open_house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., House]]:
    """Start a Trod. pictures : so many invented ones, without files; None for an empty catalogue.

    script : a Python file run before the start, with TROD_HOME set, to fill the folder in another way.
    worker : whether the process for long work runs too.
    """
    houses: list[House] = []

    def start(pictures: int | None = None, *, script: Path | None = None, worker: bool = False) -> House:
        home = tmp_path_factory.mktemp("trod-home")
        env = environment(home)
        steps = [] if pictures is None else [[str(ROOT / "benchmarks" / "fill.py"), "--pictures", str(pictures)]]
        steps += [] if script is None else [[str(script)]]
        for step in steps:
            subprocess.run([sys.executable, *step], env=env, check=True, cwd=ROOT, timeout=300)
        command = [sys.executable, "-m", "trod", "serve", "--port", "0", "--no-browser", "--json"]
        process = subprocess.Popen(
            command + ([] if worker else ["--no-worker"]),
            env=env,
            cwd=home,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        said = json.loads(process.stdout.readline() or '{"address": ""}')
        assert said["address"], "trod serve did not start; its words stand above"
        houses.append(House(said["address"], home, process, env))
        return houses[-1]

    yield start
    for house in houses:
        house.close()


@pytest.fixture(scope="session")
def house(open_house: Callable[..., House]) -> House:
    """One Trod for all, with the invented reserve and 3000 invented pictures."""
    return open_house(3000)


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Any]:
    """Headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        opened = play.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield opened
        opened.close()


@dataclass
class Watched:
    """An open page, and what it did that it should not. page : Playwright's."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)


@pytest.fixture
def visit(browser: Any) -> Iterator[Callable[..., Watched]]:
    """Open a page: visit(url, width=1280, height=900, theme="light"). Errors and calls abroad are noted."""
    contexts: list[Any] = []

    def go(url: str, *, width: int = 1280, height: int = 900, theme: str = "light", **more: Any) -> Watched:
        host = url.split("/")[2]
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        context.add_cookies([{"name": "theme", "value": theme, "domain": host.split(":")[0], "path": "/"}])
        watched = Watched(context.new_page())

        def heard(message: Any) -> None:
            if message.type in ("error", "warning"):
                watched.complaints.append(f"{message.type}: {message.text}")

        def asked(request: Any) -> None:
            if not request.url.startswith((f"http://{host}/", "data:", "blob:")):
                watched.foreign.append(request.url)

        watched.page.on("console", heard)
        watched.page.on("pageerror", lambda error: watched.complaints.append(f"fault: {error}"))
        watched.page.on("request", asked)
        answer = watched.page.goto(url, wait_until="networkidle")
        watched.page.status = answer.status if answer else None
        return watched

    yield go
    for context in contexts:
        context.close()
