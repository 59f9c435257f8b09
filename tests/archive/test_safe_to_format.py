"""Each way in which a card must not be called safe to format, and what makes it safe after all."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import Any

import pytest

from trod.archive import card, disk
from trod.archive.card import scan
from trod.archive.card_import import resume, unfinished
from trod.errors import SourceBusy, SourceVanished, TrodError

FIRST = "DCIM/100MEADW/MEAD0001.JPG"


def whats(result: Any) -> set[str]:
    return {reason["what"] for reason in result.as_json()["reasons"]}


def test_all_of_it_is_one_verdict(desk: Any) -> None:
    desk.pictures(3)
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0009.JPG": desk.jpeg(9)[:-9]})
    result = desk.take()
    found = result.as_json()
    assert (result.safe_to_format, found["safe_to_format"], whats(result)) == (False, False, {"truncated"})
    assert (
        result.sentence
        == found["sentence"]
        == (
            "Do not format this card: 1 file breaks off before its end (DCIM/100MEADW/MEAD0009.JPG). What is damaged is "
            "kept as it came; yet more of it can perhaps be recovered from the card while that is not formatted. Look at "  # noqa: E501
            "it first, then say that it may go."
        )
    )


@pytest.mark.parametrize(
    ("content", "what"),
    [(b"", "empty"), (b"\xff\xd8\xff\xe1 broken off", "truncated"), (b"\0" * 5000, "misnamed")],
)
def test_a_damaged_picture_is_kept_and_the_card_is_not_safe(desk: Any, content: bytes, what: str) -> None:
    desk.pictures(2)
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0050.JPG": content})
    result = desk.take()
    assert (result.new, whats(result)) == (3, {what})
    again = desk.take(name="two", already_have=desk.known().get)
    assert (again.bag, again.new, len(again.damaged), whats(again)) == (None, 0, 1, {what})


def failing_listing(monkeypatch: pytest.MonkeyPatch, folder: str, number: int, after: int = 0) -> None:
    """The system cannot list a folder, or only its first entries."""
    honest = os.scandir

    class Broken:
        def __init__(self, path: Any) -> None:
            self.found = honest(path)

        def __enter__(self) -> Broken:
            return self

        def __exit__(self, *_: object) -> None:
            self.found.close()

        def __iter__(self) -> Any:
            for count, item in enumerate(self.found):
                if count == after:
                    break
                yield item
            raise OSError(number, os.strerror(number))

    def listed(path: Any = ".") -> Any:
        here = str(path)
        return Broken(path) if here.endswith(folder) and "/archive/" not in here else honest(path)

    monkeypatch.setattr(os, "scandir", listed)


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO])
@pytest.mark.parametrize("after", [0, 2])
def test_a_folder_that_cannot_be_read(desk: Any, monkeypatch: pytest.MonkeyPatch, number: int, after: int) -> None:
    desk.pictures(3)
    desk.fill(desk.card, {f"DCIM/101MEADW/MEAD000{k}.JPG": desk.jpeg(100 + k) for k in range(1, 6)})
    with monkeypatch.context() as broken:
        failing_listing(broken, "101MEADW", number, after)
        result = desk.take()
    assert (result.new, whats(result)) == (3 + after, {"folder-unread"})
    assert "1 folder could not be read (DCIM/101MEADW)" in result.sentence
    again = desk.take(name="two", already_have=desk.known().get)
    assert (again.new, again.duplicates, again.safe_to_format) == (5 - after, 3 + after, True)


def test_what_a_system_keeps_for_itself_and_shows_to_nobody_is_no_reason(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.pictures(2)
    (desk.card / "System Volume Information").mkdir()
    failing_listing(monkeypatch, "System Volume Information", errno.EACCES)
    assert desk.take().safe_to_format


def test_a_file_of_another_name_that_cannot_be_read_might_be_a_picture(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.pictures(2)
    desk.fill(desk.card, {"FILE0000.CHK": desk.jpeg(7)})
    honest = disk.open_source

    def failing(path: Path) -> int:
        if path.name == "FILE0000.CHK":
            raise OSError(errno.EIO, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_source", failing)
    result = desk.take()
    assert whats(result) == {"unreadable"}
    assert [t.path for t in result.lost] == ["FILE0000.CHK"]


ODD = [
    "FILE0000.CHK", "FOUND.000/FILE0001.CHK", "DCIM/100MEADW/MEAD0007.JP_", "DCIM/100MEADW/MEAD0008",
    ".hidden.jpg", ".secret/MEAD0009.JPG", ".Trashes/501/MEAD0010.JPG", "$RECYCLE.BIN/S-1/$RABC.JPG",
    "lost+found/#12", "LOST.DIR/77", "System Volume Information/MEAD0011.JPG", ".thumbnails/12.dat", "thumbs.db",
]  # fmt: skip
if sys.platform != "win32":
    ODD.append("DCIM/100MEADW/MEAD0006.JPG ")


@pytest.mark.parametrize("path", ODD)
@pytest.mark.parametrize("inside", [True, False])
def test_a_picture_of_whatever_name_is_imported_under_that_name(desk: Any, path: str, inside: bool) -> None:
    desk.pictures(1)
    desk.fill(desk.card, {path: desk.jpeg(70)})
    from trod.archive.card_import import import_card

    result = import_card(
        scan(desk.card, inside=inside), desk.root, place=desk.ford, name="one", about={},
        already_have=lambda s: None, now=desk.now,
    )  # fmt: skip
    (copy,) = [c for c in result.copies if c.path == path]
    assert copy.kind == "picture"
    assert (desk.bag(result) / copy.to).read_bytes() == desk.jpeg(70)
    assert result.safe_to_format, result.sentence


def test_pieces_that_a_repair_left_are_kept_whatever_they_are(desk: Any) -> None:
    desk.pictures(1)
    desk.fill(desk.card, {"FOUND.000/FILE0000.CHK": b"the middle of a clip", "notes.txt": b"a note"})
    result = desk.take()
    assert [c.path for c in result.copies] == [FIRST, "FOUND.000/FILE0000.CHK"]
    assert [t.path for t in result.skipped_files] == ["notes.txt"]
    assert result.safe_to_format and "1 other file is left on the card" in result.sentence


# The card's own errors --------------------------------------------------------------------------------------


class Moody:
    """A card that gives one file wrongly a few times: `how` makes what is read, `times` readings long."""

    def __init__(self, desk: Any, monkeypatch: pytest.MonkeyPatch, name: str, how: Any, times: int) -> None:
        self.left, self.fds = times, set()
        opened, honest_open = disk.open_source, open
        mood = self

        def open_source(path: Path) -> int:
            fd = opened(path)
            if path.name == name:
                mood.fds.add(fd)
            else:
                mood.fds.discard(fd)
            return fd

        class Reader:
            def __init__(self, file: Any, fd: int) -> None:
                self.file, self.fd = file, fd

            def __enter__(self) -> Reader:
                return self

            def __exit__(self, *_: object) -> None:
                self.file.close()

            def readinto(self, buffer: Any) -> int:
                count = self.file.readinto(buffer)
                if mood.left > 0 and self.fd in mood.fds and count:
                    mood.left -= 1
                    return int(how(buffer, count))
                return int(count)

        def reading(fd: Any, *arguments: Any, **more: Any) -> Any:
            file = honest_open(fd, *arguments, **more)
            return Reader(file, fd) if isinstance(fd, int) and fd in mood.fds else file

        monkeypatch.setattr(disk, "open_source", open_source)
        from trod.archive import copying, manifest

        monkeypatch.setattr(copying, "open", reading, raising=False)
        monkeypatch.setattr(manifest, "open", reading, raising=False)


def take_with(desk: Any, **more: Any) -> Any:
    """Without the look that `desk.take` has of each file first."""
    from trod.archive.card_import import import_card

    arguments = {"place": desk.ford, "name": "one", "about": {}, "already_have": lambda s: None, "now": desk.now}
    return import_card(scan(desk.card, inside=False), desk.root, **{**arguments, **more})


def fails(buffer: Any, count: int) -> int:
    raise OSError(errno.EIO, "Input/output error")


def zeros(buffer: Any, count: int) -> int:
    buffer[:count] = bytes(count)
    return count


def test_a_read_error_that_a_second_try_mends_is_told(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(4)
    Moody(desk, monkeypatch, "MEAD0003.JPG", fails, 1)
    result = take_with(desk)
    assert (result.new, result.lost, whats(result)) == (4, (), {"read-error"})
    assert (desk.bag(result) / "data/DCIM/100MEADW/MEAD0003.JPG").read_bytes() == desk.jpeg(3)
    monkeypatch.undo()
    assert desk.take(name="two", already_have=desk.known().get).safe_to_format, "a run without errors"


def test_a_copy_that_came_out_damaged_is_read_again_and_the_better_one_kept(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first reading gives zeros, the others the picture: the card's word cannot be trusted."""
    desk.pictures(4)
    Moody(desk, monkeypatch, "MEAD0003.JPG", zeros, 1)
    result = take_with(desk)
    assert (result.damaged, whats(result)) == ((), {"unstable"})
    assert (desk.bag(result) / "data/DCIM/100MEADW/MEAD0003.JPG").read_bytes() == desk.jpeg(3)


