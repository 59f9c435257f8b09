"""The data folder is for its owner alone, and says who is at it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from commanded import environment
from django.db import connection

from trod.catalogue import holders, home

NO_MODES = pytest.mark.skipif(os.name == "nt", reason="modes of POSIX")


def open_to_others(folder: Path) -> set[str]:
    """What below a folder others may read, where they can get to it."""
    found = set()
    for at, folders, files in os.walk(folder):
        for name in list(folders):
            if (Path(at) / name).stat().st_mode & 0o077 == 0:
                folders.remove(name)
            else:
                found.add(name)
        found |= {name for name in files if (Path(at) / name).stat().st_mode & 0o077}
    return found


@NO_MODES
def test_what_a_command_makes_is_for_its_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "home"
    words = [sys.executable, "-m", "trod", "export", str(tmp_path / "out")]
    done = subprocess.run(words, env=environment(folder), umask=0o022, check=False)
    assert done.returncode == 3  # no reserve yet; the tables and the key are made
    assert folder.stat().st_mode & 0o077 == 0
    catalogue = set() if connection.vendor == "postgresql" else {"catalogue.sqlite3"}
    assert {path.name for path in folder.iterdir()} >= {"secret-key"} | catalogue
    assert open_to_others(folder) == set()


@NO_MODES
def test_files_of_an_earlier_trod_that_others_may_read_are_closed(trod_home: Path) -> None:
    aside = "catalogue.sqlite3.before-20260101T000000Z"
    for name in ("catalogue.sqlite3", "catalogue.sqlite3-wal", "secret-key", aside):
        (trod_home / name).write_text("x")
        (trod_home / name).chmod(0o644)
    for name in ("cache", "reports"):
        (trod_home / name).mkdir(mode=0o755)
    trod_home.chmod(0o755)
    assert home.guard() == []
    assert trod_home.stat().st_mode & 0o077 == 0
    assert open_to_others(trod_home) == set()


@NO_MODES
def test_what_cannot_be_closed_is_told(trod_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    trod_home.chmod(0o700)
    (trod_home / "secret-key").write_text("x")
    (trod_home / "secret-key").chmod(0o644)
    monkeypatch.setattr(Path, "chmod", lambda self, mode: None)  # a disk that knows no rights
    (told,) = home.guard()
    assert "secret-key is open to others" in told


def test_a_key_that_a_power_cut_left_empty_is_made_anew(trod_home: Path) -> None:
    (trod_home / "secret-key").write_bytes(b"")
    key = home.secret_key()
    assert len(key) > 40 and home.secret_key() == key


def test_many_that_ask_at_once_for_the_key_get_the_same_one(trod_home: Path) -> None:
    keys: list[str] = []
    asking = [threading.Thread(target=lambda: keys.append(home.secret_key())) for _ in range(12)]
    for one in asking:
        one.start()
    for one in asking:
        one.join()
    assert len(keys) == 12 and len(set(keys)) == 1
    assert [p.name for p in trod_home.iterdir()] == ["secret-key"]


HOLD = """
import sys, time
from trod.catalogue import holders
{how}
print("held", flush=True)
time.sleep(60)
"""


def holding(folder: Path, how: str) -> subprocess.Popen[str]:
    """A process that signed in or rebuilds, until it is killed."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD.format(how=how)], env=environment(folder), stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None and process.stdout.readline() == "held\n"
    return process


def test_a_rebuild_is_refused_while_the_pages_are_served_and_says_who_serves(trod_home: Path) -> None:
    process = holding(trod_home, "holders.sign_in('trod serve')")
    try:
        with pytest.raises(holders.InUse) as told, holders.alone("trod rebuild"):
            pass
    finally:
        process.kill()
        process.wait()
    assert f"trod serve (process {process.pid} on " in str(told.value) and " since 20" in str(told.value)
    with holders.alone("trod rebuild"):  # it was killed: its sign is found dead and taken away
        pass
    assert not list((trod_home / holders.FOLDER).glob("serve-*"))


@pytest.mark.parametrize("how", ["holders.sign_in('trod card')", "holders.alone('trod rebuild').__enter__()"])
def test_while_a_rebuild_goes_on_nobody_else_begins(trod_home: Path, how: str) -> None:
    process = holding(trod_home, "hold = holders.alone('trod rebuild'); hold.__enter__()")
    try:
        done = subprocess.run(
            [sys.executable, "-c", f"from trod.catalogue import holders\n{how}"], env=environment(trod_home),
            capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode != 0
        assert "InUse: The catalogue is being made anew" in done.stderr
        assert f"trod rebuild (process {process.pid} on " in done.stderr
    finally:
        process.kill()
        process.wait()
    done = subprocess.run(
        [sys.executable, "-c", f"from trod.catalogue import holders\n{how}"], env=environment(trod_home)
    )
    assert done.returncode == 0


def test_a_short_command_is_waited_for(trod_home: Path) -> None:
    process = holding(trod_home, "holders.sign_in('trod ask')")
    threading.Timer(0.5, process.kill).start()
    with holders.alone("trod rebuild", patience_s=20):
        pass
    process.wait()


def test_a_sign_says_who_holds_it(trod_home: Path) -> None:
    with holders.alone("trod rebuild"):
        note = json.loads((trod_home / holders.FOLDER / "rebuild.json").read_bytes())
    assert set(note) == {"command", "host", "pid", "since"} and note["pid"] == os.getpid()
