"""From a card to a bag."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import bagit
import pytest

from trod.archive import copying, disk
from trod.archive.card import Entry, scan
from trod.archive.card_import import Placement, resume, unfinished
from trod.archive.manifest import hash_file
from trod.archive.verify import verify
from trod.errors import (
    ArchiveUnwritable,
    CardTrouble,
    DiskFull,
    FileChanged,
    FileUnreadable,
    NothingFound,
    SourceBusy,
    SourceChanged,
    SourceVanished,
    Stopped,
    WrongInput,
)


def lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def valid(bag: Path) -> bool:
    """What the reference library says of a bag, and `sha256sum` where there is one."""
    bagit.Bag(str(bag)).validate()
    if shutil.which("sha256sum"):
        command = ["sha256sum", "--check", "--strict", "--quiet", "manifest-sha256.txt"]
        subprocess.run(command, cwd=bag, check=True)
    return True


# A plain import ---------------------------------------------------------------------------------------------


def test_a_card_becomes_a_bag_that_the_reference_library_validates(desk: Any) -> None:
    desk.pictures(12)
    before = desk.state(desk.card)
    result = desk.take()
    bag = desk.bag(result)
    assert result.bag == "willow-ford/2026-spring/one"
    assert valid(bag)
    assert (result.files, result.new, result.duplicates, result.bytes) == (12, 12, 0, 24000)
    assert desk.state(desk.card) == before
    for copy in result.copies:
        original, kept = desk.card / copy.path, bag / copy.to
        assert kept.read_bytes() == original.read_bytes()
        assert kept.stat().st_mtime_ns == original.stat().st_mtime_ns == copy.mtime_ns
        assert hash_file(kept) == (copy.sha256, copy.size_bytes)
    assert list((desk.root / ".incoming").iterdir()) == []
    assert (bag / "bag-info.txt").read_text() == (
        "Contact-Name: Ada Fenn\n"
        "Bag-Software-Agent: Trod 0.2.0\n"
        "Bagging-Date: 2026-05-17\n"
        "External-Identifier: one\n"
        "Payload-Oxum: 24000.12\n"
    )


def test_sha256sum_can_check_a_bag(desk: Any) -> None:
    if shutil.which("sha256sum") is None:
        pytest.skip("sha256sum is not on this machine (it comes with GNU coreutils)")
    desk.pictures(3)
    bag = desk.bag(desk.take())
    done = subprocess.run(
        ["sha256sum", "-c", "manifest-sha256.txt"], cwd=bag, capture_output=True, text=True, check=True
    )
    assert done.stdout.count(": OK") == 3
    subprocess.run(["sha256sum", "-c", "tagmanifest-sha256.txt"], cwd=bag, capture_output=True, check=True)


def test_the_same_card_gives_the_same_bag_to_the_last_byte(desk: Any, tmp_path: Path) -> None:
    desk.pictures(40)
    first = desk.bag(desk.take())
    papers = {p.name: p.read_bytes() for p in first.iterdir() if p.is_file()}
    first.rename(tmp_path / "first")
    second = desk.bag(desk.take())
    assert {p.name: p.read_bytes() for p in second.iterdir() if p.is_file()} == papers


def test_a_read_only_card_is_enough(desk: Any) -> None:
    desk.pictures(3)
    for path in [desk.card, *desk.card.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = desk.state(desk.card)
    assert desk.take().safe_to_format
    assert desk.state(desk.card) == before


def test_a_card_mounted_read_only_is_enough(desk: Any) -> None:
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root on Linux can mount a folder read-only")
    desk.pictures(3)
    mount = desk.card.with_name("mount")
    mount.mkdir()
    made = subprocess.run(["mount", "--bind", desk.card, mount], capture_output=True, text=True)
    if made.returncode:
        pytest.skip(f"mounting is not allowed here: {made.stderr.strip()}")
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", mount], check=True)
        with pytest.raises(OSError):
            (mount / "x").write_text("x")
        assert desk.take(source=mount).safe_to_format
    finally:
        subprocess.run(["umount", mount], check=True)


def test_each_file_of_the_card_is_opened_once(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(5)
    listing = scan(desk.card)
    opened: list[str] = []
    honest = disk.open_source
    monkeypatch.setattr(disk, "open_source", lambda path: opened.append(path.name) or honest(path))
    result = desk.take(name="two")
    # desk.take looks (once) and copies (once)
    assert sorted(opened) == sorted(2 * [e.name for e in listing.taken])
    assert result.new == 5


def test_the_bag_of_an_unknown_camera_waits_in_unplaced(desk: Any) -> None:
    desk.pictures(1)
    assert desk.take(place=Placement()).bag == "unplaced/one"
    assert desk.take(place=Placement("willow-ford"), name="two").bag == "unplaced/two"


def test_what_is_safe_to_say_after_a_good_card_import(desk: Any) -> None:
    desk.pictures(2)
    desk.fill(desk.card, {"camera.log": b"?", ".DS_Store": b"?"})
    result = desk.take()
    assert result.safe_to_format
    assert result.sentence == (
        "All 2 files of the card are in the archive: 2 new, 0 kept before. "
        "Each new one was written, flushed, read back and compared. "
        "1 other file is left on the card and would be lost by formatting (such as camera.log). "
        "The card is safe to format; do that in the camera."
    )
    skipped = [(t.path, t.what) for t in result.skipped_files]
    assert skipped == [(".DS_Store", "ignored"), ("camera.log", "other")]
    assert result.as_json()["skipped"] == 2
    json.dumps(result.as_json())


def test_without_reading_back_the_sentence_says_so(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(1)
    monkeypatch.setattr(copying, "hash_open", lambda fd: pytest.fail("it was read back"))
    result = desk.take(read_back=False)
    assert not result.read_back
    assert "written and flushed, but not read back, as was chosen" in result.sentence


def test_progress_grows_to_all_bytes_and_is_told_in_the_calling_thread(desk: Any) -> None:
    import threading

    desk.pictures(50)
    told: list[tuple[int, int]] = []
    me = threading.get_ident()

    def progress(done: int, total: int) -> None:
        assert threading.get_ident() == me
        told.append((done, total))

    def already_have(sha256: str) -> None:
        assert threading.get_ident() == me

    desk.take(progress=progress, already_have=already_have)
    assert told == sorted(told)
    assert told[-1] == (100_000, 100_000)


# What a card can hold ---------------------------------------------------------------------------------------


def test_damaged_files_are_copied_and_told(desk: Any) -> None:
    good = desk.jpeg(1)
    files = {"a.jpg": good, "cut.jpg": good[:-9], "empty.jpg": b"", "void.jpg": b"", "no.jpg": b"GIF89a"}
    desk.fill(desk.card / "DCIM" / "100MEADW", files)
    result = desk.take()
    assert (result.new, result.duplicates) == (4, 1), "one empty file is as good as the other"
    assert [(t.path.split("/")[-1], t.what) for t in result.damaged] == [
        ("cut.jpg", "truncated"), ("empty.jpg", "empty"), ("no.jpg", "truncated"), ("void.jpg", "empty"),
    ]  # fmt: skip
    assert not result.safe_to_format
    assert valid(desk.bag(result))
    told = {line["card_path"].split("/")[-1]: line["told"] for line in lines(desk.bag(result) / "told.jsonl")}
    assert told["cut.jpg"] == ["truncated"]
    assert told["no.jpg"] == ["odd-name", "truncated"]
    assert told["empty.jpg"] == ["empty"]
    assert len(told) == 3
    (kept,) = lines(desk.bag(result) / "already-kept.jsonl")
    assert (kept["card_path"], kept["within"], kept["told"]) == ("DCIM/100MEADW/void.jpg", True, ["empty"])


def test_same_names_in_several_folders_are_all_kept(desk: Any) -> None:
    names = [f"DCIM/{n}MEADW/MEAD{f:04}.JPG" for n in (100, 101, 102) for f in (1, 9999)]
    desk.fill(desk.card, {name: desk.jpeg(k) for k, name in enumerate(names)})
    result = desk.take()
    assert [c.to for c in result.copies] == [f"data/{name}" for name in names]
    assert not (desk.bag(result) / "card-names.jsonl").exists()
    assert valid(desk.bag(result))


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="these disks take no such names")
def test_hostile_names_get_plain_ones_and_the_card_s_own_is_kept_in_the_bag(desk: Any) -> None:
    names = [
        b"a\nb.jpg", b"a\rb.jpg", b"50%0A.jpg", b"con.jpg", b"\xff.jpg", b" x.jpg", b"x.jpg", b"X.JPG",
        "h\u00fctte.jpg".encode(), "hu\u0308tte.jpg".encode(), b"l" * 250 + b".jpg", b"..jpg", b"-rf.jpg",
        "\u202egpj.jpg".encode(), b"q?*<>|\"\\:.jpg", b"~root.jpg", b"$(reboot).jpg",
    ]  # fmt: skip
    for number, name in enumerate(names):
        place = os.fsencode(desk.card) + b"/" + name
        Path(os.fsdecode(place)).write_bytes(desk.jpeg(number))
    result = desk.take()
    bag = desk.bag(result)
    assert (result.files, result.new) == (len(names), len(names))
    assert valid(bag)
    given = {line["card_path"]: line["path"] for line in lines(bag / "card-names.jsonl")}
    for copy in result.copies:
        assert given.get(copy.path, f"data/{copy.path}") == copy.to
        original = Path(os.fsdecode(os.fsencode(desk.card) + b"/" + os.fsencode(copy.path)))
        assert (bag / copy.to).read_bytes() == original.read_bytes()
    on_disk = [p.relative_to(bag).as_posix() for p in (bag / "data").rglob("*")]
    assert len({p.casefold() for p in on_disk}) == len(names)
    assert verify(desk.root).ok
    assert result.sentence.isprintable()


def test_a_path_deeper_than_windows_allows_is_kept(desk: Any) -> None:
    deep = "/".join(["meadow"] * 50) + "/MEAD0001.JPG"
    desk.fill(desk.card, {deep: desk.jpeg(1)})
    result = desk.take()
    assert result.copies[0].to.startswith("data/deep/")
    assert lines(desk.bag(result) / "card-names.jsonl") == [{"card_path": deep, "path": result.copies[0].to}]
    assert valid(desk.bag(result))


def test_a_sound_note_goes_with_its_picture(desk: Any) -> None:
    desk.fill(desk.card / "DCIM" / "100MEADW", {"MEAD0001.JPG": desk.jpeg(1), "MEAD0001.WAV": b"sound"})
    assert [c.path.split("/")[-1] for c in desk.take().copies] == ["MEAD0001.JPG", "MEAD0001.WAV"]


def test_twins_on_one_card_are_stored_once_and_told(desk: Any) -> None:
    desk.fill(desk.card, {"a/1.jpg": desk.jpeg(1), "b/2.jpg": desk.jpeg(1), "c/3.jpg": desk.jpeg(2)})
    result = desk.take()
    assert (result.files, result.new, result.duplicates) == (3, 2, 1)
    twin = result.twins[0]
    assert (twin.path, twin.within) == ("b/2.jpg", True)
    assert twin.where == "willow-ford/2026-spring/one/data/a/1.jpg"
    assert valid(desk.bag(result))
    assert [p.name for p in (desk.bag(result) / "data").rglob("*.jpg")].count("2.jpg") == 0


def test_a_second_card_import_of_a_card_keeps_what_is_new_and_lists_the_rest(desk: Any) -> None:
    desk.pictures(10)
    desk.take()
    desk.pictures(3, first=11)
    result = desk.take(name="two", already_have=desk.known().get)
    assert (result.files, result.new, result.duplicates) == (13, 3, 10)
    kept = lines(desk.bag(result) / "already-kept.jsonl")
    assert len(kept) == 10
    for line in kept:
        assert hash_file(desk.root / line["where"]) == (line["sha256"], line["size_bytes"])
        assert line["where"].endswith(line["card_path"])
    assert valid(desk.bag(result))
    assert result.safe_to_format


def test_nothing_new_makes_no_bag(desk: Any) -> None:
    desk.pictures(4)
    desk.take()
    result = desk.take(name="two", already_have=desk.known().get)
    assert (result.bag, result.new, result.duplicates, result.safe_to_format) == (None, 0, 4, True)
    assert not (desk.root / "willow-ford" / "2026-spring" / "two").exists()
    assert unfinished(desk.root) == []
    assert result.sentence == (
        "All 4 files of the card are in the archive: 0 new, 4 kept before. "
        "The card is safe to format; do that in the camera."
    )


@pytest.mark.parametrize("harm", ["gone", "cut", "flipped", "outside", "incoming"])
def test_an_earlier_copy_is_believed_only_when_it_is_there_and_whole(desk: Any, harm: str) -> None:
    desk.pictures(1)
    first = desk.take()
    kept = desk.bag(first) / first.copies[0].to
    known = desk.known()
    if harm == "gone":
        kept.unlink()
    elif harm == "cut":
        kept.write_bytes(kept.read_bytes()[:-1])
    elif harm == "flipped":
        content = bytearray(kept.read_bytes())
        content[100] ^= 1
        kept.write_bytes(content)
    elif harm == "outside":
        known = dict.fromkeys(known, "../card/DCIM/100MEADW/MEAD0001.JPG")
    else:
        known = dict.fromkeys(known, ".incoming/two/parts/000000")
    result = desk.take(name="two", already_have=known.get)
    assert (result.new, result.duplicates) == (1, 0)


def test_another_camera_s_files_are_copied_and_told(desk: Any) -> None:
    desk.pictures(4)

    def foreign(entry: Entry) -> bool:
        return entry.dcf_number == 3

    result = desk.take(foreign=foreign)
    assert result.new == 4
    assert [t.path for t in result.foreign_files] == ["DCIM/100MEADW/MEAD0003.JPG"]
    assert [line["told"] for line in lines(desk.bag(result) / "told.jsonl")] == [["foreign"]]


def test_a_clip_larger_than_the_buffer_is_whole(desk: Any) -> None:
    content = b"RIFF" + (3 * disk.BUFFER_BYTES + 7 - 8).to_bytes(4, "little") + b"AVI "
    content += os.urandom(3 * disk.BUFFER_BYTES + 7 - len(content))
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0001.AVI": content})
    result = desk.take()
    assert (desk.bag(result) / result.copies[0].to).read_bytes() == content
    assert result.damaged == ()


# What cannot be taken ---------------------------------------------------------------------------------------


def test_a_card_without_pictures_is_told(desk: Any) -> None:
    desk.fill(desk.card, {"readme.txt": b"?"})
    with pytest.raises(NothingFound) as refused:
        desk.take()
    assert str(refused.value) == f"No picture or clip lies below {desk.card}. Give the folder of the card."
    assert not desk.root.exists()


@pytest.mark.parametrize("name", ["", ".", "..", "../x", "a/b", ".hidden", "~x", "x" * 101, "ends.", "ü"])
def test_a_name_that_could_lead_elsewhere_is_refused(desk: Any, name: str) -> None:
    desk.pictures(1)
    with pytest.raises(WrongInput, match="1 to 100 of a-z A-Z 0-9"):
        desk.take(name=name)


@pytest.mark.parametrize(
    "slugs", [("..", "x"), ("a", "../b"), ("unplaced", "x"), ("A", "b"), ("", "b"), (None, "b"), ("a", "b\n")]
)
def test_a_place_that_could_lead_elsewhere_is_refused(slugs: tuple[str, str]) -> None:
    with pytest.raises(WrongInput):
        Placement(*slugs)


def test_a_naive_now_is_refused(desk: Any) -> None:
    desk.pictures(1)
    with pytest.raises(WrongInput, match="needed: an aware instant"):
        desk.take(now=datetime(2026, 5, 17))


def test_a_label_that_the_bag_itself_keeps_is_refused(desk: Any) -> None:
    desk.pictures(1)
    with pytest.raises(WrongInput, match="labels other than Payload-Oxum and Bagging-Date"):
        desk.take(about={"payload-oxum": "0.0"})


def test_the_archive_cannot_be_its_own_card(desk: Any) -> None:
    desk.pictures(1)
    bag = desk.bag(desk.take())
    for source in (desk.root, desk.root.parent, bag):
        with pytest.raises(WrongInput, match="a folder neither in nor around the archive"):
            desk.take(name="two", source=source)


def test_a_name_is_used_once_in_a_place(desk: Any) -> None:
    desk.pictures(1)
    desk.take()
    with pytest.raises(WrongInput, match="a new name, for willow-ford/2026-spring/one is already there"):
        desk.take()


def test_an_card_import_at_work_is_left_alone_by_a_second_process(desk: Any) -> None:
    desk.pictures(3)

    def second(sha256: str) -> None:
        with pytest.raises(SourceBusy, match="The import one is being made by another process"):
            desk.resume()

    assert desk.take(already_have=second).new == 3


# Broken off and taken up again ------------------------------------------------------------------------------


def stop_after(count: int) -> Any:
    """Asks to stop after so many files were hashed."""
    seen: list[str] = []

    def already_have(sha256: str) -> None:
        seen.append(sha256)

    return {"already_have": already_have, "stop": lambda: len(seen) >= count}


def test_a_stopped_card_import_is_resumed_and_nothing_is_taken_twice(desk: Any) -> None:
    desk.pictures(100)
    with pytest.raises(Stopped, match="What is done is kept; resume it"):
        desk.take(**stop_after(40))
    (left,) = unfinished(desk.root)
    assert (left.name, left.files, left.source, left.place) == ("one", 100, desk.card, desk.ford)
    assert 40 <= left.done < 100
    assert left.sentence == (
        f"The import one from {desk.card} is unfinished: {left.done} of 100 files are in. "
        "Put the card in again and resume it."
    )
    asked: list[str] = []
    result = desk.resume(already_have=lambda s: asked.append(s))
    assert len(asked) == 100 - left.done
    assert (result.new, result.safe_to_format) == (100, True)
    assert valid(desk.bag(result))
    assert unfinished(desk.root) == []


def test_an_unfinished_name_must_be_resumed_not_begun(desk: Any) -> None:
    desk.pictures(50)
    with pytest.raises(Stopped):
        desk.take(**stop_after(1))
    with pytest.raises(WrongInput, match="a new name, for one so named is unfinished; resume it"):
        desk.take()


def test_what_is_not_there_cannot_be_resumed(desk: Any) -> None:
    for name in ("none", "../card"):
        with pytest.raises(CardTrouble, match="There is no unfinished import of the name"):
            desk.resume(name=name)


@pytest.mark.parametrize("harm", ["flipped", "cut", "gone"])
def test_a_copy_of_the_earlier_run_that_is_not_whole_is_taken_again(desk: Any, harm: str) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    kept = sorted((desk.root / ".incoming" / "one" / "bag" / "data").rglob("*.JPG"))[7]
    content = bytearray(kept.read_bytes())
    content[50] ^= 4
    if harm == "gone":
        kept.unlink()
    else:
        kept.write_bytes(content if harm == "flipped" else content[:9])
    result = desk.resume()
    assert result.notes == ("1 earlier copies were not whole and were taken again.",)
    assert result.new == 60
    assert valid(desk.bag(result))


def test_a_torn_journal_line_is_not_believed_and_the_rest_is(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    journal = desk.root / ".incoming" / "one" / "journal.jsonl"
    whole = journal.read_bytes()
    journal.write_bytes(whole[:-30])
    (left,) = unfinished(desk.root)
    assert left.torn
    assert verify(desk.root).torn == (".incoming/one: the journal has a torn line",)
    assert left.done == whole.count(b"\n") - 1
    result = desk.resume()
    assert result.new == 60
    assert valid(desk.bag(result))


def test_a_journal_line_that_leads_elsewhere_is_not_believed(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    line = {"what": "copied", "to": "../../../../card/x", "sha256": "0" * 64, "size_bytes": 1}
    with (desk.root / ".incoming" / "one" / "journal.jsonl").open("a") as journal:
        journal.write(json.dumps(line) + "\n" + "[" * 100_000 + "\n")
    assert desk.resume().new == 60


def test_a_card_that_comes_back_at_another_place_is_resumed_from_there(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    moved = desk.card.with_name("other-reader")
    desk.card.rename(moved)
    with pytest.raises(SourceVanished, match="is not there"):
        desk.resume()
    assert desk.resume(listing=scan(moved)).new == 60


def test_another_card_in_its_place_is_noticed(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(10))
    shutil.rmtree(desk.card)
    desk.card.mkdir()
    desk.pictures(60, size_bytes=3000)
    for accept in (False, True):
        with pytest.raises(SourceChanged, match="this seems to be another card"):
            desk.resume(accept_changes=accept)


def test_a_source_that_changed_between_two_runs_is_noticed_and_can_be_accepted(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    pictures = sorted(desk.card.rglob("*.JPG"))
    old = pictures[0].read_bytes()
    pictures[0].write_bytes(desk.jpeg(1000, 5000))  # one that is in already
    pictures[-1].write_bytes(desk.jpeg(1001, 6000))  # one that is not
    pictures[-2].unlink()
    desk.pictures(1, first=2000)
    with pytest.raises(SourceChanged) as noticed:
        desk.resume()
    assert str(noticed.value) == (
        "The source has changed since the import one was begun: 2 files changed, 1 not there any more, "
        "1 new (such as DCIM/100MEADW/MEAD0001.JPG). Put in the card it was begun with, or resume with the "
        "changes accepted; no copy made so far is lost by that."
    )
    result = desk.resume(accept_changes=True)
    bag = desk.bag(result)
    assert valid(bag)
    assert (bag / "data/DCIM/100MEADW/MEAD0001.JPG").read_bytes() == old
    assert (bag / "data/DCIM/100MEADW/MEAD0001~2.JPG").read_bytes() == desk.jpeg(1000, 5000)
    assert (bag / "data/DCIM/100MEADW/MEAD0060.JPG").read_bytes() == desk.jpeg(1001, 6000)
    assert (bag / "data/DCIM/100MEADW/MEAD2000.JPG").exists()
    assert [(t.path, t.what) for t in result.lost] == [("DCIM/100MEADW/MEAD0059.JPG", "gone")]
    assert not result.safe_to_format


def test_a_card_whose_clock_zone_shifted_by_an_hour_is_still_the_same_card(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    for path in desk.card.rglob("*.JPG"):
        shifted = path.stat().st_mtime_ns + 3600 * 10**9
        os.utime(path, ns=(shifted, shifted))
    assert desk.resume().new == 60


def test_files_that_came_since_are_taken_too(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    desk.pictures(5, first=61)
    result = desk.resume()
    assert (result.new, result.safe_to_format) == (65, True)
    assert result.notes == ("5 files came to the source, or changed, after the import was begun.",)


def test_the_only_copy_left_of_a_file_is_kept_and_called_unverified(desk: Any) -> None:
    """Killed between the rename and the journal line; then the card lost the file."""
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    picture = sorted(desk.card.rglob("*.JPG"))[-1]
    content = picture.read_bytes()
    leftover = desk.root / ".incoming/one/bag/data/DCIM/100MEADW" / picture.name
    assert not leftover.exists()
    leftover.write_bytes(content)
    picture.unlink()
    result = desk.resume(accept_changes=True)
    (unverified,) = [c for c in result.copies if c.unverified]
    assert (desk.bag(result) / unverified.to).read_bytes() == content
    assert not result.safe_to_format
    assert result.sentence == (
        "Do not format this card: 1 copy is not verified (DCIM/100MEADW/MEAD0060.JPG). Import the card again."
    )
    assert valid(desk.bag(result))


def test_when_only_the_finishing_is_left_the_card_is_not_needed(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(5)
    with monkeypatch.context() as broken:
        broken.setattr(disk, "write_file", fail_on(disk.write_file, lambda path, _: path.name == "bagit.txt"))
        with pytest.raises(ArchiveUnwritable):
            desk.take()
    shutil.rmtree(desk.card)
    result = desk.resume()
    assert valid(desk.bag(result))
    assert result.new == 5


def test_a_plan_that_cannot_be_read_is_told_and_its_copies_are_left(desk: Any) -> None:
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    (desk.root / ".incoming/one/plan.json").write_text("{")
    with pytest.raises(CardTrouble, match="are untouched; move that folder aside"):
        desk.resume()
    assert list((desk.root / ".incoming/one/bag/data").rglob("*.JPG"))


# Disks that fill, fail and lie ------------------------------------------------------------------------------


def fail_on(honest: Any, when: Any, number: int = errno.EIO) -> Any:
    def wrapped(*arguments: Any) -> Any:
        if when(*arguments):
            raise OSError(number, os.strerror(number))
        return honest(*arguments)

    return wrapped


def test_a_full_disk_keeps_what_is_done_and_is_resumed(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(60)
    room = [50_000]

    def write(fd: int, data: Any) -> None:
        room[0] -= len(data)
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        honest(fd, data)

    honest = disk.write
    with monkeypatch.context() as full:
        full.setattr(disk, "write", write)
        with pytest.raises(DiskFull) as refused:
            desk.take()
    assert str(refused.value) == (
        f"No room left on the disk of {desk.root} while files were copied. What was done is kept. "
        "Make room there, then resume."
    )
    assert verify(desk.root).ok
    result = desk.resume()
    assert (result.new, result.safe_to_format) == (60, True)
    assert valid(desk.bag(result))


def test_a_disk_that_is_really_full_keeps_what_is_done(desk: Any) -> None:
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root on Linux can mount a small disk")
    desk.root.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "none", desk.root], capture_output=True, text=True)
    if made.returncode:
        pytest.skip(f"mounting is not allowed here: {made.stderr.strip()}")
    try:
        desk.pictures(60, size_bytes=200_000)
        with pytest.raises(DiskFull):
            desk.take()
        (left,) = unfinished(desk.root)
        # Of the files that fit, those of a group that was not synced yet when the disk ran full may be copied again.
        assert left.done > 0
        with pytest.raises(DiskFull):
            desk.resume()
        subprocess.run(["mount", "-o", "remount,size=32m", desk.root], check=True)
        asked: list[str] = []
        result = desk.resume(already_have=lambda s: asked.append(s))
        assert len(asked) <= 60 - left.done
        assert (result.new, result.safe_to_format) == (60, True)
        assert valid(desk.bag(result))
    finally:
        subprocess.run(["umount", desk.root], check=True)


def test_a_card_pulled_in_mid_work_is_told_and_resumed(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(80)
    pulled = desk.card.with_name("pulled")
    seen: list[str] = []

    def already_have(sha256: str) -> None:
        seen.append(sha256)
        if len(seen) == 40:
            desk.card.rename(pulled)

    with pytest.raises(SourceVanished, match=r"stopped answering .*What was done is kept\. Put the card in"):
        desk.take(already_have=already_have)
    (left,) = unfinished(desk.root)
    assert left.done >= 40
    pulled.rename(desk.card)
    result = desk.resume()
    assert (result.new, result.safe_to_format) == (80, True)
    assert valid(desk.bag(result))


def test_a_pulled_card_whose_listing_is_still_in_memory_is_told(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder can still be listed, yet no file can be read; here within the very first group."""
    desk.pictures(20)
    listing = scan(desk.card)
    opened: list[str] = []

    def dead(path: Path) -> bool:
        opened.append(path.name)
        return len(opened) > 5 + len(listing.entries)  # desk.take looks at each once first

    monkeypatch.setattr(disk, "open_source", fail_on(disk.open_source, dead))
    with pytest.raises(SourceVanished):
        desk.take()
    monkeypatch.undo()
    assert desk.resume().new == 20


