"""A second copy of the archive, and the way back."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import bagit
import pytest

from trod.archive import disk, papers
from trod.archive.backup import BackupReport, backup, restore
from trod.archive.card_import import Placement
from trod.archive.sidecar import (
    append_identification,
    archive_id,
    move_bag,
    read_identifications,
    read_ledger,
    write_ledger,
    write_sidecar,
)
from trod.archive.verify import verify
from trod.errors import DiskFull, FileChanged, Stopped, WrongInput

ONE = "willow-ford/2026-spring/one"


@pytest.fixture
def kept(desk: Any) -> Any:
    """An archive with a bag, its papers, and a bag without a deployment."""
    desk.pictures(5)
    desk.take()
    write_ledger(desk.root, {"sites": ["willow-ford"]})
    write_sidecar(desk.root / "willow-ford/2026-spring", {"bags": ["one"]})
    append_identification(desk.root / "willow-ford/2026-spring", {"uuid": "1"})
    desk.take(name="stray", place=Placement())
    return desk


def save(desk: Any, **changes: Any) -> BackupReport:
    return backup(desk.root, desk.root.with_name("copy"), **{"now": desk.now, **changes})


def copy_of(kept: Any) -> Path:
    place: Path = kept.root.with_name("copy")
    return place


def files(root: Path) -> dict[str, bytes]:
    """All files of a tree but the locks and the register, which tells of itself."""
    own = {".lock", ".register-lock", "register.jsonl", "register-twin.jsonl"}
    found = (p for p in root.rglob("*") if p.is_file() and p.name not in own and ".papers" not in p.parts)
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in found}


def nothing_half_made(copy: Path) -> bool:
    """Bags may be missing yet (the sidecars came first), but those in their places are whole."""
    report = verify(copy)
    return not (report.changed or report.unreadable or report.unexpected) and all(
        not (copy / d.path).parent.joinpath("bagit.txt").exists() for d in report.missing
    )


def test_a_backup_is_an_archive_itself(kept: Any) -> None:
    before = files(kept.root)
    report = save(kept)
    copy = kept.root.with_name("copy")
    assert (report.bags_copied, report.bags_there, report.papers, report.ok) == (2, 0, 3, True)
    assert files(copy) == before == files(kept.root)
    assert verify(copy).ok
    bagit.Bag(str(copy / ONE)).validate()
    picture = "data/DCIM/100MEADW/MEAD0001.JPG"
    assert (copy / ONE / picture).stat().st_mtime_ns == (kept.root / ONE / picture).stat().st_mtime_ns
    json.dumps(report.as_json())


def test_a_second_backup_copies_only_what_is_new(kept: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    save(kept)
    kept.take(name="two")
    opened: list[str] = []
    honest = disk.create
    monkeypatch.setattr(disk, "create", lambda path: opened.append(path.name) or honest(path))
    report = save(kept)
    assert (report.bags_copied, report.bags_there, report.papers) == (1, 2, 0)
    assert sum(name.endswith(".JPG") for name in opened) == 5
    assert save(kept).files == 0


def test_earlier_states_of_papers_are_kept_with_their_date(kept: Any) -> None:
    save(kept)
    write_ledger(kept.root, {"sites": ["willow-ford", "salt-lick"]})
    report = save(kept, now=kept.now + timedelta(days=1))
    assert report.earlier == (".earlier/2026-05-18T120000Z/ledger.json",)
    copy = kept.root.with_name("copy")
    assert json.loads((copy / report.earlier[0]).read_text())["sites"] == ["willow-ford"]
    assert json.loads((copy / "ledger.json").read_text())["sites"] == ["willow-ford", "salt-lick"]
    write_ledger(kept.root, {"sites": []})
    again = save(kept, now=kept.now + timedelta(days=1))  # the same instant: nothing is overwritten
    assert again.earlier == (".earlier/2026-05-18T120000Z-2/ledger.json",)
    assert verify(copy).ok


def test_words_that_only_grew_need_no_earlier_state_and_words_that_were_lost_do(kept: Any) -> None:
    save(kept)
    folder = kept.root / "willow-ford/2026-spring"
    append_identification(folder, {"uuid": "2"})
    assert save(kept).earlier == ()
    (folder / "identifications.jsonl").write_bytes(b'{"trod": 1, "uuid": "9"}\n')
    report = save(kept)
    assert [d.path for d in report.damaged] == ["willow-ford/2026-spring/identifications.jsonl"]
    assert report.earlier == () and len(read_identifications(copy_of(kept) / "willow-ford/2026-spring").lines) == 2
    papers.accept(kept.root, "willow-ford/2026-spring/identifications.jsonl")
    report = save(kept)
    assert [t.path for t in report.fewer] == ["willow-ford/2026-spring/identifications.jsonl"] and not report.ok
    assert report.earlier == (".earlier/2026-05-17T120000Z/willow-ford/2026-spring/identifications.jsonl",)
    earlier = kept.root.with_name("copy") / report.earlier[0]
    assert earlier.read_bytes() == b'{"trod": 1, "uuid": "1"}\n{"trod": 1, "uuid": "2"}\n'


def test_a_bag_that_was_moved_is_moved_in_the_backup_too(kept: Any) -> None:
    save(kept)
    move_bag(kept.root, "unplaced/stray", kept.ford, now=kept.now)
    report = save(kept)
    assert (report.bags_copied, report.bags_moved, report.files) == (0, 1, 0)
    assert verify(kept.root.with_name("copy")).bags == 2


def test_an_unfinished_import_is_not_backed_up(kept: Any) -> None:
    kept.pictures(60, first=100)
    asked: list[str] = []
    with pytest.raises(Stopped):
        kept.take(name="two", already_have=lambda s: asked.append(s), stop=lambda: len(asked) > 40)
    save(kept)
    assert not (kept.root.with_name("copy") / ".incoming").exists()


def test_damage_in_the_archive_is_told_and_does_not_reach_the_backup(kept: Any) -> None:
    save(kept)
    picture = kept.root / ONE / "data/DCIM/100MEADW/MEAD0001.JPG"
    good = picture.read_bytes()
    picture.write_bytes(good[:100] + b"?" + good[101:])
    save(kept)
    assert (kept.root.with_name("copy") / ONE / "data/DCIM/100MEADW/MEAD0001.JPG").read_bytes() == good
    other = backup(kept.root, kept.root.with_name("other"), now=kept.now)
    assert [d.path for d in other.damaged] == [f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG"]
    assert not other.ok
    report = verify(kept.root.with_name("other"))
    assert [d.path for d in report.missing] == [f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG"]
    assert (report.changed, report.unexpected) == ((), ())
    picture.write_bytes(good)
    healed = backup(kept.root, kept.root.with_name("other"), now=kept.now)
    assert (healed.files, healed.ok) == (1, True)
    assert verify(kept.root.with_name("other")).ok


def test_another_bag_of_the_same_name_in_the_backup_is_left_and_told(kept: Any) -> None:
    save(kept)
    shutil.rmtree(kept.root / ONE)
    kept.pictures(2, first=50)
    kept.take()
    before = files(kept.root.with_name("copy"))
    report = save(kept)
    assert [(t.path, t.what) for t in report.refused] == [(ONE, "differs")]
    assert "nothing was overwritten" in report.sentence
    assert files(kept.root.with_name("copy")) == before


def test_a_stopped_backup_goes_on_where_it_was(kept: Any) -> None:
    asked: list[int] = []

    def stop() -> bool:
        asked.append(1)
        return len(asked) > 12

    with pytest.raises(Stopped, match="What was done is kept; begin again to go on"):
        save(kept, stop=stop)
    copy = kept.root.with_name("copy")
    assert nothing_half_made(copy)
    assert list((copy / ".copying").rglob("*.JPG"))
    assert save(kept).ok
    assert files(copy) == files(kept.root)
    assert not (copy / ".copying").exists()


def test_a_full_backup_disk_is_told_and_goes_on(kept: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    honest, room = disk.write, [6000]

    def write(fd: int, data: Any) -> None:
        room[0] -= len(data)
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        honest(fd, data)

    with monkeypatch.context() as full:
        full.setattr(disk, "write", write)
        with pytest.raises(DiskFull):
            save(kept)
    assert nothing_half_made(kept.root.with_name("copy"))
    assert save(kept).ok
    assert verify(kept.root.with_name("copy")).ok
    assert files(kept.root.with_name("copy")) == files(kept.root)


def test_a_backup_disk_that_lies_is_told(kept: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = disk.flush

    def flush(fd: int) -> None:
        honest(fd)
        if os.fstat(fd).st_size == 2000:
            os.lseek(fd, 1000, os.SEEK_SET)
            os.write(fd, b"\x00\x01\x02\x03")

    monkeypatch.setattr(disk, "flush", flush)
    with pytest.raises(FileChanged, match="the target's disk gave back other bytes than were written"):
        save(kept)
    monkeypatch.undo()
    assert nothing_half_made(kept.root.with_name("copy"))
    assert save(kept).ok
    assert verify(kept.root.with_name("copy")).ok


def test_a_file_too_large_for_the_target_is_told_and_the_rest_copied(kept: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """FAT32 holds at most 4 GiB less one byte in a file and says EFBIG."""
    honest = disk.write
    large = kept.jpeg(3)

    def write(fd: int, data: Any) -> None:
        if bytes(data) == large:
            raise OSError(errno.EFBIG, "File too large")
        honest(fd, data)

    monkeypatch.setattr(disk, "write", write)
    report = save(kept)
    assert {(t.path, t.what) for t in report.refused} == {
        (f"{ONE}/data/DCIM/100MEADW/MEAD0003.JPG", "big"),
        ("unplaced/stray/data/DCIM/100MEADW/MEAD0003.JPG", "big"),
    }
    assert len(verify(kept.root.with_name("copy")).missing) == 2


def test_a_backup_onto_fat_is_whole(kept: Any, tmp_path: Path) -> None:
    """The names in a bag are such that FAT takes them too."""
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("mkfs.vfat") is None:
        pytest.skip("needs root on Linux and mkfs.vfat (Debian: dosfstools)")
    image, mount = tmp_path / "fat.img", tmp_path / "fat"
    image.write_bytes(b"\0" * (40 << 20))
    mount.mkdir()
    subprocess.run(["mkfs.vfat", image], check=True, capture_output=True)
    made = subprocess.run(["mount", "-o", "loop", image, mount], capture_output=True, text=True)
    if made.returncode:
        pytest.skip(f"mounting is not allowed here: {made.stderr.strip()}")
    try:
        assert backup(kept.root, mount / "copy", now=kept.now).ok
        assert verify(mount / "copy").ok
    finally:
        subprocess.run(["umount", mount], check=True)


# The way back -----------------------------------------------------------------------------------------------


def test_a_lost_archive_comes_back_whole(kept: Any) -> None:
    save(kept)
    before = files(kept.root)
    shutil.rmtree(kept.root)
    report = restore(kept.root.with_name("copy"), kept.root)
    assert (report.bags_copied, report.papers, report.ok) == (2, 3, True)
    assert files(kept.root) == before
    assert verify(kept.root).ok
    assert read_identifications(kept.root / "willow-ford/2026-spring").lines == ({"uuid": "1"},)


def test_a_lost_file_comes_back_into_its_bag(kept: Any) -> None:
    save(kept)
    picture = kept.root / ONE / "data/DCIM/100MEADW/MEAD0001.JPG"
    good = picture.read_bytes()
    picture.unlink()
    (kept.root / ONE / "bag-info.txt").unlink()
    assert restore(kept.root.with_name("copy"), kept.root).files == 2
    assert picture.read_bytes() == good
    assert verify(kept.root).ok


def test_restoring_never_overwrites_and_never_deletes(kept: Any) -> None:
    save(kept)
    append_identification(kept.root / "willow-ford/2026-spring", {"uuid": "2"})
    write_ledger(kept.root, {"sites": ["new"]})
    picture = kept.root / ONE / "data/DCIM/100MEADW/MEAD0001.JPG"
    picture.write_bytes(b"damaged")
    kept.take(name="later", place=Placement())
    before = files(kept.root)
    report = restore(kept.root.with_name("copy"), kept.root)
    assert files(kept.root) == before
    assert {t.path for t in report.refused} == {
        "ledger.json", "willow-ford/2026-spring/identifications.jsonl", f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG",
    }  # fmt: skip
    assert not report.ok


def test_a_bag_that_has_moved_since_the_backup_does_not_come_back_twice(kept: Any) -> None:
    save(kept)
    move_bag(kept.root, "unplaced/stray", kept.ford, now=kept.now)
    report = restore(kept.root.with_name("copy"), kept.root)
    assert (report.bags_there, report.bags_copied) == (2, 0)
    assert not (kept.root / "unplaced/stray").exists()


@pytest.mark.parametrize("place", ["archive", "archive/copy", "."])
def test_a_backup_in_or_around_its_archive_is_refused(kept: Any, place: str) -> None:
    with pytest.raises(WrongInput, match="needed: a folder not in or around the source"):
        backup(kept.root, kept.root.parent / place, now=kept.now)


def test_a_backup_that_is_not_there_is_told(kept: Any) -> None:
    with pytest.raises(WrongInput, match="needed: the folder of an archive or its backup"):
        restore(kept.root / "none", kept.root)


def test_progress_grows_to_all_bytes(kept: Any) -> None:
    told: list[tuple[int, int]] = []
    report = save(kept, progress=lambda done, total: told.append((done, total)))
    assert told == sorted(told)
    assert told[-1] == (report.bytes, report.bytes)


# Against the register ---------------------------------------------------------------------------------------


SITES = {"sites": [{"slug": "willow-ford"}, {"slug": "salt-lick"}]}


def test_a_ledger_that_was_emptied_past_the_register_is_told_and_the_good_copy_stays(kept: Any) -> None:
    write_ledger(kept.root, SITES)
    assert save(kept).ok
    (kept.root / "ledger.json").write_bytes(b'{"trod": 1, "kind": "ledger", "sites": []}')
    report = save(kept)
    assert [str(d) for d in report.damaged] == [
        "ledger.json: changed (the register says otherwise; it was not copied). Restore it from your backup."
    ]
    assert not report.ok and read_ledger(copy_of(kept)) == SITES
    assert verify(copy_of(kept)).ok


def test_an_emptied_ledger_of_an_archive_without_a_register_is_copied_only_with_a_loud_word(kept: Any) -> None:
    for name in ("register.jsonl", "register-twin.jsonl", "ledger.json"):
        (kept.root / name).unlink()
    write_ledger(kept.root, SITES)
    save(kept)
    (kept.root / "ledger.json").write_bytes(b'{"trod": 1, "kind": "ledger", "sites": []}')
    report = save(kept)
    assert not report.ok
    (told,) = report.fewer
    assert told.sentence.startswith("has 2 records fewer, and no deletion of them is on record; it was copied, and")
    assert told.sentence.endswith(report.earlier[0])
    assert json.loads((copy_of(kept) / report.earlier[0]).read_bytes())["sites"] == SITES["sites"]


def test_records_that_were_deleted_on_record_need_no_word(kept: Any) -> None:
    write_ledger(kept.root, SITES)
    save(kept)
    deleted = [{"kind": "sites", "key": "salt-lick", "at": "2026-05-17T12:00:00Z", "by": "Ada Fenn"}]
    write_ledger(kept.root, {"sites": SITES["sites"][:1], "deleted": deleted})
    assert save(kept).ok


@pytest.mark.parametrize("lost", ["ledger.json", "willow-ford/2026-spring/sidecar.json", ONE, "register.jsonl"])
def test_what_the_archive_has_lost_is_told_by_a_backup_too(kept: Any, lost: str) -> None:
    place = kept.root / lost
    shutil.rmtree(place) if place.is_dir() else place.unlink()
    report = save(kept)
    assert lost in [d.path for d in report.damaged] and not report.ok


def test_a_backup_has_the_identity_of_its_archive_and_is_whole_by_its_own_register(kept: Any) -> None:
    save(kept)
    assert archive_id(copy_of(kept)) == archive_id(kept.root) is not None
    (copy_of(kept) / "ledger.json").unlink()
    assert [d.path for d in verify(copy_of(kept)).missing] == ["ledger.json"]
    assert save(kept).ok and verify(copy_of(kept)).ok  # and a backup mends its copy


def test_a_backup_of_one_archive_is_not_written_over_with_another(kept: Any, tmp_path: Path) -> None:
    save(kept)
    write_ledger(tmp_path / "foreign", {"sites": []})
    with pytest.raises(WrongInput, match="needed: a copy of this archive; that is one of another"):
        backup(tmp_path / "foreign", copy_of(kept), now=kept.now)
    with pytest.raises(WrongInput, match="that is one of another"):
        restore(copy_of(kept), tmp_path / "foreign")


def test_a_backup_from_before_the_register_is_put_under_one_by_the_next(kept: Any) -> None:
    save(kept)
    for name in ("register.jsonl", "register-twin.jsonl"):
        (copy_of(kept) / name).unlink()
    assert not verify(copy_of(kept)).registered
    assert save(kept).ok and verify(copy_of(kept)).ok


def test_a_paper_that_comes_back_older_than_it_was_is_told(kept: Any) -> None:
    write_ledger(kept.root, SITES)
    save(kept)
    write_ledger(kept.root, {"sites": [*SITES["sites"], {"slug": "alder-track"}]})
    (kept.root / "ledger.json").unlink()
    report = restore(copy_of(kept), kept.root)
    assert [t.sentence for t in report.fewer] == ["came back in an older state than the archive last had"]
    assert not report.ok and read_ledger(kept.root) == SITES and verify(kept.root).ok


# What the source does not give -----------------------------------------------------------------------------


@pytest.mark.parametrize("folder", ["willow-ford", "willow-ford/2026-spring", "unplaced", ""])
def test_a_folder_that_cannot_be_listed_is_told_and_comes_with_the_next_run(
    kept: Any, monkeypatch: pytest.MonkeyPatch, folder: str
) -> None:
    save(kept)
    shutil.rmtree(kept.root)
    closed, honest = copy_of(kept).resolve() / folder, Path.iterdir

    def iterdir(path: Path) -> Any:
        if path.resolve() == closed:
            raise OSError(errno.EIO, "Input/output error")
        return honest(path)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    report = restore(copy_of(kept), kept.root)
    assert not report.ok
    assert any(d.path == (folder or ".") for d in report.damaged), report.damaged
    monkeypatch.undo()

    assert restore(copy_of(kept), kept.root).ok
    assert verify(kept.root).ok


def test_a_bag_that_is_gone_from_the_backup_is_told_also_when_it_came_last(kept: Any) -> None:
    save(kept)
    shutil.rmtree(kept.root)
    shutil.rmtree(copy_of(kept) / "unplaced")

    report = restore(copy_of(kept), kept.root)

    assert not report.ok and "unplaced/stray" in [d.path for d in report.damaged]


@pytest.mark.parametrize("paper", ["bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"])
def test_a_bag_whose_papers_cannot_be_read_gets_no_place_and_comes_whole_next_time(
    kept: Any, monkeypatch: pytest.MonkeyPatch, paper: str
) -> None:
    save(kept)
    shutil.rmtree(kept.root)
    honest = disk.open_read

    def open_read(path: Path) -> int:
        if path.name == paper and "one" in path.parts:
            raise OSError(errno.EIO, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_read", open_read)
    report = restore(copy_of(kept), kept.root)
    assert not report.ok and not (kept.root / ONE).exists()
    monkeypatch.undo()

    assert restore(copy_of(kept), kept.root).ok
    assert verify(kept.root).ok


@pytest.mark.parametrize("lost", [("tagmanifest-sha256.txt",), ("tagmanifest-sha256.txt", "manifest-sha256.txt")])
def test_a_bag_that_lost_its_papers_gets_them_back(kept: Any, lost: tuple[str, ...]) -> None:
    save(kept)
    for name in lost:
        (kept.root / ONE / name).unlink()

    assert restore(copy_of(kept), kept.root).ok
    assert verify(kept.root).ok
