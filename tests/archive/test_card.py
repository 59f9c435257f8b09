"""What lies on a card.

DCF names: CIPA DC-009-2010, "Design rule for Camera File system", as told in two projector manuals and an
encyclopedia (the standard's own text was not at hand).
"""

from __future__ import annotations

import os
import struct
import sys
from pathlib import Path
from typing import Any

import pytest

from trod.archive import disk
from trod.archive.card import dcf_of, linux_mounts, mounted_cards, natural_key, scan
from trod.archive.content import Problem, kind_of
from trod.errors import CardTrouble, SourceVanished, Stopped

JPEG = b"\xff\xd8\xff\xe1" + b"x" * 500 + b"\xff\xd9"


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("DCIM/100MEADW/MEAD0001.JPG", (100, 1)),
        ("DCIM/999_____/____9999.AVI", (999, 9999)),
        ("dcim/100meadw/mead0001.jpg", (100, 1)),  # case does not count
        ("backup/DCIM/100MEADW/MEAD0001.JPG", (100, 1)),
        ("DCIM/099MEADW/MEAD0001.JPG", None),  # folders begin at 100
        ("DCIM/1000MEAD/MEAD0001.JPG", (100, 1)),  # 100, then 0MEAD
        ("DCIM/10MEADOW/MEAD0001.JPG", None),
        ("DCIM/100MEAD/MEAD0001.JPG", None),  # four letters, not five
        ("DCIM/100MEADWS/MEAD0001.JPG", None),
        ("DCIM/100ME-DW/MEAD0001.JPG", None),  # a hyphen is not among [0-9A-Z_]
        ("DCIM/100MEADW/MEAD0000.JPG", None),  # files begin at 0001
        ("DCIM/100MEADW/MEA0001.JPG", None),
        ("DCIM/100MEADW/MEAD00001.JPG", None),
        ("DCIM/100MEADW/MEAD0001.JPEG", None),
        ("DCIM/100MEADW/MEÄD0001.JPG", None),
        ("DCIM/100MEADW/MEAD٠٠٠١.JPG", None),  # other scripts' digits
        ("MEDIA/100MEADW/MEAD0001.JPG", None),
        ("100MEADW/MEAD0001.JPG", None),
    ],
)
def test_a_path_follows_dcf_or_does_not(path: str, expected: tuple[int, int] | None) -> None:
    assert dcf_of(path) == expected


def test_pictures_come_in_the_order_of_folder_and_number_and_then_the_rest(desk: Any) -> None:
    paths = [
        "DCIM/101MEADW/MEAD0001.JPG", "DCIM/100MEADW/MEAD9999.JPG", "DCIM/100MEADW/MEAD0002.JPG",
        "DCIM/100MEADW/AAAA0010.JPG", "phone/img10.jpg", "phone/img9.jpg", "DCIM/loose.jpg",
    ]  # fmt: skip
    desk.fill(desk.card, dict.fromkeys(paths, JPEG))
    assert [e.path for e in scan(desk.card).entries] == [
        "DCIM/100MEADW/MEAD0002.JPG", "DCIM/100MEADW/AAAA0010.JPG", "DCIM/100MEADW/MEAD9999.JPG",
        "DCIM/101MEADW/MEAD0001.JPG", "DCIM/loose.jpg", "phone/img9.jpg", "phone/img10.jpg",
    ]  # fmt: skip


def test_names_repeat_after_9999_and_each_is_its_own_file(desk: Any) -> None:
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0001.JPG": JPEG, "DCIM/101MEADW/MEAD0001.JPG": JPEG + b"\0"})
    assert [(e.dcf_folder, e.dcf_number) for e in scan(desk.card).entries] == [(100, 1), (101, 1)]


def test_the_dcim_folder_or_one_below_it_may_be_given_too(desk: Any) -> None:
    desk.pictures(1)
    for source in (desk.card / "DCIM", desk.card / "DCIM" / "100MEADW"):
        assert [e.dcf_number for e in scan(source).entries] == [1]


def test_files_of_one_stem_belong_together(desk: Any) -> None:
    files = {"MEAD0001.JPG": JPEG, "mead0001.WAV": b"sound", "X.WAV": b"s"}
    desk.fill(desk.card / "DCIM" / "100MEADW", files)
    taken = {e.path: e.companion for e in scan(desk.card).taken}
    assert taken == {"DCIM/100MEADW/MEAD0001.JPG": False, "DCIM/100MEADW/mead0001.WAV": True}