def test_one_file_that_cannot_be_read_is_told_and_the_rest_is_taken(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(20)
    faulty = fail_on(disk.open_source, lambda path: path.name == "MEAD0007.JPG")
    monkeypatch.setattr(disk, "open_source", faulty)
    result = desk.take()
    assert result.new == 19
    assert [(t.path, t.what) for t in result.lost] == [("DCIM/100MEADW/MEAD0007.JPG", "unreadable")]
    assert not result.safe_to_format
    assert result.sentence.startswith("Do not format this card: 1 file could not be read (DCIM/100MEADW/MEAD0007.JPG).")
    assert valid(desk.bag(result))


def test_a_card_of_which_nothing_can_be_read_makes_no_bag(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(4)
    monkeypatch.setattr(disk, "open_source", fail_on(disk.open_source, lambda path: True))
    with pytest.raises(SourceVanished, match=r"Not one file of .* could be read"):
        desk.take()


def test_a_file_that_is_still_being_written_is_left_for_the_next_card_import(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A synced folder: the file grows while it is read."""
    desk.pictures(3)
    growing = desk.card / "DCIM/100MEADW/MEAD0002.JPG"
    honest = disk.write

    def write(fd: int, data: Any) -> None:
        honest(fd, data)
        if bytes(data) == content[0]:
            growing.write_bytes(content[0] + b"more")
            content[0] += b"more"

    content = [growing.read_bytes()]
    monkeypatch.setattr(disk, "write", write)
    result = desk.take()
    assert result.new == 2
    assert [(t.path, t.what) for t in result.lost] == [("DCIM/100MEADW/MEAD0002.JPG", "unsettled")]
    assert not result.safe_to_format


def flip_when_firm(monkeypatch: pytest.MonkeyPatch, times: int) -> None:
    """A disk that gives back another byte than it was given."""
    honest, left = disk.flush, iter(range(times))

    def flush(fd: int) -> None:  # called by several threads at once
        honest(fd)
        if os.fstat(fd).st_size == 2000 and next(left, None) is not None:
            os.pwrite(fd, bytes([os.pread(fd, 1, 1000)[0] ^ 1]), 1000)

    monkeypatch.setattr(disk, "flush", flush)


@pytest.mark.skipif(sys.platform == "win32", reason="needs pwrite")
def test_a_copy_that_reads_back_wrongly_once_is_made_again(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)
    flip_when_firm(monkeypatch, times=1)
    result = desk.take()
    assert (result.new, result.safe_to_format) == (3, True)
    assert valid(desk.bag(result))


@pytest.mark.skipif(sys.platform == "win32", reason="needs pwrite")
def test_a_disk_that_lies_twice_is_told_and_nothing_is_believed(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)
    flip_when_firm(monkeypatch, times=100)
    with pytest.raises(FileChanged, match="the disk twice gave back other bytes than were written"):
        desk.take()
    (left,) = unfinished(desk.root)
    assert left.done == 0


@pytest.mark.skipif(sys.platform == "win32", reason="needs pwrite")
def test_without_reading_back_a_lying_disk_goes_unnoticed_until_it_is_verified(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The price of the switch; and the proof that the two tests above can fail."""
    desk.pictures(3)
    flip_when_firm(monkeypatch, times=1)
    desk.take(read_back=False)
    assert len(verify(desk.root).changed) == 1


def test_a_copy_that_cannot_be_read_back_is_told(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)
    monkeypatch.setattr(copying, "hash_open", fail_on(copying.hash_open, lambda fd: True))
    with pytest.raises(FileUnreadable, match="cannot be read"):
        desk.take()


def test_a_flush_that_failed_is_not_asked_again_and_its_file_not_believed(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After one failed flush Linux may call the next one a success although the bytes are gone."""
    desk.pictures(3)
    calls: list[int] = []

    def once(fd: int) -> bool:
        if os.fstat(fd).st_size != 2000:
            return False
        calls.append(fd)
        return len(calls) == 2

    with monkeypatch.context() as failing:
        failing.setattr(disk, "flush", fail_on(disk.flush, once))
        with pytest.raises(ArchiveUnwritable):
            desk.take()
    (left,) = unfinished(desk.root)
    assert left.done == 0
    assert len(calls) == 3  # each of the three files once
    assert desk.resume().new == 3


@pytest.mark.skipif(sys.platform == "win32", reason="makes links as Unix has them")
def test_a_folder_that_became_a_link_after_the_look_is_not_followed(desk: Any, tmp_path: Path) -> None:
    desk.pictures(3)
    desk.fill(desk.card, {"other/1.jpg": desk.jpeg(77)})
    listing = scan(desk.card)
    secret = desk.fill(tmp_path / "secret", {"1.jpg": desk.jpeg(99)})
    shutil.rmtree(desk.card / "other")
    (desk.card / "other").symlink_to(secret)
    from trod.archive.card_import import import_card

    result = import_card(
        listing, desk.root, place=desk.ford, name="one", about={}, already_have=lambda s: None, now=desk.now
    )
    assert [(t.path, t.what) for t in result.lost] == [("other/1.jpg", "unreadable")]
    assert result.new == 3


def test_resume_is_a_plain_function_too(desk: Any) -> None:
    """The door that a job worker uses."""
    desk.pictures(60)
    with pytest.raises(Stopped):
        desk.take(**stop_after(40))
    assert resume(desk.root, "one", already_have=lambda s: None, recheck=False).new == 60
