"""Faults by seed upon every verb that writes (benchmarks/faults.py), a CI-sized share of them; and that it can fail."""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FAULTS = ROOT / "benchmarks" / "faults.py"
needs_linux = pytest.mark.skipif(sys.platform != "linux", reason="the harness forks, and waits by pidfd")
ONLY = "^(?!demo)"  # building a demo takes a minute each; tests/commands/test_demo.py breaks one off


def faults(*words: str, timeout_s: float = 400) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(FAULTS), *words], capture_output=True, text=True, timeout=timeout_s, cwd=ROOT
    )  # fmt: skip


@pytest.mark.kill
@needs_linux
def test_faults_by_seed_lose_nothing_and_nothing_wrong_is_believed() -> None:
    done = faults("--faults", "400", "--seed", "8", "--seconds", "120", "--only", ONLY)

    assert done.returncode == 0, done.stdout + done.stderr
    tried, late = map(int, re.search(r"^all +(\d+) +(\d+)", done.stdout, re.M).groups())
    assert tried >= 60, "too slow a machine to say anything"
    assert late < tried / 4, "many faults came when the work was done"
    found, sought = map(int, re.search(r"^all .* (\d+) of (\d+)$", done.stdout, re.M).groups())
    assert found == sought > 10


@pytest.mark.kill
@needs_linux
def test_the_harness_sees_a_picture_that_is_taken_away_unseen() -> None:
    done = faults("--faults", "4", "--seed", "8", "--jobs", "1", "--only", "kill_step: (card|page)", "--sabotage")

    assert done.returncode == 1
    assert "4 with trouble" in done.stdout and "picture DCIM/100TARNB/LANT0001.JPG" in done.stdout, done.stdout


# The book itself, on a few files ----------------------------------------------------------------------------


@pytest.fixture
def book(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.syspath_prepend(str(FAULTS.parent))
    from faulting import book

    return book


PICTURE = b"\xff\xd8\xff a picture"
SHA = hashlib.sha256(PICTURE).hexdigest()


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    bag = tmp_path / "alder" / "spring" / "one"
    (bag / "data").mkdir(parents=True)
    (bag / "data/A.JPG").write_bytes(PICTURE)
    (bag / "manifest-sha256.txt").write_text(f"{SHA}  data/A.JPG\n")
    act = {"act": "say", "uuid": "u-1", "sequence": "e-1"}
    (bag.parent / "identifications.jsonl").write_text(json.dumps(act) + "\n")
    (tmp_path / "private.json").write_text(json.dumps({"locks": [{"label": "Box", "key_number": "K 37"}]}))
    return tmp_path


def kept(book):
    made = book.Book(pictures={SHA: "A.JPG"})
    made.words["u-1"] = book.Said({"act": "say", "sequence": "e-1"})
    made.try_record("lock", "locks", {"label": "Box", "key_number": "K 37"})
    made.promised("lock")
    return made


def test_the_book_finds_all_that_it_was_promised(book, archive: Path) -> None:
    assert kept(book).lost_in_archive(archive) == []


@pytest.mark.parametrize(
    ("path", "data", "told"),
    [
        ("alder/spring/one/data/A.JPG", PICTURE[:-1] + b"f", "picture A.JPG"),
        ("alder/spring/one/data/A.JPG", None, "picture A.JPG"),
        ("alder/spring/one/manifest-sha256.txt", b"", "picture A.JPG"),
        ("alder/spring/identifications.jsonl", b"", "identification u-1"),
        ("alder/spring/identifications.jsonl", b'{"act": "say", "uuid": "u-1", "sequence": "e-2"}\n', "says something else"),  # noqa: E501
        ("alder/spring/identifications.jsonl",
         b'{"act": "say", "uuid": "u-1", "sequence": "e-1"}\n{"act": "undo", "uuid": "u-2", "identification": "u-1"}\n',
         "what became of identification u-1"),
        ("private.json", b'{"locks": [{"label": "Box", "key_number": "K 36"}]}', "record lock"),
        ("private.json", b'{"locks": [', "record lock"),
    ],
)  # fmt: skip
def test_the_book_sees_each_loss(book, archive: Path, path: str, data: bytes | None, told: str) -> None:
    (archive / path).unlink() if data is None else (archive / path).write_bytes(data)

    (lost,) = kept(book).lost_in_archive(archive)
    assert told in lost


def test_what_was_not_promised_may_be_there_or_not(book, archive: Path) -> None:
    made = kept(book)
    made.words["u-9"] = book.Said({"act": "say"}, sure=False)
    made.try_record("site", "sites", {"slug": "ford"})
    assert made.lost_in_archive(archive) == []
    made.words["u-9"].sure = True
    made.promised("site")
    assert made.lost_in_archive(archive) == ["identification u-9", "record site"]
