"""A catalogue file with a flipped byte in what SQLite keeps of its tables or in a row: told, then made anew."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILL = """
import sequenced
from datetime import UTC, datetime
from trod.catalogue.start import ready
ready("trod demo", settle=False)
from django.contrib.auth import get_user_model
from trod.catalogue.models import Visit
from trod.catalogue.papers import ledger, standing
made = sequenced.ground()
deployment = made.deployments[0]
Visit.objects.create(site=deployment.site, deployment=deployment, at=datetime(2026, 1, 5, tzinfo=UTC), by="Ilka",
                     work="marked")
get_user_model().objects.create_user("ilka", password="a long enough secret 7")
ledger.catch_up()
standing.adopt()
"""
COUNT = """
from trod.catalogue.start import ready
ready()
from django.contrib.auth import authenticate
from trod.catalogue.models import Visit
print(Visit.objects.filter(work="marked").count(), authenticate(username="ilka", password="a long enough secret 7"))
"""


def flip(path: Path, found: bytes, at: int) -> None:
    """Another last bit in each place where these bytes stand."""
    data = path.read_bytes()
    assert found in data
    other = bytearray(found)
    other[at] ^= 1
    path.write_bytes(data.replace(found, bytes(other)))


@pytest.fixture
def run(tmp_path: Path):
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    env |= {"TROD_HOME": str(tmp_path / "home")}
    env["PYTHONPATH"] = os.pathsep.join([str(ROOT / "src"), str(ROOT / "tests" / "support")])

    def call(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *words], env=env, capture_output=True, text=True, check=False, timeout=200
        )

    return call


@pytest.mark.long
def test_a_flipped_column_name_is_told_and_rebuild_brings_every_row_back(tmp_path: Path, run) -> None:
    filled = run("-c", FILL)
    assert filled.returncode == 0, filled.stderr
    assert run("-c", COUNT).stdout.split() == ["1", "ilka"]
    flip(tmp_path / "home" / "catalogue.sqlite3", b'"clock_true" datetime', 3)

    stopped = run("-m", "trod", "power")
    made = run("-m", "trod", "rebuild", "--yes")

    assert stopped.returncode == 3 and "Traceback" not in stopped.stderr
    assert "The catalogue itself is damaged." in stopped.stderr and "trod rebuild" in stopped.stderr
    assert made.returncode == 0, made.stdout + made.stderr
    assert "was left out" not in made.stdout and "The old one is kept as" in made.stdout
    assert run("-c", COUNT).stdout.split() == ["1", "ilka"]


@pytest.mark.long
def test_a_text_that_is_none_any_more_ends_in_words(tmp_path: Path, run) -> None:
    assert run("-c", FILL).returncode == 0
    path = tmp_path / "home" / "catalogue.sqlite3"
    path.write_bytes(path.read_bytes().replace(b"marked", b"mark\xff\xfe"))

    stopped = run("-c", "import sys\nsys.argv = ['trod', 'rounds']\nfrom trod.commands import main\nmain()")

    assert "Traceback" not in stopped.stderr