def test_two_folders_of_one_number_are_told_and_both_taken(desk: Any) -> None:
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0001.JPG": JPEG, "DCIM/100FORDX/FORD0001.JPG": JPEG})
    listing = scan(desk.card)
    assert listing.notes == (
        "Folder number 100 is borne by several folders: DCIM/100FORDX, DCIM/100MEADW. All are taken.",
    )
    assert all(e.problems == (Problem.FOLDER_NUMBER_TWICE,) and e.taken for e in listing.entries)


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("a/MEAD0001.JPG", "picture"),
        ("a/x.heic", "picture"),
        ("a/x.MP4", "clip"),
        ("a/x.avi", "clip"),
        ("a/camera.log", "other"),
        ("a/.jpg", "other"),  # a name without a stem has no ending
        (".DS_Store", "ignored"),
        ("a/Thumbs.db", "ignored"),
        ("a/._MEAD0001.JPG", "ignored"),
        ("System Volume Information/x.jpg", "ignored"),
        (".Trashes/501/x.jpg", "ignored"),
        ("$RECYCLE.BIN/x.jpg", "ignored"),
    ],
)
def test_the_kind_of_a_file_by_its_path(path: str, kind: str) -> None:
    assert kind_of(path) == kind


def box(name: bytes, content: bytes = b"", length: int | None = None) -> bytes:
    return struct.pack(">I", 8 + len(content) if length is None else length) + name + content


@pytest.mark.parametrize(
    ("name", "content", "problem"),
    [
        ("a.jpg", JPEG, None),
        ("a.jpg", JPEG + b"\0" * 30000, None),  # a whole cluster was written
        ("a.jpg", JPEG + b"maker's trailer", None),
        ("a.jpg", b"", Problem.EMPTY),
        ("a.jpg", JPEG[:-2], Problem.TRUNCATED),
        ("a.jpg", JPEG[:-2] + b"\0" * 30000, Problem.TRUNCATED),  # the rest of the cluster never came
        ("a.jpg", b"\0" * 5000, Problem.MISNAMED),  # the table knew the file, the bytes never came
        ("a.jpg", b"no picture", Problem.MISNAMED),
        ("a.png", b"\x89PNG\r\n\x1a\n....IEND\xaeB`\x82", None),
        ("a.png", b"\x89PNG\r\n\x1a\n....", Problem.TRUNCATED),
        ("a.avi", b"RIFF" + struct.pack("<I", 12) + b"AVI LIST....", None),
        ("a.avi", b"RIFF" + struct.pack("<I", 5000) + b"AVI LIST....", Problem.TRUNCATED),
        ("a.avi", b"RIFF" + struct.pack("<I", 4) + b"WAVE", Problem.MISNAMED),
        ("a.mp4", box(b"ftyp", b"isom") + box(b"mdat", b"x" * 90) + box(b"moov", b"y" * 9), None),
        ("a.mp4", box(b"ftyp", b"isom") + box(b"moov", b"y" * 9) + box(b"mdat", b"x", 0), None),
        ("a.mp4", box(b"ftyp", b"isom") + box(b"mdat", b"x" * 90, 5000), Problem.TRUNCATED),
        ("a.mp4", box(b"ftyp", b"isom") + box(b"mdat", b"x" * 90), Problem.TRUNCATED),  # no moov came
        ("a.mp4", b"no clip", Problem.MISNAMED),
        ("a.dng", b"II*\0....", None),
        ("a.dng", b"....", Problem.MISNAMED),
    ],
)
def test_damage_is_seen_in_the_first_and_last_bytes(
    desk: Any, name: str, content: bytes, problem: Problem | None
) -> None:
    desk.fill(desk.card, {name: content})
    assert scan(desk.card).entries[0].problems == ((problem,) if problem else ())


SEGMENTS = b"\xff\xd8\xff\xe1\0\x06\xff\xd9x!" + b"\xff\xda\0\x03." + b"coded\xff\0\xff\xd0 bytes"


@pytest.mark.parametrize(
    ("content", "broken"),
    [
        (SEGMENTS + b"\xff\xd9" + b"a clip behind the picture" * 9000, False),
        (SEGMENTS + b"\xff\xc4\0\x04\xff\xd9\xff\xda\0\x03." + b"more" * 2000 + b"\xff\xd9" + b"t" * 70000, False),
        (SEGMENTS + b"coded" * 30000, True),  # the end mark in the first segment is a small picture's
        (SEGMENTS + b"\xff\xc4\0\x04\xff\xd9" + b"\xff\xda\0\x03." + b"more" * 30000, True),
    ],
)
def test_the_end_of_a_picture_is_found_before_a_long_trailer(desk: Any, content: bytes, broken: bool) -> None:
    """Marks by ITU-T T.81 (1992), table B.1: FFD9 ends a picture, but not within a segment's own bytes."""
    desk.fill(desk.card, {"a.jpg": content})
    assert scan(desk.card).entries[0].problems == ((Problem.TRUNCATED,) if broken else ())