def test_a_copy_that_is_damaged_and_cannot_be_read_again(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(2)
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0003.JPG": desk.jpeg(3)[:-9]})
    honest = disk.open_source
    opened = []

    def failing(path: Path) -> int:
        opened.append(path.name)
        if opened.count("MEAD0003.JPG") > 1 and path.name == "MEAD0003.JPG":
            raise OSError(errno.EIO, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_source", failing)
    assert whats(take_with(desk)) == {"truncated", "read-error"}


def test_a_file_that_ends_before_its_size_is_not_kept_as_if_it_were_whole(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.pictures(4)
    Moody(desk, monkeypatch, "MEAD0003.JPG", lambda buffer, count: 0, 2)
    result = take_with(desk)
    assert [(t.path, t.what) for t in result.lost] == [("DCIM/100MEADW/MEAD0003.JPG", "short-read")]
    assert "ended after 0 of 2000 bytes" in result.lost[0].sentence
    assert whats(result) == {"short-read"}


def test_a_size_that_changed_between_the_look_and_the_copying(desk: Any) -> None:
    desk.pictures(3)
    listing = scan(desk.card)
    changed = desk.card / FIRST
    before = changed.stat().st_mtime_ns
    changed.write_bytes(desk.jpeg(1, 3000))
    os.utime(changed, ns=(before, before))
    from trod.archive.card_import import import_card

    result = import_card(
        listing, desk.root, place=desk.ford, name="one", about={}, already_have=lambda s: None, now=desk.now
    )
    assert whats(result) == {"changed-size", "folder-changed"}


@pytest.mark.parametrize("how", ["came", "went", "changed"])
def test_a_list_of_files_that_changed_while_they_were_copied(desk: Any, how: str) -> None:
    """A failing table shows other names at each look. The one that went was kept before it went."""
    desk.pictures(40)

    def meddle(sha256: str) -> None:
        path = desk.card / FIRST
        if how == "came":
            desk.pictures(1, first=900)
        elif how == "went":
            path.unlink(missing_ok=True)
        else:
            os.utime(path, ns=(5 * 10**18, 5 * 10**18))

    result = desk.take(already_have=meddle)
    assert (result.new, whats(result)) == (40, {"folder-changed"})
    assert "1 file came, went or changed on it meanwhile" in result.sentence


def test_what_a_system_writes_for_itself_meanwhile_is_no_change(desk: Any) -> None:
    desk.pictures(5)

    def meddle(sha256: str) -> None:
        (desk.card / ".DS_Store").write_bytes(b"?")
        (desk.card / ".fseventsd").mkdir(exist_ok=True)
        (desk.card / ".fseventsd" / "fseventsd-uuid").write_text("?")

    assert desk.take(already_have=meddle).safe_to_format


def test_a_card_that_is_gone_before_the_last_look(desk: Any) -> None:
    desk.pictures(3)
    seen: list[str] = []

    def pull(sha256: str) -> None:
        seen.append(sha256)
        if len(seen) == 3:
            desk.card.rename(desk.card.with_name("pulled"))

    result = desk.take(already_have=pull)
    assert (result.new, whats(result)) == (3, {"not-looked-again"})


def test_a_file_system_that_stopped_taking_writes_has_met_errors(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)
    answers = iter([False, True, True])
    monkeypatch.setattr(disk, "is_read_only", lambda folder: next(answers))
    assert whats(desk.take()) == {"read-only-now"}


def test_a_card_that_was_read_only_from_the_beginning_is_fine(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(3)
    monkeypatch.setattr(disk, "is_read_only", lambda folder: True)
    assert desk.take().safe_to_format


def test_what_was_told_outlives_a_death_before_the_end(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder could not be read, then the disk was full at the finish: the verdict is the same later."""
    desk.pictures(3)
    desk.fill(desk.card, {"DCIM/101MEADW/MEAD0001.JPG": desk.jpeg(100)})
    honest = disk.rename

    def rename(old: Path, new: Path) -> None:
        if new.name == "one" and ".incoming" not in new.parts:
            raise OSError(errno.EIO, "Input/output error")
        honest(old, new)

    with monkeypatch.context() as broken:
        failing_listing(broken, "101MEADW", errno.EIO)
        broken.setattr(disk, "rename", rename)
        with pytest.raises(TrodError):
            desk.take()
    result = resume(desk.root, "one", already_have=lambda s: None)
    assert whats(result) == {"folder-unread"}


def test_a_folder_that_a_later_look_can_read_is_no_reason_any_more(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(60)
    desk.fill(desk.card, {"DCIM/101MEADW/MEAD0001.JPG": desk.jpeg(100)})
    seen: list[str] = []
    with monkeypatch.context() as broken:
        failing_listing(broken, "101MEADW", errno.EIO)
        with pytest.raises(TrodError):
            desk.take(already_have=seen.append, stop=lambda: len(seen) >= 40)
    result = desk.resume()
    assert (result.new, result.safe_to_format) == (61, True)


# A card as a spoilt table shows it, and two hands at once ---------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="Windows shows other folder numbers")
def test_a_folder_that_is_its_own_child_ends_in_words(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(2)
    (desk.card / "DCIM" / "100MEADW" / "100MEADW").mkdir()
    honest = card._identity

    def looped(folder: Path) -> tuple[int, int]:
        return honest(folder.parent if folder.name == folder.parent.name else folder)

    monkeypatch.setattr(card, "_identity", looped)
    result = desk.take()
    assert (result.new, whats(result)) == (2, {"folder-loop"})
    assert "The folder DCIM/100MEADW/100MEADW leads back into itself and was not followed." in result.notes


def test_a_card_pulled_during_the_look_is_told_and_not_taken_for_a_smaller_one(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.pictures(2)
    honest = os.scandir

    def pulling(path: Any = ".") -> Any:
        if str(path).endswith("DCIM"):
            desk.card.rename(desk.card.with_name("pulled"))
            raise OSError(errno.EIO, "Input/output error")
        return honest(path)

    monkeypatch.setattr(os, "scandir", pulling)
    with pytest.raises(SourceVanished, match="stopped answering while it was looked through"):
        scan(desk.card)


@pytest.mark.parametrize("where", ["", "DCIM", "DCIM/100MEADW"])
def test_a_card_that_is_being_imported_is_left_alone(desk: Any, where: str) -> None:
    desk.pictures(3)
    refused: list[str] = []

    def second(sha256: str) -> None:
        import threading

        def work() -> None:  # a thread of its own, as another process has its own
            with pytest.raises(SourceBusy, match="is being imported already") as told:
                desk.take(name="two", source=desk.card / where)
            refused.append(str(told.value))

        other = threading.Thread(target=work)
        other.start()
        other.join()

    assert desk.take(already_have=second).new == 3
    assert len(refused) == 3
    assert desk.take(name="three", already_have=desk.known().get).new == 0
    assert unfinished(desk.root) == [] and not list((desk.root / ".incoming").iterdir())
