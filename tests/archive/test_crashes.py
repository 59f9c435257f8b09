"""Killed at any moment: nothing lost, nothing half-believed, and the rest is done afterwards."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import bagit
import pytest

from trod.archive import disk
from trod.archive.card import scan
from trod.archive.card_import import import_card, resume, unfinished
from trod.archive.sidecar import bag_folders
from trod.archive.verify import verify
from trod.errors import TrodError

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL, so not on Windows")

# The steps that change something on the disk; `write` is torn in the middle.
STEPS = ("write", "flush", "flush_folder", "rename", "remove", "remove_folder", "create", "link", "overwrite")


def work(desk: Any) -> None:
    """What a technician does who only knows that there is a card: begin, or take up what is unfinished."""
    if unfinished(desk.root):
        resume(desk.root, "one", already_have=lambda sha256: None)
    else:
        import_card(
            scan(desk.card),
            desk.root,
            place=desk.ford,
            name="one",
            about={},
            already_have=lambda sha256: None,
            now=desk.now,
        )


def sha256_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def check(desk: Any) -> None:
    """The archive as a crash left it. Reads the journal by its own means, not by those under test."""
    placed = desk.root / "willow-ford" / "2026-spring" / "one"
    home = desk.root / ".incoming" / "one"
    making = home / "bag"
    if (home / "journal.jsonl").exists() and (home / "plan.json").exists():
        believed: dict[str, dict[str, Any]] = {}
        for line in (home / "journal.jsonl").read_bytes().split(b"\n")[:-1]:
            entry = json.loads(line)
            if entry["what"] == "copied":
                believed[entry["to"]] = entry
            elif entry["what"] == "redo":
                believed.pop(entry["to"], None)
        for to, entry in believed.items():
            place = (making if making.exists() else placed) / to
            assert sha256_of(place) == entry["sha256"] == sha256_of(desk.card / to.removeprefix("data/"))
    assert not (placed.exists() and making.exists())
    for bag in bag_folders(desk.root):
        bagit.Bag(str(bag)).validate()
    report = verify(desk.root) if desk.root.exists() else None
    assert report is None or report.ok, report
    if desk.root.exists():
        strangers = {p.name for p in desk.root.iterdir()} - {".incoming", "willow-ford"}
        strangers -= {"register.jsonl", "register-twin.jsonl", ".register-lock"}
        strangers -= {"register.jsonl.new", "register-twin.jsonl.new"}
        assert not strangers


def finish_and_check(desk: Any) -> None:
    placed = desk.root / "willow-ford" / "2026-spring" / "one"
    if not placed.exists() or unfinished(desk.root):
        work(desk)
    check(desk)
    assert unfinished(desk.root) == []
    bagit.Bag(str(placed)).validate()
    kept = {p.relative_to(placed / "data").as_posix(): sha256_of(p) for p in (placed / "data").rglob("*.JPG")}
    card = {p.relative_to(desk.card).as_posix(): sha256_of(p) for p in desk.card.rglob("*.JPG")}
    assert set(kept.values()) == set(card.values())
    assert all(card[path] == sha256 for path, sha256 in kept.items())


def in_a_child(doing: Callable[[], None]) -> int:
    """Do it in a forked process, warm and quick; returns the child's process id."""
    child = os.fork()
    if child == 0:
        try:
            doing()
            os._exit(0)
        except BaseException:
            import traceback

            traceback.print_exc()
            os._exit(1)
    return child


def how_it_ended(child: int) -> int | None:
    """The signal that ended a child, or None when it came to its own good end."""
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return os.WTERMSIG(status)
    assert os.WEXITSTATUS(status) == 0, "the work itself failed; see its traceback above"
    return None