TS = b"".join(b"G" + bytes(187) for _ in range(4))


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (JPEG, "picture"),
        (b"\x89PNG\r\n\x1a\n....IEND\xaeB`\x82", "picture"),
        (b"II*\0\x08\0\0\0", "picture"),
        (b"MM\0*\0\0\0\x08", "picture"),
        (b"IIRO\x08\0\0\0", "picture"),
        (b"FUJIFILMCCD-RAW 0201", "picture"),
        (b"GIF89a....;", "picture"),
        (b"BM" + struct.pack("<IIII", 90, 0, 54, 40) + bytes(80), "picture"),
        (b"RIFF" + struct.pack("<I", 12) + b"WEBPVP8 ....", "picture"),
        (box(b"ftyp", b"heic\0\0\0\0mif1") + box(b"meta", b"m"), "picture"),
        (box(b"ftyp", b"crx \0\0\0\0isom") + box(b"moov", b"m"), "picture"),
        (b"RIFF" + struct.pack("<I", 12) + b"AVI LIST....", "clip"),
        (box(b"ftyp", b"isom") + box(b"moov", b"m"), "clip"),
        (box(b"wide") + box(b"mdat", b"x" * 90) + box(b"moov", b"m"), "clip"),
        (b"\x1aE\xdf\xa3\x01", "clip"),
        (b"\0\0\x01\xba....", "clip"),
        (TS, "clip"),
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "clip"),
        (b"RIFF" + struct.pack("<I", 4) + b"WAVE", "other"),
        (box(b"ftyp", b"M4A \0\0\0\0"), "other"),
        (b"The free text of a note", "other"),
        (b"BMW is a maker of cars, and this a note", "other"),
        (b"\0\x05\x16\x07\0\x02\0\0Mac OS X", "other"),
        (b"PK\x03\x04", "other"),
        (b"Good morning", "other"),
    ],
)
@pytest.mark.parametrize("name", ["FILE0000.CHK", "nothing", ".hidden", "deep/in/x.JP_"])
def test_what_a_file_without_a_telling_name_is_its_bytes_say(desk: Any, name: str, content: bytes, kind: str) -> None:
    desk.fill(desk.card, {name: content})
    for inside in (True, False):
        (entry,) = scan(desk.card, inside=inside).entries
        found = (entry.kind if entry.kind != "ignored" else "other", entry.taken)
        assert found == (kind, kind != "other")
        assert entry.problems == ((Problem.ODD_NAME,) if kind != "other" else ())


def test_a_clip_that_is_called_a_picture_is_taken_for_what_it_is(desk: Any) -> None:
    clip = b"RIFF" + struct.pack("<I", 12) + b"AVI LIST...."
    desk.fill(desk.card, {"a.jpg": clip, "b.mp4": JPEG, "c.mjpg": JPEG + JPEG})
    found = [(e.kind, e.problems) for e in scan(desk.card).entries]
    assert found == [("clip", (Problem.ODD_NAME,)), ("picture", (Problem.ODD_NAME,)), ("clip", ())]


def test_an_avi_whose_length_was_never_filled_in_breaks_off(desk: Any) -> None:
    desk.fill(desk.card, {"a.avi": b"RIFF\0\0\0\0AVI LIST" + b"x" * 5000})
    assert scan(desk.card).entries[0].problems == (Problem.TRUNCATED,)


def test_a_picture_whose_name_does_not_say_so_is_found_by_its_bytes(desk: Any) -> None:
    desk.fill(desk.card, {"FOUND.000/FILE0000.CHK": JPEG, "notes.txt": b"no picture"})
    found = {e.name: (e.kind, e.problems, e.taken) for e in scan(desk.card).entries}
    assert found == {
        "FILE0000.CHK": ("picture", (Problem.ODD_NAME,), True),
        "notes.txt": ("other", (), False),
    }


