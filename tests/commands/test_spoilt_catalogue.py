"""A catalogue file with a flipped byte in what SQLite keeps of its tables or in a row: told, then made anew."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import sqlite3
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
READY = "from trod.catalogue.start import ready\nready(settle=False)\n"
TOLD = """
import sys
from trod.catalogue.start import ready
from trod.commands import stops
ready()
from trod.catalogue.models import Visit
try:
    print([visit.work for visit in Visit.objects.all()])
except Exception as problem:
    sys.exit(stops.end(problem))
"""
UNTELLABLE = """
from trod.catalogue.start import ready
ready()
from django.db import connection
from trod.catalogue.papers import readable

def untellable(execute, sql, params, many, context):
    if "sqlite_master" in sql or "foreign_key_check" in sql:
        b"\\xfe".decode()
    return execute(sql, params, many, context)

with connection.execute_wrapper(untellable):
    print(readable.{call}())
"""
KILLED = """
import os, signal
from trod.catalogue.start import ready
ready()
from django.db import connection
from trod.catalogue.work import rebuild
seen = []

def armed(execute, sql, params, many, context):
    if sql.startswith("DELETE FROM"):
        seen.append(sql)
        if len(seen) > {at}:
            os.kill(os.getpid(), signal.SIGKILL)
    return execute(sql, params, many, context)

with connection.execute_wrapper(armed):
    rebuild.empty_all()
"""
SERVED = """
import sys
from trod.commands import main
from trod.web import server
server.run = lambda *a, **k: None
sys.argv = ["trod", "serve", "--no-browser", "--port", "0", "--no-worker"]
main()
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
def test_a_text_that_is_none_any_more_is_told_and_rebuild_brings_every_row_back(tmp_path: Path, run) -> None:
    assert run("-c", FILL).returncode == 0
    path = tmp_path / "home" / "catalogue.sqlite3"
    path.write_bytes(path.read_bytes().replace(b"marked", b"mark\xff\xfe"))

    read = run("-c", f"{READY}from trod.catalogue.models import Visit\nprint([v.work for v in Visit.objects.all()])")
    stopped = run("-c", TOLD)
    made = run("-m", "trod", "rebuild", "--yes")

    assert "OperationalError" in read.stderr  # the row really cannot be read
    assert stopped.returncode == 3 and "Traceback" not in stopped.stderr
    assert "is damaged or no catalogue" in stopped.stderr and "trod rebuild" in stopped.stderr
    assert made.returncode == 0, made.stdout + made.stderr
    assert run("-c", COUNT).stdout.split() == ["1", "ilka"]


# SQLite's own words about the fault hold these bytes, which are no UTF-8: sqlite3 then raises UnicodeDecodeError.
@pytest.mark.long
@pytest.mark.parametrize("byte", [0xFE, 0xE0])
def test_damage_that_sqlite_cannot_tell_in_text_is_told_and_rebuild_brings_every_row_back(
    tmp_path: Path, run, byte: int
) -> None:
    assert run("-c", FILL).returncode == 0
    path = tmp_path / "home" / "catalogue.sqlite3"
    data = path.read_bytes()
    at = data.index(b"CREATE INDEX ") + len(b"CREATE ")
    path.write_bytes(data[:at] + bytes([byte]) + data[at + 1 :])
    with pytest.raises(UnicodeDecodeError), contextlib.closing(sqlite3.connect(path)) as spoilt:
        spoilt.execute("SELECT * FROM trod_visit")

    said = [run("-m", "trod", *words) for words in (["power"], ["serve", "--no-browser", "--port", "0"])]
    verified = run("-m", "trod", "verify", "--quick")
    made = run("-m", "trod", "rebuild", "--yes")

    for one in said:
        assert one.returncode == 3 and "Traceback" not in one.stderr, one.stderr
        assert "catalogue.sqlite3 is damaged" in one.stderr and "trod rebuild" in one.stderr
    assert verified.returncode == 0, verified.stderr  # it is the archive that is looked at
    assert made.returncode == 0, made.stdout + made.stderr
    kept = re.search(r"The old one is kept as (\S+)\.\n", made.stdout)
    assert kept and Path(kept[1]).read_bytes().count(bytes([byte])) >= 1
    assert f"{kept[1]} is the only place where it may be" in made.stdout  # nobody can read whether it owed a record
    assert run("-c", COUNT).stdout.split()[0] == "1"


@pytest.mark.long
def test_spoilt_words_of_sqlite_are_told_where_tables_and_rows_are_looked_at(run) -> None:
    assert run("-c", FILL).returncode == 0
    for call in ("tables_told", "rows_told"):
        told = run("-c", UNTELLABLE.format(call=call))
        assert told.returncode == 0, told.stderr
        assert "cannot be read" in told.stdout, told.stdout


@pytest.mark.long
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL, so not on Windows")
@pytest.mark.parametrize("at", [1, 2, 15])
def test_a_rebuild_killed_while_it_empties_the_tables_has_emptied_none(run, at: int) -> None:
    assert run("-c", FILL).returncode == 0
    killed = run("-c", KILLED.format(at=at))
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert run("-c", COUNT).stdout.split() == ["1", "ilka"]


@pytest.mark.long
@pytest.mark.parametrize("verb", ["rebuild", "serve"])
@pytest.mark.parametrize("owing", [True, False])
def test_where_a_record_may_be_in_the_kept_file_alone_the_person_is_told(
    tmp_path: Path, run, verb: str, owing: bool
) -> None:
    assert run("-c", FILL).returncode == 0
    path = tmp_path / "home" / "catalogue.sqlite3"
    assert run("-c", f"{READY}from trod.catalogue.papers import standing\nstanding.owe({owing})").returncode == 0
    flip(path, b'"clock_true" datetime', 3)
    if verb == "rebuild":
        said = run("-m", "trod", "rebuild", "--yes").stdout
    else:
        said = run("-c", SERVED).stderr
    (kept,) = path.parent.glob("catalogue.sqlite3.before-*Z")
    assert f"The old one is kept as {kept}." in said, said
    alone = f"A record saved in it had not reached the archive yet, so {kept} is the only place where it is."
    assert (alone in said) is owing, said
