"""The plain JSON beside the pictures."""

from __future__ import annotations

import json
import os
import shutil
import signal
import threading
from pathlib import Path
from typing import Any

import bagit
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trod.archive import disk, papers
from trod.archive.card_import import Placement
from trod.archive.sidecar import (
    append_identification,
    append_identifications,
    archive_id,
    lock,
    move_bag,
    read_identifications,
    read_ledger,
    read_sidecar,
    update_sidecar,
    walk,
    write_ledger,
    write_sidecar,
)
from trod.archive.verify import verify
from trod.errors import ArchiveUnwritable, CatalogueTrouble, PaperDamaged, WrongInput


def test_what_is_written_is_read_and_the_file_says_its_format(tmp_path: Path) -> None:
    assert read_ledger(tmp_path) is None
    ledger = {"sites": [{"slug": "willow-ford", "name": "Willow Ford", "täst": "\udcff"}]}
    write_ledger(tmp_path, ledger)
    assert read_ledger(tmp_path) == ledger
    assert (tmp_path / "ledger.json").read_bytes().startswith(b'{\n "trod": 1,\n "kind": "ledger",')


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The folder of a deployment in an archive that holds nothing yet."""
    place = tmp_path / "archive" / "willow-ford" / "2026-spring"
    place.mkdir(parents=True)
    return place


def test_a_sidecar_keeps_the_fields_that_its_writer_does_not_know(folder: Path) -> None:
    write_sidecar(folder, {"bags": ["one"], "moves": [{"bag": "one"}], "deployment": {"start": "x"}})
    write_sidecar(folder, {"deployment": {"start": "y"}})
    kept = {"bags": ["one"], "moves": [{"bag": "one"}]}
    assert read_sidecar(folder) == {**kept, "deployment": {"start": "y"}}
    update_sidecar(folder, lambda old: {**old, "bags": []})
    assert (read_sidecar(folder) or {})["bags"] == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"{", "is not a deployment as Trod writes it"),
        (b"[]", "is not a deployment as Trod writes it"),
        (b"[" * 100_000, "is not a deployment as Trod writes it"),
        (b"\xff\xfe", "is not a deployment as Trod writes it"),
        (
            b'{"trod": 2, "kind": "deployment"}',
            "is of format 2, written by a newer Trod; this Trod reads up to format 1. ",
        ),
        (b'{"trod": 1, "kind": "ledger"}', "holds a ledger; a deployment is needed. Take it from"),
    ],
)
def test_a_sidecar_that_cannot_be_used_is_told(folder: Path, content: bytes, words: str) -> None:
    (folder / "sidecar.json").write_bytes(content)
    with pytest.raises(CatalogueTrouble) as refused:
        read_sidecar(folder)
    assert words in str(refused.value)


def test_a_crash_in_writing_leaves_the_old_state_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_ledger(tmp_path, {"state": "old"})
    for step in ("create", "write", "flush", "rename"):
        with monkeypatch.context() as broken:
            broken.setattr(disk, step, failing)
            with pytest.raises(ArchiveUnwritable):
                write_ledger(tmp_path, {"state": "new"})
        assert read_ledger(tmp_path) == {"state": "old"}
    write_ledger(tmp_path, {"state": "new"})
    assert read_ledger(tmp_path) == {"state": "new"}


def failing(*_: object) -> None:
    raise OSError(5, "Input/output error")


# Words ------------------------------------------------------------------------------------------------------


def test_words_come_back_in_the_order_in_which_they_were_said(folder: Path) -> None:
    append_identification(folder, {"uuid": "1", "who": "Ada"})
    append_identifications(folder, [{"uuid": "2"}, {"uuid": "3", "note": "line\nend"}])
    append_identifications(folder, [])
    words = read_identifications(folder)
    assert words.lines == ({"uuid": "1", "who": "Ada"}, {"uuid": "2"}, {"uuid": "3", "note": "line\nend"})
    assert words.torn == ()
    assert (folder / "identifications.jsonl").read_bytes().count(b"\n") == 3


def test_a_word_is_firm_before_the_call_returns(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append_identification(folder, {"uuid": "1"})
    flushed: list[tuple[int, int]] = []
    monkeypatch.setattr(disk, "flush", lambda fd: flushed.append((os.fstat(fd).st_ino, os.fstat(fd).st_size)))
    append_identification(folder, {"uuid": "2"})
    root = folder.parents[1]
    # Two small flushes more than the word's own: the register is told of it before it is there.
    written = [root / "register.jsonl", root / "register-twin.jsonl", folder / "identifications.jsonl"]
    assert flushed == [(path.stat().st_ino, path.stat().st_size) for path in written]


@pytest.mark.parametrize("registered", [True, False])
def test_wherever_the_last_line_is_torn_all_whole_ones_stay_and_the_next_word_follows(
    folder: Path, monkeypatch: pytest.MonkeyPatch, registered: bool
) -> None:
    root, path = folder.parents[1], folder / "identifications.jsonl"
    first = b'{"trod": 1, "uuid": "1"}\n'
    last = json.dumps({"trod": 1, "uuid": "2", "note": "größer"}).encode() + b"\n"
    real = disk.append
    for cut in range(len(last)):
        shutil.rmtree(root)
        folder.mkdir(parents=True)
        if not registered:
            path.write_bytes(first)
        else:
            append_identification(folder, {"uuid": "1"})

        def torn(at: Path, data: bytes, cut: int = cut) -> None:
            if at != path:
                real(at, data)
                return
            real(at, data[:cut])
            raise OSError(5, "Input/output error")

        with monkeypatch.context() as dying:
            dying.setattr(disk, "append", torn)
            with pytest.raises(ArchiveUnwritable):
                append_identification(folder, {"uuid": "2", "note": "größer"})
        assert path.read_bytes() == first + last[:cut]
        before = read_identifications(folder)
        complete = cut == len(last) - 1  # only the line end is lacking: the word is whole
        expected = [{"uuid": "1"}, {"uuid": "2", "note": "größer"}] if complete else [{"uuid": "1"}]
        assert list(before.lines) == expected
        assert bool(before.torn) == (0 < cut < len(last) - 1)
        append_identification(folder, {"uuid": "3"})
        after = read_identifications(folder)
        assert list(after.lines) == [*expected, {"uuid": "3"}]
        assert after.torn == ()
        if cut > 0 and not complete:
            assert (folder / "identifications.torn").read_bytes() == last[:cut] + b"\n"
        append_identification(folder, {"uuid": "4"})
        assert verify(root).whole
        assert verify(root).registered is registered
        assert (archive_id(root) is not None) is registered


def test_a_spoiled_line_in_the_middle_is_told_and_nothing_is_written_behind_it(folder: Path) -> None:
    append_identifications(folder, [{"uuid": "1"}, {"uuid": "2"}])
    path = folder / "identifications.jsonl"
    spoiled = path.read_bytes().replace(b'"uuid": "1"}', b'"uuid": "1"\xff')
    path.write_bytes(spoiled)
    words = read_identifications(folder)
    assert words.lines == ({"uuid": "2"},)
    assert words.torn == ("identifications.jsonl: line 1 cannot be read",)
    papers.forget()  # as in a new process
    with pytest.raises(PaperDamaged, match="its lines are not those that the register tells of, so nothing"):
        append_identification(folder, {"uuid": "3"})
    assert path.read_bytes() == spoiled


def test_a_word_is_not_appended_to_a_file_that_was_cut(folder: Path) -> None:
    append_identifications(folder, [{"uuid": "1"}, {"uuid": "2"}])
    path = folder / "identifications.jsonl"
    path.write_bytes(path.read_bytes().splitlines(keepends=True)[0])
    with pytest.raises(PaperDamaged, match="it has 25 bytes where the register says 50"):
        append_identification(folder, {"uuid": "3"})


def test_words_of_a_newer_format_are_told_and_not_misread(folder: Path) -> None:
    (folder / "identifications.jsonl").write_bytes(b'{"trod": 2, "uuid": "1"}\n')
    assert read_identifications(folder).lines == ()
    assert read_identifications(folder).torn == (
        "identifications.jsonl: line 1 is of format 2, written by a newer Trod; this Trod reads up to format 1. "
        "Nothing was changed. Use the newer Trod for it (pip install --upgrade trod).",
    )


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@settings(max_examples=40)
@given(st.dictionaries(st.text('abc\n"{}ä', min_size=1, max_size=5), json_values, max_size=4))
def test_no_true_beginning_of_a_line_passes_for_a_word(identification: dict[str, Any]) -> None:
    from trod.archive.sidecar import _word

    line = json.dumps({"trod": 1, **identification}).encode()
    assert _word(line) == {"trod": 1, **identification}
    assert all(_word(line[:cut]) is None for cut in range(len(line)))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork, so not on Windows")
def test_many_processes_append_and_no_word_is_lost_or_mixed(folder: Path) -> None:
    children = []
    for who in range(4):
        child = os.fork()
        if child == 0:
            try:
                for number in range(25):
                    append_identification(folder, {"uuid": f"{who}-{number}", "pad": "x" * 3000})
                os._exit(0)
            except BaseException:
                os._exit(1)
        children.append(child)
    for child in children:
        assert os.waitpid(child, 0)[1] == 0
    words = read_identifications(folder)
    assert words.torn == ()
    assert {w["uuid"] for w in words.lines} == {f"{who}-{number}" for who in range(4) for number in range(25)}
    for who in range(4):  # each one's words in the order in which they were said
        mine = [w["uuid"] for w in words.lines if w["uuid"].startswith(f"{who}-")]
        assert mine == [f"{who}-{number}" for number in range(25)]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork, so not on Windows")
def test_a_lock_dies_with_its_holder(tmp_path: Path) -> None:
    ready, tell = os.pipe()
    child = os.fork()
    if child == 0:
        with lock(tmp_path):
            os.write(tell, b"x")
            signal.pause()
    os.read(ready, 1)
    with pytest.raises(TimeoutError), lock(tmp_path, wait_s=0.1):
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with lock(tmp_path, wait_s=5):
        pass


def test_threads_of_one_process_wait_for_each_other_too(folder: Path) -> None:
    def count_up() -> None:
        for _ in range(20):
            update_sidecar(folder, lambda old: {"count": old.get("count", 0) + 1})

    threads = [threading.Thread(target=count_up) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert read_sidecar(folder) == {"count": 80}


# Walking and moving -----------------------------------------------------------------------------------------


def test_a_walk_finds_all_that_a_catalogue_is_rebuilt_from(desk: Any) -> None:
    twin = desk.jpeg(1)
    desk.fill(desk.card, {"DCIM/100MEADW/MEAD0001.JPG": twin, "con.jpg": desk.jpeg(2), "x/t.jpg": twin})
    result = desk.take()
    write_sidecar(desk.bag(result).parent, {"deployment": {"start": "2026-03-01"}})
    append_identification(desk.bag(result).parent, {"uuid": "w1"})
    desk.take(name="stray", place=Placement())
    first, second = walk(desk.root)
    assert (first.site_slug, first.deployment_slug) == ("willow-ford", "2026-spring")
    assert first.sidecar == {"deployment": {"start": "2026-03-01"}}
    assert first.words == ({"uuid": "w1"},)
    (bag,) = first.bags
    assert (bag.name, bag.path) == ("one", "willow-ford/2026-spring/one")
    assert dict(bag.about)["Payload-Oxum"] == "4000.2"
    assert {(f.path, f.sha256, f.size_bytes) for f in bag.files} == {
        (c.to, c.sha256, c.size_bytes) for c in result.copies
    }
    assert bag.card_names == {"data/_con.jpg": "con.jpg"}
    assert [line["card_path"] for line in bag.kept_before] == ["x/t.jpg"]
    assert [line["told"] for line in bag.told] == [["hostile-name"]]
    assert (second.site_slug, second.deployment_slug, second.sidecar) == (None, None, None)
    assert [b.name for b in second.bags] == ["stray"]


def test_a_walk_tells_of_damage_and_goes_on(desk: Any) -> None:
    desk.pictures(2)
    bag = desk.bag(desk.take())
    (bag / "data/DCIM/100MEADW/MEAD0001.JPG").unlink()
    (bag.parent / "sidecar.json").write_text("{")
    (bag.parent / "identifications.jsonl").write_text('{"trod": 1}\n{')
    (bag.parent / "two").mkdir()
    (folder,) = walk(desk.root)
    assert [f.size_bytes for f in folder.bags[0].files] == [None, 2000]
    assert len(folder.torn) == 3
    assert folder.words == ({},)


def test_a_bag_without_a_deployment_is_moved_to_one_whole(desk: Any) -> None:
    desk.pictures(3)
    result = desk.take(place=Placement())
    before = {p.name: p.read_bytes() for p in desk.bag(result).iterdir() if p.is_file()}
    new = move_bag(desk.root, "unplaced/one", desk.ford, now=desk.now)
    assert new == "willow-ford/2026-spring/one"
    bag = desk.root / new
    bagit.Bag(str(bag)).validate()
    assert {p.name: p.read_bytes() for p in bag.iterdir() if p.is_file()} == before
    assert read_sidecar(bag.parent) == {
        "bags": ["one"],
        "moves": [{"bag": "one", "from": "unplaced/one", "to": new, "at": "2026-05-17T12:00:00+00:00"}],
    }
    assert verify(desk.root).ok


def test_a_bag_moved_from_the_wrong_deployment_leaves_it(desk: Any) -> None:
    desk.pictures(1)
    bag = desk.bag(desk.take())
    write_sidecar(bag.parent, {"bags": ["one"]})
    move_bag(desk.root, "willow-ford/2026-spring/one", Placement("salt-lick", "2026-a"), now=desk.now)
    assert (read_sidecar(bag.parent) or {})["bags"] == []
    assert (read_sidecar(desk.root / "salt-lick" / "2026-a") or {})["bags"] == ["one"]
    assert verify(desk.root).ok


def test_a_move_that_was_broken_off_is_finished_by_asking_again(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.pictures(1)
    desk.take(place=Placement())
    with monkeypatch.context() as broken:
        broken.setattr("trod.archive.sidecar.update_sidecar", failing)
        with pytest.raises(OSError):
            move_bag(desk.root, "unplaced/one", desk.ford, now=desk.now)
    for _ in range(2):
        move_bag(desk.root, "unplaced/one", desk.ford, now=desk.now)
        assert len((read_sidecar(desk.root / "willow-ford" / "2026-spring") or {})["moves"]) == 1


@pytest.mark.parametrize("bag", ["unplaced/no", "../card/DCIM", ".incoming/one", "unplaced", "a/b/c/d", ""])
def test_what_is_no_bag_is_not_moved(desk: Any, bag: str) -> None:
    desk.pictures(1)
    desk.take()
    with pytest.raises(WrongInput):
        move_bag(desk.root, bag, desk.ford, now=desk.now)


def test_a_bag_does_not_move_onto_another(desk: Any) -> None:
    desk.pictures(1)
    desk.take()
    desk.take(place=Placement())
    with pytest.raises(WrongInput, match="needed: a place without a bag of that name"):
        move_bag(desk.root, "unplaced/one", desk.ford, now=desk.now)
