"""An archive of another format: a newer one is refused by name, an older one is brought up to today's in place.

No older format was ever released, so one is invented here: format 0 called sites `stations` and the person `who`.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from trod.archive import backup, fieldnotes, formats, papers, register, sidecar, upgrade
from trod.archive.verify import verify
from trod.errors import CardTrouble, CatalogueTrouble, DiskFull, NewerFormat, OlderFormat, PaperDamaged, Stopped

from .test_register import NOTE, arm, needs_fork

NOW = datetime(2026, 5, 17, 12, tzinfo=UTC)
FORD = "willow-ford/2026-spring"
OLD_LEDGER = {"stations": [{"slug": "willow-ford"}, {"slug": "alder-track"}], "deleted": []}
NEW_LEDGER = {"sites": [{"slug": "willow-ford"}, {"slug": "alder-track"}], "deleted": []}


def renamed(fields: dict[str, Any], old: str, new: str) -> dict[str, Any]:
    return {new if name == old else name: value for name, value in fields.items()}


STEP = formats.Step(
    paper=lambda kind, fields: renamed(fields, "stations", "sites") if kind == "ledger" else {**fields, "lifted": kind},
    line=lambda fields: renamed(fields, "who", "by"),
)


@contextmanager
def trod_of(number: int, monkeypatch: pytest.MonkeyPatch, **steps: Any) -> Iterator[None]:
    """What a Trod does that writes this format."""
    papers.forget()
    with monkeypatch.context() as patch:
        patch.setattr(formats, "FORMAT", number)
        patch.setattr(formats, "STEPS", steps.get("steps", {}))
        yield
    papers.forget()


@pytest.fixture
def root(desk: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An archive as a Trod of format 0 left it."""
    with trod_of(0, monkeypatch):
        desk.pictures(1)
        desk.take("one")
        sidecar.write_ledger(desk.root, OLD_LEDGER)
        sidecar.write_private(desk.root, {"locks": [{"uuid": "1", "key_number": "K 27"}]})
        sidecar.write_sidecar(desk.root / FORD, {"deployment": {"slug": "2026-spring"}, "bags": ["one"]})
        sidecar.append_identifications(desk.root / FORD, [{"uuid": "1", "who": "Ilka"}, {"uuid": "2", "who": "Suri"}])
        fieldnotes.write(desk.root, NOTE, {"visit": NOTE})
        assert verify(desk.root).ok
    monkeypatch.setattr(formats, "STEPS", {0: STEP})
    found: Path = desk.root
    return found


def old_papers(root: Path) -> dict[str, bytes]:
    return {p: papers.bytes_of(root, p) or b"" for p in papers.all_papers(root) if p.endswith(".json")}


def numbers(root: Path) -> set[int]:
    """The number of every paper that is written whole, and of the register's head."""
    whole = {json.loads(data)["trod"] for path, data in old_papers(root).items() if not path.startswith(".earlier/")}
    return whole | {json.loads((root / name).read_bytes().split(b"\n")[0])["trod"] for name in register.TWINS}


def is_upgraded(root: Path, old: dict[str, bytes]) -> None:
    """Every paper in today's format, and in its copy as it was, byte for byte."""
    assert numbers(root) == {1}
    assert sidecar.read_ledger(root) == NEW_LEDGER
    assert (sidecar.read_sidecar(root / FORD) or {})["lifted"] == "deployment"
    assert (fieldnotes.read(root, NOTE) or {}) == {"visit": NOTE, "lifted": "field-note"}
    for path, data in old.items():
        assert (root / ".earlier/format-0" / path).read_bytes() == data
    report = verify(root)
    assert report.ok and not report.begun, report


# A newer one ------------------------------------------------------------------------------------------------


