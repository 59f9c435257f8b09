"""One verdict from card to page, and a card that comes again adds nothing, ever."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pulled
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trod.archive import sidecar, verify
from trod.catalogue import home
from trod.catalogue.imports import import_card, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import Card, Import, KeptFile, Picture
from trod.catalogue.papers import ledger
from trod.catalogue.work import rebuild
from trod.errors import SourceBusy, WrongInput

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
SAME = pulled.jpeg("the same", pulled.FIRST)


def one_verdict(row: Import) -> bool:
    """The bit that all places say; fails when two of them differ."""
    found = import_card.summary(row)
    stored = Import.objects.values_list("safe_to_format", flat=True).get(pk=row.pk)
    said = {
        stored, row.safe_to_format, row.verdict.safe, found["safe_to_format"], not found["reasons"],
        "safe to format" in found["sentence"], not found["sentence"].startswith("Do not format"),
    }  # fmt: skip
    assert len(said) == 1, (stored, found)
    return stored


def bags_there() -> list[Path]:
    return list(sidecar.bag_folders(home.archive_root()))


# Again ------------------------------------------------------------------------------------------------------

THINGS = {
    "picture": lambda n: (f"DCIM/100TARNB/LANT{n + 1:04d}.JPG", pulled.jpeg(str(n), pulled.FIRST + timedelta(hours=n))),
    "twin": lambda n: (f"DCIM/101TARNB/LANT{n + 1:04d}.JPG", SAME),
    "empty": lambda n: (f"DCIM/102TARNB/LANT{n + 1:04d}.JPG", b""),
    "empty clip": lambda n: (f"DCIM/102TARNB/LANT{n + 1:04d}.AVI", b""),
    "empty note": lambda n: (f"notes {n}.txt", b""),
    "broken off": lambda n: (f"DCIM/103TARNB/LANT{n + 1:04d}.JPG", pulled.jpeg(f"b{n}", pulled.FIRST)[:-30]),
    "zeros": lambda n: (f"DCIM/103TARNB/LANT{n + 1:04d}.JPG", bytes(100 + n)),
    "no clip": lambda n: (f"DCIM/104TARNB/LANT{n + 1:04d}.MP4", b"no clip %d" % n),
    "repaired": lambda n: (f"FOUND.000/FILE{n:04d}.CHK", pulled.jpeg(f"r{n}", pulled.FIRST)),
    "piece": lambda n: (f"FOUND.000/FILE{n:04d}.CHK", b"a piece of something, %d" % n),
    "odd": lambda n: (f"DCIM/105TARNB/LANT{n + 1:04d}.JP_", pulled.jpeg(f"o{n}", pulled.FIRST)),
    "hidden": lambda n: (f".hidden/{n}", pulled.jpeg(f"h{n}", pulled.FIRST)),
    "sound note": lambda n: (f"DCIM/100TARNB/LANT{n + 1:04d}.WAV", b"RIFF\0\0\0\0WAVE%d" % n),
    "text": lambda n: (f"text {n}.txt", b"a text %d" % n),
    "hostile": lambda n: (f"DCIM/106TARNB/con{'.' * (n % 3)}|{n}:\n.jpg", pulled.jpeg(f"x{n}", pulled.FIRST)),
    "folder twin": lambda n: (f"DCIM/100OTHER/LANT{n + 1:04d}.JPG", pulled.jpeg(f"t{n}", pulled.FIRST)),
}  # fmt: skip
NUMBERS = itertools.count(1)


@pytest.mark.skipif(os.name == "nt", reason="Windows takes no such names")
@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(kinds=st.lists(st.tuples(st.sampled_from(sorted(THINGS)), st.integers(0, 40)), min_size=1, max_size=12))
def test_any_card_that_comes_again_adds_nothing(small: Any, take: Any, kinds: list[tuple[str, int]]) -> None:
    folder = small.work / f"card {next(NUMBERS)}"
    files = dict(THINGS[kind](number) for kind, number in kinds)
    for path, content in files.items():
        place = folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    first = again = None
    try:
        first = take(folder, small.alder)
    except Exception as problem:
        assert "No picture or clip lies below" in str(problem)
        return
    before = (len(bags_there()), Picture.objects.count(), KeptFile.objects.count())
    again = take(folder, small.alder, now=NOON)
    assert (again.new, again.duplicates, again.files) == (0, first.files, first.files)
    assert (len(bags_there()), Picture.objects.count(), KeptFile.objects.count()) == before
    assert one_verdict(again) == one_verdict(first)
    assert again.damaged == first.damaged


def test_a_sound_note_of_a_card_that_comes_again_is_known(small: Any, take: Any) -> None:
    card = small.card()
    (picture,) = card.bursts([pulled.FIRST], frames=1)
    picture.with_suffix(".WAV").write_bytes(b"RIFF\0\0\0\0WAVE a voice")
    assert take(card.folder, small.alder).new == 2
    again = take(card.folder, small.alder, now=NOON)
    assert (again.new, again.duplicates, len(bags_there())) == (0, 2, 1)


def test_a_card_whose_first_copy_was_spoilt_is_kept_anew_once_and_then_known(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    row = take(card.folder, small.alder)
    kept = home.archive_root() / Picture.objects.filter(card_import=row).first().path
    content = bytearray(kept.read_bytes())
    content[100] ^= 1
    kept.write_bytes(content)
    assert take(card.folder, small.alder, now=NOON).new == 1
    third = take(card.folder, small.alder, now=NOON + timedelta(hours=1))
    assert (third.new, third.duplicates) == (0, 3)


def test_what_is_kept_and_no_picture_comes_back_with_a_rebuild_and_moves_with_its_bag(small: Any, take: Any) -> None:
    card = small.card(serial="")
    (picture,) = card.bursts([pulled.FIRST], frames=1)
    picture.with_suffix(".WAV").write_bytes(b"RIFF\0\0\0\0WAVE a voice")
    (card.folder / "FOUND.000").mkdir()
    (card.folder / "FOUND.000/FILE0000.CHK").write_bytes(pulled.jpeg("found", pulled.FIRST))
    row = take(card.folder)
    moving.move(row, small.lick, line=Silent(), now=NOON)
    assert all((home.archive_root() / kept.path).is_file() for kept in KeptFile.objects.all())
    before = sorted(KeptFile.objects.values_list("path", "sha256")), sorted(Picture.objects.values_list("path", "kind"))
    assert len(before[0]) == 1 and len(before[1]) == 2
    rebuild.empty_all()
    rebuild.rebuild(Silent(), workers=1)
    after = sorted(KeptFile.objects.values_list("path", "sha256")), sorted(Picture.objects.values_list("path", "kind"))
    assert after == before
    assert take(card.folder, now=NOON + timedelta(days=1)).new == 0
    assert verify.verify(home.archive_root()).ok


# A person's word --------------------------------------------------------------------------------------------


@pytest.fixture
def cut(small: Any, take: Any) -> Import:
    """A card with a picture that breaks off."""
    card = small.card()
    file = card.bursts(pulled.days(2))[1]
    file.write_bytes(file.read_bytes()[:-30])
    label = Card.objects.create(label="ESK-01-A", state=Card.State.HOME)
    row: Import = take(card.folder, small.alder, card=label)
    return row


def test_damage_makes_a_card_unsafe_until_a_person_says_that_it_may_go(cut: Import) -> None:
    assert not one_verdict(cut)
    assert Card.objects.get().state == Card.State.HOME
    import_card.accept_damage(cut, by="Ilka", now=NOON)
    cut.refresh_from_db()
    assert one_verdict(cut)
    assert (
        "Accepted as damaged: 1 file breaks off before its end (DCIM/100TARNB/LANT0002.JPG)."
        in (import_card.summary(cut)["sentence"])
    )
    assert Card.objects.get().state == Card.State.KEPT
    import_card.take_back_acceptance(cut)
    cut.refresh_from_db()
    assert not one_verdict(cut)
    assert Card.objects.get().state == Card.State.HOME


def test_the_word_is_on_the_disk_and_comes_back_with_a_rebuild(cut: Import, small: Any) -> None:
    import_card.accept_damage(cut, by="Ilka", now=NOON)
    ledger.write_sidecar(small.alder)
    rebuild.empty_all()
    rebuild.rebuild(Silent(), workers=1)
    again = Import.objects.get()
    assert (again.accepted_by, again.accepted_at, one_verdict(again)) == ("Ilka", NOON, True)


def test_a_word_helps_against_damage_alone(cut: Import) -> None:
    cut.seen = {**cut.seen, "unreadable": {"count": 1, "named": ["x.jpg"]}}
    cut.save()
    import_card.accept_damage(cut, by="Ilka", now=NOON)
    assert not one_verdict(cut)
    assert [r.what for r in cut.verdict.reasons] == ["unreadable"]


def test_where_nothing_is_damaged_there_is_nothing_to_accept(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    row = take(card.folder, small.alder)
    with pytest.raises(WrongInput, match="a card with damaged files"):
        import_card.accept_damage(row, by="Ilka", now=NOON)


def test_a_card_that_was_safe_and_shows_errors_when_it_comes_again_is_not_called_safe(
    small: Any, take: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    label = Card.objects.create(label="ESK-01-A", state=Card.State.HOME)
    card = small.card()
    card.bursts(pulled.days(1))
    take(card.folder, small.alder, card=label)
    assert Card.objects.get().state == Card.State.KEPT
    from trod.archive import disk

    answers = iter([False, True])
    monkeypatch.setattr(disk, "is_read_only", lambda folder: next(answers))
    assert not one_verdict(take(card.folder, small.alder, card=label, now=NOON))
    assert Card.objects.get().state == Card.State.HOME


def test_what_an_unknown_word_of_a_newer_trod_says_is_taken_for_a_reason(cut: Import) -> None:
    for seen in ({"from-tomorrow": {"count": 1}}, {"empty": "?"}, {"empty": {"named": 3}}):
        cut.seen = seen
        cut.save()
        assert not one_verdict(cut)


def test_an_card_import_written_before_the_single_tellings_keeps_its_verdict(small: Any) -> None:
    def old(name: str, **more: Any) -> Import:
        return Import.objects.create(
            name=name, folder=f"unplaced/{name}", source="t", started_at=NOON, state="whole", files=3, new=3, **more
        )

    assert one_verdict(old("good", safe_to_format=True))
    assert not one_verdict(old("lost", safe_to_format=False))
    damaged = old("cut", safe_to_format=True, damaged=1)
    assert not one_verdict(damaged)
    import_card.accept_damage(damaged, by="Ilka", now=NOON)
    assert one_verdict(damaged)


def test_an_card_import_that_is_not_finished_is_never_safe(small: Any) -> None:
    row = Import.objects.create(name="x", folder="unplaced/x", source="t", started_at=NOON, safe_to_format=True)
    assert not one_verdict(row)
    row.save(update_fields=["state"])
    assert not one_verdict(row)


def test_a_bag_alone_brings_back_the_same_verdict(small: Any, take: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was told of folders and of twins stands in the bag too, for the case that the sidecar is lost."""
    card = small.card()
    files = card.bursts(pulled.days(2))
    files[1].write_bytes(b"")
    files[2].write_bytes(b"")
    from trod.archive import disk

    answers = iter([False, True])
    with monkeypatch.context() as failing:
        failing.setattr(disk, "is_read_only", lambda folder: next(answers))
        row = take(card.folder, small.alder)
    place = home.archive_root() / "alder-track/alder-track-2026/sidecar.json"
    kept = json.loads(place.read_bytes())
    place.write_text(json.dumps({**kept, "imports": []}))
    rebuild.empty_all()
    rebuild.rebuild(Silent(), workers=1)
    again = Import.objects.get()
    assert again.verdict.reasons == row.verdict.reasons
    assert [(r.what, r.count) for r in again.verdict.reasons] == [("read-only-now", 1), ("empty", 2)]
    assert (again.files, again.new, again.duplicates, again.damaged, again.skipped) == (6, 5, 1, 2, 0)


