"""The guide by the working day: its commands tell on the demo what it says, its pages and pictures are there."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import re
import shlex
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from trod.web import pages
from trod_demo.places import SITES

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


def flat(text: str) -> str:
    """What was printed, its lines joined."""
    return " ".join(text.split())


# What the guide's pages say that a command tells, by its first words; {} is a number that is counted below.
TOLD = {
    "trod place": (
        r"Hang the camera about [\d.]+ m up, about [\d.]+ m from the path, at .* looking \w+ \(about \d+° true\)",
        r"Tilt +\d+° (down|up)",
        r"By day: of 100 that pass, .* By night: of 100 that pass, ",
        r"What this supposes",
    ),
    "trod power --what-if": (
        r"Probably stops between \d+ \w+ \d{4} and \d+ \w+ \d{4} \(8 of 10\)",
        r"the nights' cold, -\d+ °C in the coldest month",
    ),
    "trod power": (r"site +camera +go by +stopped now +1 in 10 by +most likely",),
    "trod rounds": (r"saves so many camera-days until somebody comes again",),
    "trod verify": (r"^{files} files in \d+ bags looked at \(every byte\): all as register and manifests say\.$",),
    "trod ask what-comes": (
        r"^[A-Z]\w+ species came by in [\d ]+ camera-days\. [A-Z].* detections, [\d.]+ per 100 camera-days "
        r"\([\d.]+ to [\d.]+, 95 %\)",
        r"Effort: [\d ]+ camera-days",
        r"Open: [\d.]+ camera-days in \d+ silences .* whether the camera watched",
        r"Sequences: \d+ looked at, {unseen} not yet",
        r"Limitations: {unseen} sequences of {sequences} ",
    ),
    # So few invented pictures carry no curve and a year no change: a sentence on what it would take, and no number.
    "trod ask when": (r"needs at least \d+|Red deer",),
    "trod ask change": (r"It takes at least 24 months",),
    "trod report": (r"The report on .* is report\.pdf",),
    "trod export records": (
        r"Left out: [1-9]\d* pictures with people or vehicles",
        r"Left out: [1-9]\d* pictures nobody has reviewed",
    ),
    "trod export package": (r"deployments\.csv +\d+ rows media\.csv +\d+ rows observations\.csv +\d+ rows",),
}


@pytest.mark.long
def test_the_guides_commands_tell_on_the_demo_what_its_pages_say(tmp_path: Path) -> None:
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    env |= {"TROD_HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT / "src"), "COLUMNS": "200"}

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "trod", *words], cwd=tmp_path, env=env, capture_output=True, text=True, check=False
        )

    def told_as_json(*words: str) -> Any:
        return json.loads(run(*words, "--json").stdout)

    made = run("demo", "--no-browser", "--pictures", "800")
    assert made.returncode == 0, made.stderr
    with contextlib.closing(sqlite3.connect(tmp_path / "home" / "catalogue.sqlite3")) as catalogue:
        said = dict(
            catalogue.execute(
                "SELECT identification_id IS NOT NULL, COUNT(*) FROM trod_sequence WHERE NOT time_lapse GROUP BY 1"
            )
        )
    inside = (tmp_path / "home" / "archive").rglob("*")
    counted = {
        "files": sum(1 for path in inside if "data" in path.parts[:-1] and path.is_file()),
        "unseen": said[0],
        "sequences": said[0] + said[1],
    }
    assert min(counted.values()) > 0

    given = commands()
    assert len(given) >= 11
    held = set()
    for page, words in given:
        line = " ".join(words)
        done = run(*words[1:])
        # 3: an answer that Trod refuses in words
        allowed = (0, 3) if words[1] == "ask" else (0,)
        assert done.returncode in allowed, f"{page}: {line}: {done.stderr}"
        begins = max((start for start in TOLD if line.startswith(start)), key=len, default=None)
        assert begins, f"{page}: nothing is held of {line}"
        held.add(begins)
        text = flat(done.stdout + done.stderr)
        for pattern in TOLD[begins]:
            wanted = pattern
            for name, number in counted.items():
                wanted = wanted.replace(f"{{{name}}}", str(number))
            assert re.search(wanted, text), f"{page}: {line} does not tell {wanted}:\n{text[:3000]}"
    assert held == set(TOLD)

    # "the cameras by what a visit would save, with the day to go by, no later than the early end of the forecast"
    due = told_as_json("rounds")["due"]
    saves = [one["saves_days"] for one in due if one["saves_days"] is not None]
    assert saves == sorted(saves, reverse=True) and len(due) > 5
    early = {one["site"]: one["early"] for one in told_as_json("power")["cameras"] if one["early"]}
    assert early and all(one["go_by"] <= early[one["site"]] for one in due if one["site"] in early)

    # "a sensitive site only by a coarse square"; "say that they are invented"
    assert (tmp_path / "report.pdf").read_bytes()[:4] == b"%PDF"
    assert (tmp_path / "tables" / "README.txt").is_file()
    assert "All of this is invented" in (tmp_path / "records" / "README.txt").read_text("utf-8")
    with (tmp_path / "records" / "sites.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    for site in SITES:
        row = rows[site.name]
        off = abs(float(row["latitude"]) - site.latitude_deg) + abs(float(row["longitude"]) - site.longitude_deg)
        assert (row["sensitive"] == "true") == site.sensitive == (off > 1e-3) == bool(row["uncertainty_m"]), site.name
    assert {site.sensitive for site in SITES} == {True, False}
