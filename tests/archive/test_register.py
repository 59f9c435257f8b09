"""Every paper, bag and folder under one register: each removal, cut and flipped bit is found and named."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from trod.archive import disk, fieldnotes, papers, register, standing
from trod.archive.sidecar import (
    append_identification,
    append_identifications,
    archive_id,
    drop_sidecar,
    look_ledger,
    look_sidecar,
    move_bag,
    read_ledger,
    update_sidecar,
    write_ledger,
    write_private,
    write_sidecar,
)
from trod.archive.verify import VerifyReport, verify
from trod.errors import PaperChanged, PaperDamaged, PaperLosesRows, RegisterDamaged

NOTE = "0d4f1b6e-7c55-4c39-9d0e-2f6b3c1a7e55"
LATE = "0d4f1b6e-7c55-4c39-9d0e-2f6b3c1a7e56"
needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL, so not on Windows")


def sites(*slugs: str) -> dict[str, Any]:
    return {"sites": [{"slug": slug, "name": slug.title()} for slug in slugs], "deleted": []}


def build(desk: Any) -> Path:
    """A small archive with everything that one can have, each paper written at least twice."""
    root: Path = desk.root
    ford = root / "willow-ford/2026-spring"
    desk.pictures(2)
    desk.fill(desk.card, {"DCIM/100MEADW/A%B.JPG": desk.jpeg(77), "DCIM/100MEADW/CUT.JPG": b"\xff\xd8\xff"})
    desk.take("one")
    desk.take("two", place=desk.ford.__class__("salt-lick", "2026-a"), already_have=lambda s: None)
    desk.take("stray", place=desk.ford.__class__())
    for count in (1, 2, 3):
        write_ledger(root, sites(*["willow-ford", "salt-lick", "alder-track"][:count]))
        write_private(root, {"locks": [{"uuid": str(n), "key_number": f"K {n}7"} for n in range(count)]})
        for folder in (ford, root / "salt-lick/2026-a"):
            write_sidecar(folder, {"deployment": {"slug": folder.name}, "visits": [{"uuid": "v"}] * count})
        append_identifications(ford, [{"uuid": f"{count}-{n}", "note": "K 27"} for n in range(3)])
        fieldnotes.write(root, NOTE, {"visit": NOTE, "turn": count})
    tear(ford)
    append_identification(ford, {"uuid": "last"})
    append_identification(root / "salt-lick/2026-a", {"uuid": "only"})
    fieldnotes.write_held(root, fieldnotes.held_name(NOTE, "ab" * 32), {"both": [1, 2]})
    fieldnotes.keep_photo(root, desk.jpeg(500))
    return root


def tear(folder: Path) -> None:
    """Leave what a kill in the middle of an append leaves, so that the next one moves it to identifications.torn."""
    honest = disk.append

    def torn(path: Path, data: bytes) -> None:
        honest(path, data if path.name != "identifications.jsonl" else data[:9])
        if path.name == "identifications.jsonl":
            raise OSError(5, "Input/output error")

    disk.append = torn
    try:
        with pytest.raises(Exception, match="cannot be written"):
            append_identification(folder, {"uuid": "torn"})
    finally:
        disk.append = honest


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A complete archive; it is copied for each fault."""
    from .conftest import Desk

    root = build(Desk(tmp_path_factory.mktemp("whole")))
    report = verify(root)
    assert report.ok and not report.permissions and not report.begun and not report.torn, report
    return root


def names_it(report: VerifyReport, path: str) -> bool:
    told = (*report.missing, *report.changed, *report.unreadable, *report.unexpected)
    return not report.ok and path in [d.path for d in told]


def files_of(root: Path) -> list[str]:
    """Every file but the locks, which are empty and hold nothing."""
    found = (p for p in root.rglob("*") if p.is_file() and not p.name.endswith("lock"))
    return sorted(p.relative_to(root).as_posix() for p in found)