# Two hands --------------------------------------------------------------------------------------------------


def test_a_card_at_work_is_refused_and_its_row_is_left_as_it_is(small: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    row = import_card.begin(import_card.Asked(card.folder, small.alder), now=NOON)
    import subprocess

    script = (
        "import sys, pathlib\n"
        "from trod.archive.making import source_alone\n"
        "with source_alone(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])):\n"
        "    print('held', flush=True)\n"
        "    sys.stdin.read()\n"
    )
    import trod

    source = str(Path(trod.__file__).parents[1])
    words = [sys.executable, "-c", script, str(home.archive_root()), str(card.folder)]
    holder = subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": source}
    )
    assert holder.stdin is not None and holder.stdout is not None
    try:
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(SourceBusy, match="is being imported already"):
            import_card.import_card(row, line=Silent(), now=NOON)
        with pytest.raises(SourceBusy, match="is being imported already"):
            import_card.begin(import_card.Asked(card.folder, None), now=NOON)
        row.refresh_from_db()
        assert (row.state, Import.objects.count()) == ("copying", 1)
    finally:
        holder.kill()
        holder.wait()
        for pipe in (holder.stdin, holder.stdout):
            with contextlib.suppress(OSError):
                pipe.close()
    import_card.import_card(row, line=Silent(), now=NOON, workers=1)
    row.refresh_from_db()
    assert (row.state, row.new) == ("whole", 9), "a holder that was killed holds nothing"


def test_two_cards_of_one_name_begun_in_one_second_get_a_name_each(small: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """What two processes see that look at the same moment: neither knows of the other's row."""
    one, two = small.card("a/NO NAME"), small.card("b/NO NAME", number=50)
    for card in (one, two):
        card.bursts(pulled.days(1))
    first = import_card.begin(import_card.Asked(one.folder), now=NOON)
    honest, names = import_card._new_name, iter([first.name])
    monkeypatch.setattr(import_card, "_new_name", lambda *a: next(names, None) or honest(*a))
    second = import_card.begin(import_card.Asked(two.folder), now=NOON)
    assert first.name != second.name and Import.objects.count() == 2