@pytest.mark.kill
@needs_fork
def test_five_hundred_kills_at_random_moments_lose_nothing(quick_desk: Any) -> None:
    desk = quick_desk
    kills_wanted = int(os.environ.get("TROD_TEST_KILLS", "500"))
    chance = random.Random(20260517)
    desk.pictures(59, size_bytes=3000)
    desk.fill(desk.card, {"DCIM/101MEADW/MEAD0001.JPG": desk.jpeg(1, 3000)})  # a twin of the first
    before = desk.state(desk.card)
    began = time.monotonic()
    work(desk)
    longest_s = 1.2 * (time.monotonic() - began) + 0.003  # forking takes its share
    shutil.rmtree(desk.root)

    kills = kills_in_resume = imports = 0
    while kills < kills_wanted:
        in_resume = bool(unfinished(desk.root))
        child = in_a_child(lambda: work(desk))
        time.sleep(chance.uniform(0, longest_s))
        os.kill(child, signal.SIGKILL)
        killed = how_it_ended(child) is not None
        # The machine may be busier or idler than when the run was timed: about one in six is let come to its end.
        longest_s *= 1.02 if killed else 0.9
        if killed:
            kills += 1
            kills_in_resume += in_resume
            check(desk)
        placed = desk.root / "willow-ford" / "2026-spring" / "one"
        if placed.exists() and not unfinished(desk.root):
            finish_and_check(desk)
            imports += 1
            shutil.rmtree(desk.root)
    if desk.root.exists():
        finish_and_check(desk)
    assert desk.state(desk.card) == before
    print(f"\n{kills} kills, {kills_in_resume} of them while resuming; {imports} imports came to their end")
    assert kills_in_resume > kills_wanted / 10
    assert imports > 0