@pytest.mark.skipif(sys.platform == "win32", reason="makes links and pipes as Unix has them")
def test_links_and_pipes_are_told_and_never_followed(desk: Any, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.mkdir()
    (secret / "passport.jpg").write_bytes(JPEG)
    (desk.card / "door").symlink_to(secret, target_is_directory=True)
    (desk.card / "passport.jpg").symlink_to(secret / "passport.jpg")
    (desk.card / "loop").symlink_to(desk.card, target_is_directory=True)
    os.mkfifo(desk.card / "pipe.jpg")
    listing = scan(desk.card)
    assert {e.path: e.problems for e in listing.entries} == {
        "door": (Problem.LINK,),
        "loop": (Problem.LINK,),
        "passport.jpg": (Problem.LINK,),
        "pipe.jpg": (Problem.SPECIAL,),
    }
    assert listing.taken == ()


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="these disks take no such names")
def test_hostile_names_are_listed_as_they_are_and_told(desk: Any) -> None:
    names = [b"a\nb.jpg", b"\xff\xfe.jpg", b"con.jpg"]
    for name in names:
        Path(os.fsdecode(os.fsencode(desk.card) + b"/" + name)).write_bytes(JPEG)
    listing = scan(desk.card)
    assert sorted(os.fsencode(e.path) for e in listing.entries) == sorted(names)
    assert all(e.problems == (Problem.HOSTILE_NAME,) for e in listing.entries)


def test_a_look_leaves_the_card_as_it_was(desk: Any) -> None:
    desk.pictures(5)
    for path in desk.card.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = desk.state(desk.card)
    scan(desk.card)
    assert desk.state(desk.card) == before


@pytest.mark.skipif(sys.platform != "linux", reason="O_NOATIME is Linux's")
def test_not_even_the_time_of_reading_is_left_on_the_card(desk: Any) -> None:
    desk.pictures(1)
    picture = next(desk.card.rglob("*.JPG"))
    os.utime(picture, ns=(10**18, 2 * 10**18))  # read before written: even `relatime` would note a reading
    scan(desk.card)
    assert picture.stat().st_atime_ns == 10**18


def test_a_file_that_cannot_be_read_is_told_and_the_others_are_listed(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.pictures(2)
    honest = disk.open_source

    def failing(path: Path) -> int:
        if path.name == "MEAD0002.JPG":
            raise OSError(5, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_source", failing)
    assert [e.problems for e in scan(desk.card).entries] == [(), (Problem.UNREADABLE,)]


def test_a_card_that_is_pulled_while_it_is_looked_through_is_told(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)

    def failing(path: Path) -> int:
        desk.card.rename(desk.card.with_name("pulled"))
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(disk, "open_source", failing)
    with pytest.raises(SourceVanished, match="stopped answering while it was looked through"):
        scan(desk.card)


def test_a_source_that_is_no_folder_is_refused_with_the_next_step(tmp_path: Path) -> None:
    with pytest.raises(CardTrouble) as refused:
        scan(tmp_path / "nothing")
    assert str(refused.value) == (
        f"{tmp_path / 'nothing'} is not a folder that can be read. Give the folder of a plugged-in card."
    )


def test_a_look_can_be_stopped(desk: Any) -> None:
    desk.pictures(1)
    with pytest.raises(Stopped):
        scan(desk.card, stop=lambda: True)


def test_ten_comes_after_nine() -> None:
    assert sorted(["a10b2", "a9", "A10b1"], key=natural_key) == ["a9", "A10b1", "a10b2"]


MOUNTS = rb"""/dev/vda / ext4 rw 0 0
proc /proc proc rw 0 0
/dev/sdb1 /media/ada/NO\040NAME vfat ro 0 0
/dev/sdc1 /run/media/ada/CARD\134x exfat rw 0 0
/dev/mmcblk0p1 /srv/reader vfat rw 0 0
/dev/sdd1 /home ext4 rw 0 0
tmpfs /mnt tmpfs rw 0 0
"""


def test_cards_are_found_among_what_linux_has_mounted() -> None:
    removable = {"/dev/mmcblk0p1"}
    assert linux_mounts(MOUNTS, removable.__contains__) == [
        "/media/ada/NO NAME", "/run/media/ada/CARD\\x", "/srv/reader", "/mnt",
    ]  # fmt: skip


def test_further_cards_may_be_named_in_the_environment(tmp_path: Path, desk: Any) -> None:
    desk.pictures(1)
    (tmp_path / "stick").mkdir()
    roots = os.pathsep.join(str(p) for p in (tmp_path / "stick", desk.card, tmp_path / "absent"))
    found = [c for c in mounted_cards({"TROD_CARD_ROOTS": roots}) if tmp_path in c.path.parents]
    assert [(c.label, c.has_dcim) for c in found] == [("card", True), ("stick", False)]
    assert all(c.total_bytes > 0 for c in found)
