"""The archive against its manifests."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from pathlib import Path
from typing import Any

import bagit
import pytest

from trod.archive import disk, papers
from trod.archive.card_import import Placement
from trod.archive.sidecar import write_sidecar
from trod.archive.verify import VerifyReport, verify
from trod.errors import Stopped, WrongInput

ONE = "willow-ford/2026-spring/one"


@pytest.fixture
def bag(desk: Any) -> Path:
    desk.pictures(6)
    kept: Path = desk.bag(desk.take())
    return kept


def picture(bag: Path, number: int) -> Path:
    return bag / "data" / "DCIM" / "100MEADW" / f"MEAD{number:04}.JPG"


def flip(path: Path, at: int) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def paths(report: VerifyReport) -> dict[str, list[str]]:
    """What a report tells, kind by kind, leaving out what is empty."""
    kinds = ("missing", "changed", "unreadable", "unexpected")
    return {kind: [d.path for d in getattr(report, kind)] for kind in kinds if getattr(report, kind)}


def test_a_whole_archive_is_told_to_be_whole(desk: Any, bag: Path) -> None:
    report = verify(desk.root)
    assert report.ok
    assert (report.bags, report.files, report.bytes) == (1, 6, 12000)
    assert report.sentence == "6 files in 1 bags looked at (every byte): all as register and manifests say."
    json.dumps(report.as_json())


def test_one_flipped_bit_is_told_as_changed(desk: Any, bag: Path) -> None:
    flip(picture(bag, 3), 1000)
    report = verify(desk.root)
    assert paths(report) == {"changed": [f"{ONE}/data/DCIM/100MEADW/MEAD0003.JPG"]}
    start = f"{ONE}/data/DCIM/100MEADW/MEAD0003.JPG: changed (2000 bytes of SHA-256 "
    assert str(report.changed[0]).startswith(start)
    assert str(report.changed[0]).endswith("…). Restore it from your backup.")
    assert report.sentence.endswith("0 missing, 1 changed, 0 unreadable, 0 unexpected.")
    with pytest.raises(bagit.BagValidationError):  # the reference library sees the same
        bagit.Bag(str(bag)).validate()


def test_a_quick_look_does_not_see_a_flipped_bit_but_a_changed_size(desk: Any, bag: Path) -> None:
    flip(picture(bag, 3), 1000)
    assert verify(desk.root, quick=True).ok
    with picture(bag, 3).open("ab") as file:
        file.write(b"!")
    report = verify(desk.root, quick=True)
    assert paths(report) == {"changed": [f"{ONE}/data"]}
    assert report.changed[0].detail == (
        "12001 bytes in 6 files, where bag-info.txt says 12000 in 6; verify this bag in full to learn which"
    )


def test_a_removed_file_is_told_as_missing_by_its_name(desk: Any, bag: Path) -> None:
    picture(bag, 2).unlink()
    for quick in (True, False):
        report = verify(desk.root, quick=quick)
        assert paths(report) == {"missing": [f"{ONE}/data/DCIM/100MEADW/MEAD0002.JPG"]}


def test_an_added_file_is_told_as_unexpected(desk: Any, bag: Path) -> None:
    (bag / "data" / "extra.jpg").write_bytes(b"?")
    (bag / "note.txt").write_bytes(b"?")
    (desk.root / "stray.txt").write_bytes(b"?")
    (desk.root / "willow-ford" / "stray.txt").write_bytes(b"?")
    (bag.parent / "stray.txt").write_bytes(b"?")
    for quick in (True, False):
        assert paths(verify(desk.root, quick=quick)) == {
            "unexpected": [
                "stray.txt", f"{ONE}/data/extra.jpg", f"{ONE}/note.txt", "willow-ford/2026-spring/stray.txt",
                "willow-ford/stray.txt",
            ]
        }  # fmt: skip


def test_a_renamed_file_is_missing_and_unexpected(desk: Any, bag: Path) -> None:
    picture(bag, 1).rename(picture(bag, 7))
    assert paths(verify(desk.root)) == {
        "missing": [f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG"],
        "unexpected": [f"{ONE}/data/DCIM/100MEADW/MEAD0007.JPG"],
    }


def test_a_file_that_the_disk_will_not_give_back_is_unreadable_not_changed(
    desk: Any, bag: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = disk.open_read

    def failing(path: Path) -> int:
        if path.name == "MEAD0004.JPG":
            raise OSError(5, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_read", failing)
    report = verify(desk.root)
    assert paths(report) == {"unreadable": [f"{ONE}/data/DCIM/100MEADW/MEAD0004.JPG"]}
    assert str(report.unreadable[0]) == (
        f"{ONE}/data/DCIM/100MEADW/MEAD0004.JPG: cannot be read (Input/output error). "
        "Copy the disk before anything else."
    )


def test_a_folder_that_cannot_be_listed_makes_its_files_unreadable_not_missing(
    desk: Any, bag: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = os.scandir

    def failing(path: Any) -> Any:
        if Path(path).name == "100MEADW":
            raise OSError(5, "Input/output error")
        return honest(path)

    monkeypatch.setattr("trod.archive.verify.os.scandir", failing)
    report = verify(desk.root)
    assert list(paths(report)) == ["unreadable"]
    assert len(report.unreadable) == 7  # the folder and its six files


def test_all_kinds_of_damage_are_gathered_and_told_once(desk: Any, bag: Path) -> None:
    flip(picture(bag, 1), 7)
    picture(bag, 2).unlink()
    (bag / "data" / "extra.jpg").write_bytes(b"?")
    flip(bag / "bag-info.txt", 3)
    report = verify(desk.root)
    assert {kind: len(found) for kind, found in paths(report).items()} == {
        "missing": 1, "changed": 2, "unexpected": 1,
    }  # fmt: skip
    changed = [d["path"] for d in report.as_json()["changed"]]
    assert changed == [f"{ONE}/bag-info.txt", f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG"]


@pytest.mark.parametrize("name", ["bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"])
def test_a_missing_paper_of_a_bag_is_told(desk: Any, bag: Path, name: str) -> None:
    (bag / name).unlink()
    assert f"{ONE}/{name}" in paths(verify(desk.root, quick=True))["missing"]


def test_a_manifest_that_was_altered_is_told_even_when_the_pictures_fit_it(desk: Any, bag: Path) -> None:
    """Somebody changed a picture and put its new checksum into the manifest."""
    flip(picture(bag, 1), 7)
    manifest = bag / "manifest-sha256.txt"
    lines = manifest.read_text().splitlines(keepends=True)
    new = hashlib.sha256(picture(bag, 1).read_bytes()).hexdigest()
    manifest.write_text(new + lines[0][64:] + "".join(lines[1:]))
    assert paths(verify(desk.root, quick=True)) == {"changed": [f"{ONE}/manifest-sha256.txt"]}


def test_a_hostile_manifest_opens_nothing_outside_its_bag(desk: Any, bag: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(b"secret")
    sha256 = hashlib.sha256(b"secret").hexdigest()
    with (bag / "manifest-sha256.txt").open("a") as manifest:
        manifest.write(f"{sha256}  ../../../../secret\n{sha256}  {tmp_path}/secret\n")
    report = verify(desk.root)
    assert paths(report) == {"changed": [f"{ONE}/manifest-sha256.txt"]}
    assert report.files == 6


@pytest.mark.skipif(sys.platform == "win32", reason="makes links as Unix has them")
def test_a_link_in_place_of_a_picture_is_told_and_not_followed(desk: Any, bag: Path, tmp_path: Path) -> None:
    (tmp_path / "same.jpg").write_bytes(picture(bag, 1).read_bytes())
    picture(bag, 1).unlink()
    picture(bag, 1).symlink_to(tmp_path / "same.jpg")
    assert paths(verify(desk.root)) == {"changed": [f"{ONE}/data/DCIM/100MEADW/MEAD0001.JPG"]}


def test_an_unfinished_import_is_told_and_is_no_damage(desk: Any, bag: Path) -> None:
    desk.pictures(60, first=100)
    asked: list[str] = []
    with pytest.raises(Stopped):
        desk.take(name="two", already_have=lambda s: asked.append(s), stop=lambda: len(asked) > 40)
    report = verify(desk.root)
    assert report.ok
    assert [u.name for u in report.unfinished] == ["two"]


def test_torn_papers_beside_the_bags_are_told(desk: Any, bag: Path) -> None:
    (bag.parent / "identifications.jsonl").write_bytes(b'{"trod": 1, "uuid": "a"}\n{"trod": 1, "uu')
    (bag.parent / "sidecar.json").write_bytes(b'{"trod": 1')
    (desk.root / "ledger.json").write_bytes(b'{"trod": 99, "kind": "ledger"}')
    report = verify(desk.root)
    put_there = ["ledger.json", "willow-ford/2026-spring/identifications.jsonl", "willow-ford/2026-spring/sidecar.json"]
    assert paths(report) == {"unexpected": put_there}  # by hand, past the register
    assert len(report.torn) == 3
    assert "identifications.jsonl: line 2 cannot be read (the last; a crash tore it)" in report.torn[2]


def test_a_bag_that_the_sidecar_knows_and_nobody_finds_is_missing(desk: Any, bag: Path) -> None:
    write_sidecar(bag.parent, {"bags": ["one", "two"]})
    assert paths(verify(desk.root)) == {"missing": ["willow-ford/2026-spring/two"]}


def test_only_a_part_of_the_archive_is_looked_at_when_asked(desk: Any, bag: Path) -> None:
    desk.take(name="two", place=Placement())
    flip(picture(bag, 1), 7)
    assert verify(desk.root, only="unplaced").ok
    assert verify(desk.root, only="unplaced").bags == 1
    assert not verify(desk.root, only=["willow-ford/2026-spring"]).ok
    with pytest.raises(WrongInput, match="needed: the path of a site, a deployment or a bag"):
        verify(desk.root, only="willow")


def test_no_archive_is_told(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="needed: the archive folder of a TROD_HOME"):
        verify(tmp_path / "none")


def test_progress_and_stop(desk: Any, bag: Path) -> None:
    told: list[tuple[int, int]] = []
    verify(desk.root, progress=lambda done, total: told.append((done, total)))
    assert told == [(2000 * n, 12000) for n in range(1, 7)]
    with pytest.raises(Stopped, match="Nothing was changed"):
        verify(desk.root, stop=lambda: True)


def test_verifying_changes_nothing(desk: Any, bag: Path) -> None:
    flip(picture(bag, 1), 7)
    before = desk.state(desk.root)
    verify(desk.root)
    assert desk.state(desk.root) == before


def test_what_a_desktop_leaves_beside_bags_is_let_be_and_in_a_bag_is_told(desk: Any, bag: Path) -> None:
    (bag.parent / ".DS_Store").write_bytes(b"?")
    assert verify(desk.root).ok
    (bag / "data" / ".DS_Store").write_bytes(b"?")
    assert paths(verify(desk.root)) == {"unexpected": [f"{ONE}/data/.DS_Store"]}


def test_a_bag_in_the_other_unicode_form_is_still_whole(desk: Any) -> None:
    """Some disks of a Mac hand names back decomposed."""
    desk.fill(desk.card, {"h\u00fctte.jpg": desk.jpeg(1)})
    bag = desk.bag(desk.take())
    (bag / "data" / "h\u00fctte.jpg").rename(bag / "data" / "hu\u0308tte.jpg")
    assert verify(desk.root).ok


def test_a_whole_bag_made_by_the_reference_library_is_whole_to_us(desk: Any) -> None:
    place = desk.root / "willow-ford" / "2026-spring" / "theirs"
    desk.fill(place, {"a/1.jpg": desk.jpeg(1), "2.jpg": desk.jpeg(2)})
    bagit.make_bag(str(place), checksums=["sha256"])
    # They declare 0.97 and manifests of SHA-256 only, which we read.
    report = verify(desk.root)
    assert not report.registered and not report.ok
    assert papers.enrol(desk.root) == 1
    report = verify(desk.root)
    assert report.ok, report
    assert report.files == 2
    shutil.rmtree(place)


def test_who_changes_a_picture_its_manifests_and_the_register_is_not_found_out(desk: Any, bag: Path) -> None:
    """What the checksums cannot do: they guard against accidents. docs/promises.md says so."""

    def tell(paper: str, name: str, changed: Path) -> None:
        sha256 = hashlib.sha256(changed.read_bytes()).hexdigest()
        lines = (bag / paper).read_text().splitlines(keepends=True)
        (bag / paper).write_text("".join(f"{sha256}  {name}\n" if line[66:-1] == name else line for line in lines))

    file = picture(bag, 3)
    flip(file, 700)
    tell("manifest-sha256.txt", file.relative_to(bag).as_posix(), file)
    assert not verify(desk.root).ok, "the tag manifest knows the other one"
    tell("tagmanifest-sha256.txt", "manifest-sha256.txt", bag / "manifest-sha256.txt")
    assert not verify(desk.root).ok, "the register knows the other tag manifest"
    papers.accept(desk.root, ONE)

    assert verify(desk.root).ok