def removed(path: Path) -> bool:
    path.unlink()
    return True


def emptied(path: Path) -> bool:
    path.write_bytes(b"")
    return True


def cut_in_half(path: Path) -> bool:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    return True


def cut_at_a_line_end(path: Path) -> bool:
    """The last line away, the line end before it left: what is left looks whole."""
    data = path.read_bytes()
    at = data.rstrip(b"\n").rfind(b"\n") + 1
    path.write_bytes(data[:at])
    return True


def flipped(path: Path) -> bool:
    data = bytearray(path.read_bytes())
    data[len(data) // 3] ^= 1 << (len(data) % 8)
    path.write_bytes(data)
    return True


def flipped_near_the_end(path: Path) -> bool:
    data = bytearray(path.read_bytes())
    data[-min(4, len(data))] ^= 1
    path.write_bytes(data)
    return True


FAULTS: tuple[Callable[[Path], bool], ...] = (
    removed, emptied, cut_in_half, cut_at_a_line_end, flipped, flipped_near_the_end,
)  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__)
def test_every_file_of_a_whole_archive_damaged_in_turn_is_named(
    whole: Path, tmp_path: Path, fault: Callable[[Path], bool]
) -> None:
    """One by one, every file × this fault. Each time the path itself is told, and nothing passes for whole."""
    root = tmp_path / "archive"
    shutil.copytree(whole, root, copy_function=shutil.copy2)
    names, missed = files_of(root), []
    assert len(names) > 45 and {n.rpartition("/")[2] for n in names} >= {
        "ledger.json", "private.json", "sidecar.json", "identifications.jsonl", "identifications.torn", "register.jsonl",
        "register-twin.jsonl", "tagmanifest-sha256.txt", f"{NOTE}.json",
    }  # fmt: skip
    for name in names:
        path = root / name
        data, status = path.read_bytes(), path.stat()
        fault(path)
        if not path.exists() or path.read_bytes() != data:  # an empty file cannot be emptied
            report = verify(root)
            if not names_it(report, name):
                missed.append(name)
        path.write_bytes(data)
        path.chmod(status.st_mode)
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert missed == []
    assert verify(root).ok


def test_every_bit_of_a_private_paper_counts(whole: Path, tmp_path: Path) -> None:
    """“K 27” became “K 37”, and nobody was told."""
    root = tmp_path / "archive"
    shutil.copytree(whole, root)
    path = root / "private.json"
    data = path.read_bytes()
    assert b"K 17" in data
    path.write_bytes(data.replace(b"K 17", b"K 37"))
    report = verify(root)
    assert [d.path for d in report.changed] == ["private.json"] and not report.ok
    assert not verify(root, quick=True).ok  # a quick look leaves out the pictures' bytes alone


def test_every_folder_removed_in_turn_is_named(whole: Path, tmp_path: Path) -> None:
    root = tmp_path / "archive"
    folders = [p.relative_to(whole).as_posix() for p in whole.rglob("*") if p.is_dir()]
    in_bags = [f for f in folders if "/data" in f]
    assert {"willow-ford", "willow-ford/2026-spring", "willow-ford/2026-spring/one", "field-notes"} <= set(folders)
    checked = 0
    for folder in folders:
        shutil.copytree(whole, root)
        held_files = [p for p in (root / folder).rglob("*") if p.is_file() and not p.name.endswith("lock")]
        below = [p.relative_to(root).as_posix() for p in held_files]
        shutil.rmtree(root / folder)
        report = verify(root)
        if below:  # an empty folder holds nothing that could be lost
            checked += 1
            if folder in in_bags or folder.startswith(".papers"):
                assert all(names_it(report, path) for path in below), folder
            else:
                assert names_it(report, folder), folder
        shutil.rmtree(root)
    assert checked >= 12


