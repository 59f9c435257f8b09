"""The guide by the working day: its commands run on the demo, its pages and pictures are there."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from trod.web import pages

ROOT = Path(__file__).resolve().parents[1]
GUIDE = sorted((ROOT / "docs" / "guide").glob("*.md"))
OTHERS = {"Specification and field test", "Which camera for what"}  # pages that the heading does not name


def commands() -> list[tuple[str, list[str]]]:
    """(page, words) of every command of the guide, in the order of the working day."""
    order = re.findall(r"\]\(([a-z-]+\.md)\)", (ROOT / "docs" / "guide" / "README.md").read_text("utf-8"))
    found = []
    for name in order:
        text = (ROOT / "docs" / "guide" / name).read_text("utf-8")
        for block in re.findall(r"^```sh\n(.*?)^```", text, flags=re.M | re.S):
            found += [(name, shlex.split(line)) for line in block.splitlines() if line.strip()]
    return found


def test_the_guide_names_all_its_pages_and_they_are_short() -> None:
    front = (ROOT / "docs" / "guide" / "README.md").read_text("utf-8")

    assert len(GUIDE) == 7
    for page in GUIDE:
        assert page.name == "README.md" or f"({page.name})" in front
        assert len(page.read_text("utf-8").split()) < 450, page.name


def test_pages_that_the_guide_sends_one_to_are_in_the_heading() -> None:
    doors = {door.label for door in (*pages.NAV, *pages.FOOT)}
    text = "\n".join(page.read_text("utf-8") for page in GUIDE)
    named = set(re.findall(r"(?:Open|Under|under|open|see|page) \*\*([A-Z][a-z]+)\*\*", text))

    assert named and named <= doors
    whole = "\n".join(p.read_text("utf-8") for p in (ROOT / "src" / "trod" / "web" / "templates").rglob("*.html"))
    assert [name for name in OTHERS if name not in whole and name.lower() not in whole.lower()] == []


@pytest.mark.long
def test_every_command_of_the_guide_runs_on_the_demo(tmp_path: Path) -> None:
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    env |= {"TROD_HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT / "src")}

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "trod", *words], cwd=tmp_path, env=env, capture_output=True, text=True, check=False
        )

    made = run("demo", "--no-browser", "--pictures", "800")
    assert made.returncode == 0, made.stderr
    told = commands()
    assert len(told) >= 9
    for page, words in told:
        assert words[0] == "trod", page
        done = run(*words[1:])
        # 3: an answer that Trod refuses in words, where so few invented pictures do not carry it
        allowed = (0, 3) if words[1] == "ask" else (0,)
        assert done.returncode in allowed, f"{page}: {' '.join(words)}: {done.stderr}"
        assert done.stdout.strip() or done.stderr.strip(), f"{page}: {' '.join(words)} said nothing"
    assert (tmp_path / "report.pdf").read_bytes()[:4] == b"%PDF"
    assert (tmp_path / "records" / "README.txt").is_file()