def test_an_archive_of_a_newer_format_is_refused_by_name_and_not_touched(
    desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with trod_of(2, monkeypatch):
        desk.pictures(1)
        desk.take("one")
        sidecar.write_ledger(desk.root, NEW_LEDGER)
    before = desk.state(desk.root)
    copy = tmp_path / "copy"
    refused = r"The archive is of format 2, written by a newer Trod; this Trod reads up to format 1\. Nothing was"
    for attempt in (
        lambda: verify(desk.root),
        lambda: upgrade.upgrade(desk.root),
        lambda: papers.enrol(desk.root, renew=True),  # it would write another register over the newer one
        lambda: papers.kept_states(desk.root),
        lambda: backup.backup(desk.root, copy, now=NOW),
        lambda: backup.restore(desk.root, copy),
        lambda: backup.backup(_other(tmp_path), desk.root, now=NOW),
        lambda: sidecar.write_ledger(desk.root, NEW_LEDGER),
        lambda: sidecar.append_identification(desk.root / FORD, {"uuid": "1"}),
        lambda: desk.take("two", already_have=lambda s: None),
    ):
        with pytest.raises(NewerFormat, match=refused):
            attempt()
    assert not copy.exists()
    after = {path: what[2] for path, what in desk.state(desk.root).items() if what[2] and ".lock" not in path}
    assert after == {path: what[2] for path, what in before.items() if what[2] and ".lock" not in path}


def _other(tmp_path: Path) -> Path:
    sidecar.write_ledger(tmp_path / "other", NEW_LEDGER)
    return tmp_path / "other"


def test_without_a_register_the_ledger_tells_the_format(desk: Any) -> None:
    desk.root.mkdir()
    assert upgrade.format_of(desk.root) is None
    (desk.root / "ledger.json").write_bytes(b'{"trod": 3, "kind": "ledger"}')
    with pytest.raises(NewerFormat, match="is of format 3"):
        verify(desk.root)


def test_a_flipped_bit_makes_no_newer_archive(desk: Any) -> None:
    """A 1 is one bit from a 9: the register's own checksum tells the one from the other."""
    sidecar.write_ledger(desk.root, NEW_LEDGER)
    for name, old, new in (
        (register.REGISTER, b'"trod":1', b'"trod":9'),
        ("ledger.json", b'"trod": 1', b'"trod": 9'),
    ):
        whole = (desk.root / name).read_bytes()
        assert whole.count(old) == 1
        (desk.root / name).write_bytes(whole.replace(old, new))
        assert name in [d.path for d in verify(desk.root).changed]
        (desk.root / name).write_bytes(whole)


# An older one -----------------------------------------------------------------------------------------------


def test_a_format_that_nothing_lifts_is_refused_by_name(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formats, "STEPS", {})
    with pytest.raises(OlderFormat, match="is of format 0; this Trod reads format 1 alone"):
        upgrade.upgrade(root)
    monkeypatch.setattr(formats, "FORMAT", 3)
    monkeypatch.setattr(formats, "STEPS", {1: STEP, 2: STEP})
    with pytest.raises(OlderFormat, match="this Trod reads formats 1 to 3"):
        verify(root)


def test_what_is_older_is_read_in_todays_words_and_nothing_is_written(root: Path) -> None:
    old = old_papers(root)
    assert sidecar.read_ledger(root) == NEW_LEDGER
    found = sidecar.read_identifications(root / FORD)
    assert found.lines == ({"uuid": "1", "by": "Ilka"}, {"uuid": "2", "by": "Suri"}) and not found.torn
    assert verify(root).ok
    assert old_papers(root) == old and numbers(root) == {0}


def test_an_older_archive_is_brought_up_in_place_and_its_old_papers_are_kept(root: Path) -> None:
    old, lines = old_papers(root), (root / FORD / "identifications.jsonl").read_bytes()
    identity = papers.archive_id(root)
    done = upgrade.upgrade(root)
    assert done is not None
    assert set(done.papers) == set(old) and len(old) == 4
    assert done.sentence == (
        "The archive was brought up to format 1: 4 papers were written anew. As they were before they are kept in "
        ".earlier/format-0 of the archive."
    )
    is_upgraded(root, old)
    assert papers.archive_id(root) == identity
    assert (root / FORD / "identifications.jsonl").read_bytes() == lines  # what was said is never changed
    assert upgrade.upgrade(root) is None
    sidecar.append_identification(root / FORD, {"uuid": "3", "by": "Tobin"})
    assert [line["by"] for line in sidecar.read_identifications(root / FORD).lines] == ["Ilka", "Suri", "Tobin"]


def test_several_formats_are_crossed_one_by_one(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    last = formats.Step(
        paper=lambda kind, fields: {**fields, "seen": "sites" in fields}, line=lambda fields: {**fields, "seen": True}
    )
    monkeypatch.setattr(formats, "STEPS", {0: STEP, 1: last})
    monkeypatch.setattr(formats, "FORMAT", 2)
    assert upgrade.upgrade(root) is not None
    assert sidecar.read_ledger(root) == {**NEW_LEDGER, "seen": True}
    assert sidecar.read_identifications(root / FORD).lines[0] == {"uuid": "1", "by": "Ilka", "seen": True}
    assert numbers(root) == {2}


def test_a_paper_that_is_not_as_the_register_says_stops_it_before_anything_is_changed(root: Path) -> None:
    path = root / FORD / "sidecar.json"
    path.write_bytes(path.read_bytes().replace(b"2026-spring", b"2026-sprung"))
    old = old_papers(root)
    with pytest.raises(PaperDamaged, match=r"sidecar\.json: it is not as the register says.*trod verify --accept"):
        upgrade.upgrade(root)
    assert old_papers(root) == old and numbers(root) == {0}
    papers.accept(root, f"{FORD}/sidecar.json")
    assert upgrade.upgrade(root) is not None


def test_an_earlier_state_that_is_brought_back_is_lifted_again_and_both_copies_stay(root: Path) -> None:
    upgrade.upgrade(root)
    old_state = papers.kept_states(root)["ledger.json"][0].name
    first = (root / ".earlier/format-0/ledger.json").read_bytes()
    second = first.replace(b"alder-track", b"salt-lick")
    papers.bring_back(root, old_state)
    assert upgrade.upgrade(root) is not None
    assert not (root / ".earlier/format-0-2").exists()  # the same bytes need no second copy
    papers.put(root, "ledger.json", second, kind="ledger")
    done = upgrade.upgrade(root)
    assert done is not None and done.kept == (".earlier/format-0-2/ledger.json",)
    assert (root / ".earlier/format-0/ledger.json").read_bytes() == first
    assert (root / ".earlier/format-0-2/ledger.json").read_bytes() == second
    assert verify(root).ok


def test_where_numbers_of_locks_are_to_be_read_no_more_the_copy_goes_too(root: Path) -> None:
    upgrade.upgrade(root)
    assert papers.forget_kept(root, "private.json") == 2  # the kept state and the copy
    assert not list((root / ".earlier").rglob("private.json"))
    assert sidecar.read_private(root) is not None
    assert verify(root).ok


def test_a_backup_of_an_older_archive_is_older_too_and_becomes_newer_with_it(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "copy"
    assert backup.backup(root, copy, now=NOW).ok
    assert numbers(copy) == {0}
    with trod_of(0, monkeypatch):
        assert verify(copy).ok  # the older Trod can still use it
    upgrade.upgrade(root)
    report = backup.backup(root, copy, now=NOW)
    assert report.ok and not report.fewer, report.fewer  # `stations` are no records lost
    assert numbers(copy) == {1}
    assert verify(copy).ok


def test_what_comes_back_from_an_older_backup_is_lifted_at_the_next_upgrade(root: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    backup.backup(root, copy, now=NOW)
    shutil.rmtree(root)
    papers.forget()
    assert backup.restore(copy, root).ok
    old = old_papers(root)
    assert upgrade.upgrade(root) is not None
    is_upgraded(root, old)


def test_an_unfinished_import_of_an_older_format_is_told_and_its_copies_stay(
    desk: Any, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with trod_of(0, monkeypatch):
        desk.pictures(70, first=100)
        asked: list[str] = []
        with pytest.raises(Stopped):
            desk.take("two", already_have=lambda s: asked.append(s), stop=lambda: len(asked) > 40)
    upgrade.upgrade(root)
    copies = desk.state(root / ".incoming/two")
    assert len(copies) > 30
    with pytest.raises(CardTrouble, match=r"two cannot be used \(of another format\).*then import the card again"):
        desk.resume("two")
    assert {p: s for p, s in desk.state(root / ".incoming/two").items() if s[2]} == {
        p: s for p, s in copies.items() if s[2]
    }


@needs_fork
def test_killed_at_each_step_in_turn_an_upgrade_loses_nothing_and_is_ended_by_the_next(root: Path) -> None:
    saved, old = root.with_name("saved"), old_papers(root)
    shutil.copytree(root, saved)
    half = 0
    for at in range(1, 600):
        child = os.fork()
        if child == 0:
            arm(at)
            try:
                upgrade.upgrade(root)
                os._exit(0)
            except BaseException:
                os._exit(1)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            assert os.WEXITSTATUS(status) == 0, "the upgrade itself failed"
            break
        papers.forget()
        assert verify(root).whole, at
        assert sidecar.read_ledger(root) == NEW_LEDGER, at  # whichever of the two lies there
        kept = root / ".earlier/format-0"
        for path, data in old.items():
            assert data in [p.read_bytes() for p in (root / path, kept / path) if p.exists()], (at, path)
        half += numbers(root) == {0, 1}
        upgrade.upgrade(root)
        papers.forget()
        is_upgraded(root, old)
        shutil.rmtree(root)
        shutil.copytree(saved, root)
    assert 60 < at < 599 and half > 20, (at, half)
    shutil.rmtree(saved)


def test_a_full_disk_stops_it_before_a_paper_is_changed(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = papers.put

    def full(at: Path, path: str, *rest: Any, **more: Any) -> Any:
        if path.endswith("field-notes/" + NOTE + ".json"):
            raise OSError(28, "No space left on device")
        return real(at, path, *rest, **more)

    old = old_papers(root)
    with monkeypatch.context() as patch:
        patch.setattr(papers, "put", full)
        with pytest.raises(DiskFull, match="while a copy of a paper was written"):
            upgrade.upgrade(root)
    assert {p: d for p, d in old_papers(root).items() if not p.startswith(".earlier/")} == old
    assert upgrade.upgrade(root) is not None
    is_upgraded(root, old)


@pytest.mark.parametrize("data", [b'{"trod": "1", "kind": "ledger"}', b'{"kind": "ledger"}', b'{"trod": null}'])
def test_a_paper_without_a_number_is_told_as_damaged(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "ledger.json").write_bytes(data)
    with pytest.raises(CatalogueTrouble, match="your backup"):
        sidecar.read_ledger(tmp_path)