def test_every_paper_in_an_older_state_is_named(desk: Any) -> None:
    """An older whole archive's file in place of the new one: a state that once was right."""
    desk.pictures(2)
    desk.take("one")
    root, ford = desk.root, desk.root / "willow-ford/2026-spring"

    def turn(count: int) -> None:
        write_ledger(root, sites(*["a", "b", "c"][:count]))
        write_private(root, {"locks": [{"uuid": str(n)} for n in range(count)]})
        write_sidecar(ford, {"visits": [{"uuid": str(n)} for n in range(count)]})
        fieldnotes.write(root, NOTE, {"turn": count})
        append_identification(ford, {"uuid": str(count)})

    turn(1)
    old = {name: (root / name).read_bytes() for name in files_of(root)}
    turn(2)
    middle = {name: (root / name).read_bytes() for name in files_of(root)}
    append_identification(ford, {"uuid": "3"})
    before_last = {name: (root / name).read_bytes() for name in files_of(root)}
    append_identification(ford, {"uuid": "4"})
    checked = 0
    for states in (old, middle, before_last):
        for name, data in states.items():
            new = (root / name).read_bytes()
            if new != data:
                (root / name).write_bytes(data)
                assert names_it(verify(root), name), name
                (root / name).write_bytes(new)
                checked += 1
    assert checked > 12
    assert verify(root).ok


# Killed at any step -----------------------------------------------------------------------------------------

STEPS = (
    "write", "flush", "flush_folder", "rename", "remove", "remove_folder", "create", "link", "overwrite", "truncate",
)  # fmt: skip

ford_of = Path("willow-ford/2026-spring")
ACTS: dict[str, Callable[[Path], object]] = {
    "a first ledger": lambda root: write_private(root, {"locks": [{"uuid": "x"}]}),
    "a ledger anew": lambda root: write_ledger(root, sites("a", "b", "c", "d")),
    "a sidecar": lambda root: update_sidecar(root / ford_of, lambda old: {**old, "visits": [{"uuid": "new"}]}),
    "words": lambda root: append_identifications(root / ford_of, [{"uuid": f"n{n}"} for n in range(3)]),
    "a bag that moves": lambda root: move_bag(root, "unplaced/stray", _ford(), now=_now()),
    "a sidecar that goes": lambda root: drop_sidecar(root / "empty-place/2026-b"),
    "a field note": lambda root: fieldnotes.write(root, NOTE, {"turn": 2}),
    "a photo": lambda root: fieldnotes.keep_photo(root, b"\xff\xd8 photo \xff\xd9"),
    "a register anew": lambda root: _renew(root),
    "a paper accepted": lambda root: papers.accept(root, "ledger.json"),
    "a register for an old archive": lambda root: _enrol_old(root),
}


def _ford() -> Any:
    from .conftest import FORD

    return FORD


def _now() -> Any:
    from .conftest import NOW

    return NOW


def _renew(root: Path) -> None:
    with papers.held(root) as writer:
        assert writer is not None
        writer.renew()


def _enrol_old(root: Path) -> None:
    for name in register.TWINS:
        (root / name).unlink(missing_ok=True)
    papers.enrol(root)


@pytest.fixture
def desk_of_acts(quick_desk: Any) -> Any:
    desk = quick_desk
    desk.pictures(1, size_bytes=200)
    desk.take("one")
    desk.take("stray", place=desk.ford.__class__())
    for count in (1, 2, 3):
        write_ledger(desk.root, sites(*["a", "b", "c"][:count]))
    write_sidecar(desk.root / ford_of, {"bags": ["one"]})
    write_sidecar(desk.root / "empty-place/2026-b", {"deployment": {"slug": "2026-b"}})
    append_identifications(desk.root / ford_of, [{"uuid": "1"}, {"uuid": "2"}])
    fieldnotes.write(desk.root, NOTE, {"turn": 1})
    assert verify(desk.root).ok
    return desk