class Bomb:
    """Counts the steps that change the disk and, at one of them, does its worst."""

    def __init__(self, at: int, worst: Callable[[], None]) -> None:
        self.at, self.worst, self.count = at, worst, 0

    def place(self) -> None:
        for name in STEPS:
            setattr(disk, name, self._armed(name, getattr(disk, name)))

    def _armed(self, name: str, honest: Any) -> Any:
        def step(*arguments: Any) -> Any:
            self.count += 1
            if self.count == self.at:
                if name == "write":
                    fd, data = arguments
                    honest(fd, bytes(data)[: len(data) // 2])
                self.worst()
            return honest(*arguments)

        return step


@pytest.fixture
def honest_disk() -> Iterator[None]:
    honest = {name: getattr(disk, name) for name in STEPS}
    yield
    for name, function in honest.items():
        setattr(disk, name, function)


def small_card(desk: Any) -> None:
    desk.pictures(3)
    twin, cut = desk.jpeg(1), b"\xff\xd8\xff"
    desk.fill(desk.card, {"DCIM/101MEADW/MEAD0001.JPG": twin, "DCIM/102MEADW/MEAD0001.JPG": cut})


@needs_fork
def test_killed_at_each_step_in_turn_an_card_import_is_resumed(quick_desk: Any) -> None:
    desk = quick_desk
    small_card(desk)
    for at in range(1, 1000):

        def doing(at: int = at) -> None:
            Bomb(at, lambda: os.kill(os.getpid(), signal.SIGKILL)).place()
            work(desk)

        if how_it_ended(in_a_child(doing)) is None:
            break
        check(desk)
        finish_and_check(desk)
        shutil.rmtree(desk.root)
    assert 40 < at < 999, "every step of the work was a place to be killed at"


@pytest.mark.kill
@needs_fork
def test_killed_at_each_step_in_turn_a_resume_is_resumed(quick_desk: Any, tmp_path: Path) -> None:
    desk = quick_desk
    small_card(desk)
    # Leave an import in the middle: some files believed, one part half-written, one journal line torn.
    for half in (25, 45, 60):

        def broken(half: int = half) -> None:
            Bomb(half, lambda: os.kill(os.getpid(), signal.SIGKILL)).place()
            work(desk)

        assert how_it_ended(in_a_child(broken)) == signal.SIGKILL
        saved = tmp_path / f"saved-{half}"
        shutil.copytree(desk.root, saved)
        for at in range(1, 1000):

            def doing(at: int = at) -> None:
                Bomb(at, lambda: os.kill(os.getpid(), signal.SIGKILL)).place()
                work(desk)

            if how_it_ended(in_a_child(doing)) is None:
                break
            check(desk)
            finish_and_check(desk)
            shutil.rmtree(desk.root)
            shutil.copytree(saved, desk.root)
        assert at > 5
        shutil.rmtree(desk.root)


@pytest.mark.parametrize("number", [errno.ENOSPC, pytest.param(errno.EIO, marks=pytest.mark.long)])
def test_failing_at_each_step_in_turn_an_card_import_is_resumed(quick_desk: Any, honest_disk: None, number: int) -> None:
    desk = quick_desk
    small_card(desk)
    honest = {name: getattr(disk, name) for name in STEPS}

    def fail() -> None:
        raise OSError(number, os.strerror(number))

    for at in range(1, 1000):
        bomb = Bomb(at, fail)
        bomb.place()
        told = None
        try:
            work(desk)
        except TrodError as problem:
            told = problem
        finally:
            for name, function in honest.items():
                setattr(disk, name, function)
        if bomb.count < at:
            break
        if told is not None:
            assert "What was done is kept" in str(told), told
        check(desk)
        finish_and_check(desk)
        shutil.rmtree(desk.root)
    assert 40 < at < 999


def test_a_journal_line_is_written_only_after_its_file_and_its_name_are_firm(desk: Any, honest_disk: None) -> None:
    """A kill leaves what the system has in memory; a power cut does not. So the order itself is checked."""
    desk.pictures(40)
    steps: list[tuple[str, str]] = []
    paths: dict[int, str] = {}  # by inode: descriptors are used again and again
    honest = {name: getattr(disk, name) for name in (*STEPS, "append")}

    def create(path: Path) -> int:
        fd: int = honest["create"](path)
        paths[os.fstat(fd).st_ino] = str(path)
        return fd

    def write(fd: int, data: Any) -> None:
        steps.append(("write", paths.get(os.fstat(fd).st_ino, "?")))
        honest["write"](fd, data)

    def flush(fd: int) -> None:
        honest["flush"](fd)
        steps.append(("flush", paths.get(os.fstat(fd).st_ino, "?")))

    def flush_folder(folder: Path) -> None:
        honest["flush_folder"](folder)
        steps.append(("flush_folder", str(folder)))

    def rename(old: Path, new: Path) -> None:
        honest["rename"](old, new)
        steps.append(("rename", f"{old} {new}"))

    def append(path: Path, data: bytes) -> None:
        for line in data.decode().splitlines():
            entry = json.loads(line)
            if entry.get("what") == "copied":
                steps.append(("believe", str(desk.root / ".incoming" / "one" / "bag" / entry["to"])))
        honest["append"](path, data)

    for name, function in {
        "create": create, "write": write, "flush": flush, "flush_folder": flush_folder, "rename": rename,
        "append": append,
    }.items():  # fmt: skip
        setattr(disk, name, function)
    try:
        work(desk)
    finally:
        for name, function in honest.items():
            setattr(disk, name, function)

    believed = [(k, path) for k, (step, path) in enumerate(steps) if step == "believe"]
    assert len(believed) == 40
    for k, path in believed:
        (renamed,) = [j for j, s in enumerate(steps) if s[0] == "rename" and s[1].endswith(f" {path}")]
        part = steps[renamed][1].split(" ")[0]
        written = max(j for j, s in enumerate(steps) if s == ("write", part))
        flushed = min(j for j, s in enumerate(steps) if s == ("flush", part))
        folder = ("flush_folder", str(Path(path).parent))
        named = min(j for j, s in enumerate(steps) if s == folder and j > renamed)
        assert written < flushed < renamed < named < k

    # The bag gets its place only after every paper in it is firm, and the place's own name is made firm.
    bag, placed = desk.root / ".incoming/one/bag", desk.root / "willow-ford/2026-spring/one"
    put = steps.index(("rename", f"{bag} {placed}"))
    for name in ("manifest-sha256.txt", "bag-info.txt", "bagit.txt", "tagmanifest-sha256.txt"):
        firm = steps.index(("flush", f"{bag / name}.new"))
        named = steps.index(("rename", f"{bag / name}.new {bag / name}"))
        assert firm < named < put
        assert any(s == ("flush_folder", str(bag)) for s in steps[named:put])
    assert ("flush_folder", str(placed.parent)) in steps[put:]
    assert ("flush_folder", str(desk.root)) in steps[:put]


def test_the_card_is_safe_to_format_only_when_the_bag_has_its_place(desk: Any, honest_disk: None) -> None:
    """No result, no sentence: the only way to hear it is for the last step to have been done."""
    small_card(desk)
    honest = disk.rename

    def rename(old: Path, new: Path) -> None:
        if new.name == "one" and ".incoming" not in new.parts:
            raise OSError(errno.EIO, "Input/output error")
        honest(old, new)

    disk.rename = rename
    with pytest.raises(TrodError):
        work(desk)
    disk.rename = honest
    assert unfinished(desk.root)


if sys.platform == "win32":  # SIGKILL is not there; the tests that need it are skipped
    signal.SIGKILL = signal.SIGTERM  # type: ignore[attr-defined]
