"""From a card to the catalogue: what came, what was wrong, and going on after a death at any point."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pulled
import pytest

from trod.archive import sidecar, verify
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.imports import bags, import_card, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import Card, Import, Picture, Sequence
from trod.catalogue.papers import ledger, standing
from trod.errors import Stopped, WrongInput

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)


def whole() -> bool:
    return verify.verify(home.archive_root()).ok


def test_a_card_becomes_a_bag_pictures_and_sequences(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(5))
    row = take(card.folder, small.alder)

    assert (row.state, row.files, row.new, row.duplicates, row.damaged, row.foreign) == (
        "whole",
        15,
        15,
        0,
        0,
        0,
    )
    assert row.safe_to_format
    assert Picture.objects.filter(deployment=small.alder, looked=True).count() == 15
    assert sorted(Sequence.objects.values_list("frames", flat=True)) == [3] * 5
    assert Sequence.objects.first().key.startswith("alder-track-2026.")
    first = Picture.objects.order_by("file_order").first()
    assert first.taken_raw == datetime(2026, 5, 1, 6, tzinfo=UTC)
    assert first.taken_at == datetime(2026, 5, 1, 5, tzinfo=UTC)
    assert home.thumb_path(first.sha256).is_file()
    assert (home.archive_root() / first.path).is_file()
    assert whole()


def test_sha256sum_itself_agrees_with_the_bag(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    row = take(card.folder, small.alder)
    done = subprocess.run(
        ["sha256sum", "-c", "--quiet", "manifest-sha256.txt"],
        cwd=home.archive_root() / row.folder,
        check=False,
    )
    assert done.returncode == 0


def test_a_card_that_comes_again_brings_nothing_new_and_no_bag(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    again = take(card.folder, small.alder)

    assert (again.new, again.duplicates, again.safe_to_format) == (0, 6, True)
    assert import_card.summary(again)["bag"] is None
    assert Picture.objects.count() == 6 and len(list(sidecar.bag_folders(home.archive_root()))) == 1


def test_empty_cut_off_and_hostile_files_are_kept_and_told(small: Any, take: Any) -> None:
    card = small.card()
    files = card.bursts(pulled.days(2))
    files[1].write_bytes(b"")
    files[2].write_bytes(files[2].read_bytes()[:-30])
    folder = files[0].parent
    (folder / "LANT0090.JPG").write_bytes(b"no picture at all")
    hostile = folder / 'a<b>"c|\n.jpg'
    hostile.write_bytes(pulled.jpeg("hostile", pulled.FIRST))
    row = take(card.folder, small.alder)

    assert (row.new, row.damaged) == (8, 3)
    told = " ".join(row.all_notes)
    assert "LANT0002.JPG holds no bytes at all" in told
    assert "breaks off before its end" in told
    assert "is not the kind of file that its name says" in told
    assert "\\n.jpg is DCIM/100TARNB/a_b__c__.jpg" in told
    empty = Picture.objects.get(size_bytes=0)
    assert empty.sequence is None and empty.taken_at is None and "holds no bytes" in empty.problem
    assert whole()


def test_file_numbers_that_run_over_9999_keep_the_cameras_order(small: Any, take: Any) -> None:
    card = small.card(number=9998)
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    names = list(Picture.objects.order_by("file_order").values_list("path", flat=True))
    assert [name.rpartition("DCIM/")[2] for name in names] == [
        "100TARNB/LANT9998.JPG", "100TARNB/LANT9999.JPG", "101TARNB/LANT0001.JPG",
        "101TARNB/LANT0002.JPG", "101TARNB/LANT0003.JPG", "101TARNB/LANT0004.JPG",
    ]  # fmt: skip


def test_another_cameras_files_are_kept_marked_and_in_no_sequence(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    for k in range(2):
        card.shoot(datetime(2024, 7, 1, 9, k), serial="STRANGER-9")
    row = take(card.folder, small.alder)

    assert row.foreign == 2
    assert set(Picture.objects.filter(foreign=True).values_list("serial", "sequence")) == {("STRANGER-9", None)}
    assert "2 files look like another camera's" in " ".join(row.all_notes)
    assert not any("clock went back" in note for note in row.all_notes)


def test_a_serial_that_is_entered_otherwise_is_told_and_not_foreign(small: Any, take: Any) -> None:
    card = small.card(serial="AB-777")
    card.bursts(pulled.days(2))
    row = take(card.folder, small.alder)
    assert row.foreign == 0
    assert "bear the serial AB-777; the camera of this deployment is entered as INV-001" in " ".join(row.all_notes)


def test_a_clock_that_went_back_is_told(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    card.bursts(pulled.days(2, datetime(2023, 1, 1, 0, 0)))
    row = take(card.folder, small.alder)
    assert any(note.startswith("The clock went back from 2026-05-02 06:00") for note in row.all_notes)


def test_an_older_bag_and_a_newer_one_share_an_sequence_that_keeps_its_word(small: Any, take: Any) -> None:
    first, second = small.card("one"), small.card("two", number=50)
    first.bursts([pulled.FIRST], frames=2)
    take(first.folder, small.alder)
    sequence = Sequence.objects.get()
    word = identifications.say(sequence, [Line(what="animal", species="red-deer")], by="Ilka", at=NOON)
    second.bursts([pulled.FIRST + timedelta(seconds=30)], frames=2)
    take(second.folder, small.alder, now=NOON)

    sequence = Sequence.objects.get()
    assert (sequence.frames, sequence.identification) == (4, word)


class Dying(Silent):
    """A line that ends the work at its n-th call."""

    def __init__(self, after: int) -> None:
        self.left = after

    def stop(self) -> bool:
        self.left -= 1
        return self.left < 0

    def step(self, done: int, total: int, message: str = "") -> None:
        if self.stop():
            raise Stopped("asked to pause")


@pytest.mark.parametrize("after", [0, 1, 2, 3, 5, 8, 13, 21])
def test_a_pause_at_any_point_loses_nothing(small: Any, take: Any, after: int) -> None:
    card = small.card()
    card.bursts(pulled.days(4))
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    try:
        import_card.import_card(row, line=Dying(after), now=NOON, workers=1)
    except Stopped:
        row.refresh_from_db()
        assert row.state in ("paused", "whole")
        assert import_card.broken_off(card.folder) in (row, None)
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON) if row.state != "whole" else row
    import_card.import_card(row, line=Silent(), now=NOON, workers=1)
    row.refresh_from_db()
    assert (row.state, row.new, Import.objects.count()) == ("whole", 12, 1)
    assert Sequence.objects.count() == 4 and whole()


def test_a_bag_whose_catalogue_died_before_it_heard_is_registered_later(
    small: Any, take: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    with monkeypatch.context() as patch:
        patch.setattr(bags, "register", lambda *a: (_ for _ in ()).throw(RuntimeError("power cut")))
        with pytest.raises(RuntimeError):
            import_card.import_card(row, line=Silent(), now=NOON, workers=1)
    row.refresh_from_db()
    assert row.state == "failed" and Picture.objects.count() == 0
    import_card.import_card(import_card.broken_off(card.folder), line=Silent(), now=NOON, workers=1)
    row.refresh_from_db()
    assert (row.state, row.new, Picture.objects.filter(looked=True).count()) == ("whole", 9, 9)


def test_pictures_a_death_left_unread_are_read_later(small: Any, take: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    with monkeypatch.context() as patch:
        patch.setattr(import_card.clocks, "follow", lambda *a: (_ for _ in ()).throw(RuntimeError("power cut")))
        with pytest.raises(RuntimeError):
            import_card.import_card(row, line=Silent(), now=NOON, workers=1)
    row.refresh_from_db()
    assert row.state == "whole" and import_card.half_read() == [row]
    assert import_card.read_the_rest(Silent()) == 1
    assert Sequence.objects.count() == 3 and import_card.half_read() == []


def test_another_card_at_the_same_place_does_not_go_on_with_a_broken_off_one(small: Any, take: Any) -> None:
    card = small.card("slot")
    card.bursts(pulled.days(3))
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    with pytest.raises(Stopped):
        import_card.import_card(row, line=Dying(1), now=NOON, workers=1)
    card.folder.rename(small.work / "pulled out")
    other = small.card("slot", number=500, serial="INV-002")
    other.bursts(pulled.days(2))
    assert import_card.broken_off(other.folder) is None
    again = take(other.folder, small.lick)
    assert again.pk != row.pk and again.new == 6


def test_an_unplaced_card_is_placed_later_and_its_bag_moves_whole(small: Any, take: Any) -> None:
    card = small.card(serial="")
    card.bursts(pulled.days(2))
    row = take(card.folder)
    assert row.folder.startswith("unplaced/") and Sequence.objects.count() == 0

    moving.move(row, small.lick, line=Silent(), now=NOON)
    row.refresh_from_db()
    assert row.folder == f"grey-lick/grey-lick-2026/{row.name}"
    assert Sequence.objects.filter(deployment=small.lick).count() == 2
    assert all((home.archive_root() / path).is_file() for path in Picture.objects.values_list("path", flat=True))
    assert whole()


def test_a_bag_moved_just_before_a_death_is_found_again(small: Any, take: Any) -> None:
    card = small.card(serial="")
    card.bursts(pulled.days(2))
    row = take(card.folder)

    place = import_card.placement(small.lick)
    standing.expect_move(sidecar.deployment_folder(home.archive_root(), place))  # noted before the bag is moved
    sidecar.move_bag(home.archive_root(), row.folder, place, now=NOON)
    moving.move(row, small.lick, line=Silent(), now=NOON)
    row.refresh_from_db()
    assert row.folder == f"grey-lick/grey-lick-2026/{row.name}" and row.deployment == small.lick
    assert all((home.archive_root() / path).is_file() for path in Picture.objects.values_list("path", flat=True))


def test_a_card_record_becomes_safe_to_format_with_its_card_import(small: Any, take: Any) -> None:
    label = Card.objects.create(label="ESK-01-A", state=Card.State.HOME)
    card = small.card()
    card.bursts(pulled.days(1))
    take(card.folder, small.alder, card=label)
    label.refresh_from_db()
    assert label.state == Card.State.KEPT


def test_the_sidecar_lists_bags_and_sequences_by_plain_paths(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    row = take(card.folder, small.alder)

    found = sidecar.read_sidecar(home.archive_root() / "alder-track/alder-track-2026")
    assert found is not None
    assert found["bags"] == [row.name]
    assert found["sequences"][0]["pictures"][0] == f"{row.name}/DCIM/100TARNB/LANT0001.JPG"
    assert found["imports"][0]["new"] == 3
    assert ledger.write_sidecar(small.alder) is False


def test_the_source_is_never_written_to(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    before = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in card.folder.rglob("*") if p.is_file()}
    for path in [*card.folder.rglob("*"), card.folder]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        take(card.folder, small.alder)
    finally:
        for path in [card.folder, *card.folder.rglob("*")]:
            path.chmod(0o755)
    assert before == {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in card.folder.rglob("*") if p.is_file()}


def test_a_path_that_is_no_text_is_refused_in_words(small: Any, tmp_path: Path) -> None:
    bad = Path(os.fsdecode(os.fsencode(tmp_path) + b"/card\xff"))
    if sys.platform != "linux":
        pytest.skip("only Linux keeps names that are no text")
    bad.mkdir()
    with pytest.raises(WrongInput, match="a folder whose path is plain text"):
        import_card.begin(import_card.Asked(bad), now=NOON)


def test_an_import_looks_at_its_pictures_with_all_processors(small: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from trod import engine
    from trod.catalogue.imports import facts

    card = small.card()
    card.bursts(pulled.days(facts.FEW // 3 + 1))
    asked: list[int] = []
    honest = engine.run

    def run(tasks: Any, fn: Any, *, workers: int, **more: Any) -> Any:
        asked.append(workers)
        return honest(tasks, fn, workers=1, **more)

    monkeypatch.setattr(engine, "usual_workers", lambda: 7)
    monkeypatch.setattr(engine, "run", run)
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    import_card.import_card(row, line=Silent(), now=NOON)
    assert asked == [7]