@needs_fork
@pytest.mark.parametrize("act", ACTS)
def test_killed_at_each_step_in_turn_the_archive_is_never_called_damaged(desk_of_acts: Any, act: str) -> None:
    root: Path = desk_of_acts.root
    saved = root.with_name("saved")
    shutil.copytree(root, saved)
    do = ACTS[act]
    for at in range(1, 400):
        child = os.fork()
        if child == 0:
            arm(at)
            try:
                do(root)
                os._exit(0)
            except BaseException:
                os._exit(1)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            assert os.WEXITSTATUS(status) == 0, "the act itself failed"
            break
        report = verify(root)
        assert report.whole, (at, report)
        assert report.registered or act == "a register for an old archive", at
        papers.forget()
        if act != "a bag that moves" or (root / "unplaced/stray").exists():
            do(root)  # and the act can be done after all
        write_ledger(root, sites("a", "b", "c", "d", "e"))  # whatever comes next settles what was begun
        append_identification(root / ford_of, {"uuid": "later"})
        papers.forget()
        report = verify(root)
        assert report.ok and not report.begun, (at, report)
        shutil.rmtree(root)
        shutil.copytree(saved, root)
    assert 5 < at < 399, "every step was a place to be killed at"
    shutil.rmtree(saved)


def arm(at: int) -> None:
    count = 0

    def armed(name: str, honest: Any) -> Any:
        def step(*arguments: Any) -> Any:
            nonlocal count
            count += 1
            if count == at:
                if name == "write":
                    fd, data = arguments
                    honest(fd, bytes(data)[: len(data) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            return honest(*arguments)

        return step

    for name in STEPS:
        setattr(disk, name, armed(name, getattr(disk, name)))


# The register itself ----------------------------------------------------------------------------------------


@pytest.fixture
def kept(desk: Any) -> Path:
    write_ledger(desk.root, sites("a"))
    write_ledger(desk.root, sites("a", "b"))
    root: Path = desk.root
    return root


@pytest.mark.parametrize("name", register.TWINS)
@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__)
def test_what_one_file_of_the_register_lost_the_next_change_mends_from_the_other(
    kept: Path, name: str, fault: Callable[[Path], bool]
) -> None:
    identity = archive_id(kept)
    fault(kept / name)
    looked = verify(kept)
    assert names_it(looked, name)
    told = " ".join(str(d) for d in (*looked.missing, *looked.changed))
    assert "the next change of the archive mends it" in told and "backup" not in told
    assert archive_id(kept) == identity
    papers.forget()
    write_ledger(kept, sites("a", "b", "c"))
    assert verify(kept).ok and archive_id(kept) == identity
    assert (kept / "register.jsonl").read_bytes() == (kept / "register-twin.jsonl").read_bytes()


def test_two_faults_in_two_places_are_mended_line_by_line(kept: Path) -> None:
    for line, name in enumerate(register.TWINS, 1):
        lines = (kept / name).read_bytes().splitlines(keepends=True)
        lines[line] = lines[line].replace(b"ledger", b"lexger")
        (kept / name).write_bytes(b"".join(lines))
    assert names_it(verify(kept), "register.jsonl") and names_it(verify(kept), "register-twin.jsonl")
    write_ledger(kept, sites("a", "b", "c"))
    assert verify(kept).ok


def test_one_line_lost_in_both_files_is_told_and_nothing_is_written(kept: Path) -> None:
    for name in register.TWINS:
        lines = (kept / name).read_bytes().splitlines(keepends=True)
        lines[1] = lines[1].replace(b"ledger", b"lexger")
        (kept / name).write_bytes(b"".join(lines))
    report = verify(kept)
    assert not report.ok and "line 2 is damaged in both files" in str(report.changed[0])
    papers.forget()
    with pytest.raises(RegisterDamaged, match="Bring both back from your backup"):
        write_ledger(kept, sites("a", "b", "c"))
    assert papers.enrol(kept, renew=True) == 1
    assert verify(kept).ok


def test_the_register_is_written_anew_when_it_has_grown_long(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(register, "SPARE_LINES", 5)
    identity = archive_id(kept)
    lengths = []
    for n in range(12):
        append_identification(kept / ford_of, {"uuid": str(n)})
        lengths.append((kept / "register.jsonl").read_bytes().count(b"\n"))
    assert max(lengths) <= 12 and min(lengths[3:]) < max(lengths)
    assert verify(kept).ok and archive_id(kept) == identity
    older = (kept / "register-twin.jsonl").read_bytes()
    _renew(kept)
    (kept / "register-twin.jsonl").write_bytes(older)
    assert names_it(verify(kept), "register-twin.jsonl")


def test_an_archive_from_before_the_register_is_told_and_put_under_one_only_on_purpose(kept: Path) -> None:
    for name in register.TWINS:
        (kept / name).unlink()
    papers.forget()
    write_ledger(kept, sites("a", "b", "c"))
    append_identification(kept / ford_of, {"uuid": "1"})
    assert archive_id(kept) is None and not (kept / "register.jsonl").exists()
    report = verify(kept)
    assert not report.ok and report.whole and "say trod verify --register" in report.sentence
    assert papers.enrol(kept) == 2
    assert verify(kept).ok


# Writers ----------------------------------------------------------------------------------------------------


def test_a_paper_that_its_writer_has_not_read_is_not_written_over(kept: Path) -> None:
    old = look_ledger(kept).sha256
    new = write_ledger(kept, sites("a", "b", "c"), expect=old)
    assert new == look_ledger(kept).sha256
    for expect in (old, ""):
        with pytest.raises(PaperChanged, match="holds another state than the one the catalogue has read"):
            write_ledger(kept, sites(), expect=expect)
    with pytest.raises(PaperChanged, match="is not there any more, so nothing was written over it"):
        write_private(kept, {"locks": []}, expect=old)
    assert write_private(kept, {"locks": []}, expect="") != ""
    folder = kept / ford_of
    write_sidecar(folder, {"visits": []}, expect="")
    with pytest.raises(PaperChanged):
        write_sidecar(folder, {"visits": []}, expect="")
    write_sidecar(folder, {"visits": [{"uuid": "1"}]}, expect=look_sidecar(folder).sha256)


def test_a_paper_that_holds_less_is_refused_unless_the_deletion_is_on_record(kept: Path) -> None:
    with pytest.raises(PaperLosesRows) as refused:
        write_ledger(kept, sites("a"))
    assert str(refused.value) == (
        "ledger.json would lose 1 records that nobody deleted (sites b), so it was left as it is. Say trod rebuild, "
        "so that the catalogue is what the archive says."
    )
    deleted = [{"kind": "sites", "key": "b", "at": "2026-05-17T12:00:00Z", "by": "Ada Fenn"}]
    write_ledger(kept, {**sites("a"), "deleted": deleted})
    assert (read_ledger(kept) or {})["deleted"] == deleted


def test_a_visit_may_move_to_another_paper_when_that_is_written_first(kept: Path) -> None:
    write_ledger(kept, {**sites("a", "b"), "visits": [{"uuid": "v1"}, {"uuid": "v2"}]})
    with pytest.raises(PaperLosesRows):
        write_ledger(kept, {**sites("a", "b"), "visits": [{"uuid": "v1"}]})
    write_sidecar(kept / ford_of, {"visits": [{"uuid": "v2"}]})
    write_ledger(kept, {**sites("a", "b"), "visits": [{"uuid": "v1"}]})


def test_a_paper_that_was_changed_past_the_register_is_not_written_over(kept: Path) -> None:
    (kept / "ledger.json").write_bytes(b'{"trod": 1, "kind": "ledger", "sites": []}')
    with pytest.raises(PaperDamaged, match="it is not as the register says, so nothing was written over it"):
        write_ledger(kept, sites("a", "b", "c"))
    papers.accept(kept, "ledger.json")
    write_ledger(kept, sites("a", "b", "c"))
    assert verify(kept).ok


# Kept states ------------------------------------------------------------------------------------------------


def at_day(path: Path, day: int) -> None:
    os.utime(path, (day * 86400 + 3600, day * 86400 + 3600))


def test_replaced_papers_are_kept_the_last_ones_and_the_last_of_each_day(kept: Path) -> None:
    slugs = [f"site-{n}" for n in range(140)]
    for n in range(100):
        write_ledger(kept, {**sites("a", "b", *slugs[:n])})
        at_day(kept / "ledger.json", 20_000 + n // 2)  # two a day
    names = sorted(p.name for p in (kept / ".papers/ledger.json.kept").iterdir())
    days = {name[:10] for name in names}
    # The last twenty (from the second of the 40th day on), one of each of 39 days before, one of the day it was made.
    assert len(names) == 20 + 39 + 1
    assert len(days) == 51
    assert verify(kept).ok
    assert sorted(k.name.rpartition("/")[2] for k in papers.kept_states(kept)["ledger.json"]) == names
    for path in (kept / ".papers").rglob("*"):
        assert path.stat().st_mode & 0o077 == 0


def test_kept_days_are_bounded(kept: Path) -> None:
    for n in range(90):
        write_ledger(kept, {**sites("a", "b"), "turn": n})
        at_day(kept / "ledger.json", 20_000 + n)
    assert len(list((kept / ".papers/ledger.json.kept").iterdir())) == 60
    assert verify(kept).ok


# Who may read -----------------------------------------------------------------------------------------------


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no such modes")
def test_papers_are_for_their_owner_alone_and_a_wrong_mode_is_told(kept: Path) -> None:
    append_identification(kept / ford_of, {"uuid": "1"})
    assert verify(kept).permissions == ()
    (kept / "ledger.json").chmod(0o644)
    (kept / "willow-ford").chmod(0o755)
    report = verify(kept)
    assert report.ok  # nothing is lost by it
    assert report.permissions == (
        "willow-ford: mode 0755, which lets others in; needed: 0700",
        "ledger.json: mode 0644, which lets others in; needed: 0600",
    )
    assert standing.close_to_others(kept) == 2
    assert verify(kept).permissions == ()


@pytest.fixture(autouse=True)
def as_a_new_process() -> Iterator[None]:
    papers.forget()
    yield


# The order of writing ---------------------------------------------------------------------------------------


def test_a_paper_is_replaced_only_when_both_files_of_the_register_are_firm(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kill leaves what the system has in memory; a power cut does not. So the order itself is checked."""
    steps: list[tuple[str, str]] = []
    names = {(kept / name).stat().st_ino: name for name in register.TWINS}
    honest = {name: getattr(disk, name) for name in ("flush", "rename", "link", "overwrite", "flush_folder")}

    def flush(fd: int) -> None:
        honest["flush"](fd)
        steps.append(("firm", names.get(os.fstat(fd).st_ino, "aside")))

    def told(name: str) -> Callable[..., None]:
        def step(*arguments: Any) -> None:
            honest[name](*arguments)
            steps.append((name, arguments[0].name))

        return step

    monkeypatch.setattr(disk, "flush", flush)
    for name in ("rename", "link", "overwrite", "flush_folder"):
        monkeypatch.setattr(disk, name, told(name))
    write_ledger(kept, sites("a", "b", "c"))
    order = [step for step in steps if step[0] != "flush_folder"]
    assert order == [
        ("firm", "aside"), ("firm", "register.jsonl"), ("firm", "register-twin.jsonl"), ("link", "ledger.json"),
        ("rename", "ledger.json.new"), ("overwrite", "register.jsonl"), ("overwrite", "register-twin.jsonl"),
    ]  # fmt: skip
    assert ("flush_folder", "archive") in steps[steps.index(("rename", "ledger.json.new")) :]
