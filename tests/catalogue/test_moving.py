"""A card at the wrong place goes where it belongs with all that hangs on it, and back."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import canon
import pulled
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trod.archive import sidecar, verify
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Dot, Line
from trod.catalogue.imports import clocks, import_card, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import (
    Deployment,
    Identification,
    Import,
    KeptFile,
    Observation,
    Picture,
    Sequence,
)
from trod.catalogue.papers import ledger
from trod.catalogue.work import rebuild
from trod.errors import WrongInput

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def catalogue(*, without: tuple[str, ...] = ("moves",)) -> dict[str, Any]:
    """The catalogue as plain data; `without`: fields of imports that may differ."""
    found = canon.catalogue()
    found["imports"] = [{k: v for k, v in row.items() if k not in without} for row in found["imports"]]
    found["kept_files"] = sorted(KeptFile.objects.values_list("path", "sha256", "card_import__name"))
    return found


def same_after_a_rebuild() -> None:
    before = catalogue(without=())
    with ledger.quiet():
        rebuild.empty_all()
    made = rebuild.rebuild(Silent(), workers=1)
    assert made.trouble == []
    assert canon.differences(before, catalogue(without=())) == {}
    assert verify.verify(home.archive_root()).ok


def at(row: Import) -> Import:
    return Import.objects.select_related("deployment__site", "card").get(name=row.name)


def alder() -> Deployment:
    return Deployment.objects.select_related("site").get(slug="alder-track-2026")


def lick() -> Deployment:
    return Deployment.objects.select_related("site").get(slug="grey-lick-2026")


@pytest.fixture
def lived(small: Any, take: Any) -> Any:
    """A card of Grey Lick's camera, put to Alder Track by mistake and worked on there; each place has its clock."""
    card = small.card("ESK-02-A", serial="INV-002")
    files = card.bursts(pulled.days(5))
    files[-1].with_suffix(".WAV").write_bytes(b"RIFF\0\0\0\0WAVE a voice")
    small.row = take(card.folder, small.alder)
    small.card_folder = card.folder
    clocks.correct(small.alder, shift_s=3600, reason="read an hour behind", by="Ilka", now=NOON)
    clocks.correct(small.lick, shift_s=-7200, reason="read two hours ahead", by="Ilka", now=NOON)
    first, second, third, fourth, _ = Sequence.objects.order_by("start_at")
    sha = first.pictures.order_by("file_order").first().sha256
    deer = Line(what="animal", species="red-deer", count=2, sex="female", dots=(Dot(picture=sha, x=0.25, y=0.5),))
    identifications.say(first, [deer], by="Ilka", at=NOON)
    identifications.say(first, [Line(what="animal", species="red-deer")], by="Bo", at=NOON + HOUR)
    identifications.say(second, [Line(what="blank")], by="Ilka", at=NOON)
    identifications.say(third, [Line(what="blank")], by="Bo", at=NOON, uuid="11111111-1111-4111-8111-111111111111")
    identifications.undo(by="Bo", at=NOON + 2 * HOUR, identification="11111111-1111-4111-8111-111111111111")
    identifications.say(fourth, [Line(what="animal", species="red-fox")], by="Ilka", at=NOON, note="limps")
    ledger.catch_up()
    return small


def test_a_card_moves_with_pictures_sequences_words_and_thumbnails_and_takes_the_clock_of_its_new_place(
    lived: Any,
) -> None:
    row = at(lived.row)
    before = {p.sha256: p.taken_at for p in Picture.objects.all()}
    said = sorted(Identification.objects.values_list("uuid", "sequence__key", "undone_at"))
    moving.move(row, lick(), line=Silent(), now=NOON, by="Ilka")
    row = at(row)
    assert (row.deployment, row.folder) == (lick(), f"grey-lick/grey-lick-2026/{row.name}")
    assert row.moves == [
        {"from": "alder-track-2026", "to": "grey-lick-2026", "at": "2026-06-30T12:00:00Z", "by": "Ilka"}
    ]
    assert not alder().pictures.exists() and not alder().sequences.exists()
    assert lick().pictures.count() == 15 and lick().sequences.count() == 5
    assert {p.taken_at - before[p.sha256] for p in Picture.objects.all()} == {-3 * HOUR}
    assert sorted(Identification.objects.values_list("uuid", "sequence__key", "undone_at")) == said
    assert Observation.objects.filter(identification__sequence__deployment=lick(), marks__isnull=False).count() == 1
    root = home.archive_root()
    for picture in Picture.objects.all():
        assert (root / picture.path).is_file() and home.thumb_path(picture.sha256).is_file()
    assert all((root / kept.path).is_file() for kept in KeptFile.objects.all())
    told = sidecar.read_identifications(root / "grey-lick/grey-lick-2026").lines
    assert [act["act"] for act in told] == ["say", "say", "say", "say", "undo", "say"], "its folder tells it alone"
    same_after_a_rebuild()


def test_moved_back_everything_is_as_it_was(lived: Any) -> None:
    ledger.write_sidecar(alder())
    before = catalogue()
    row = at(lived.row)
    moving.move(row, lick(), line=Silent(), now=NOON, by="Ilka")
    assert moving.back_to(at(row)) == (True, alder())
    moving.move(at(row), alder(), line=Silent(), now=NOON + HOUR, by="Bo")
    assert canon.differences(before, catalogue()) == {}
    assert [step["by"] for step in at(row).moves] == ["Ilka", "Bo"]
    same_after_a_rebuild()


def test_laid_aside_as_unplaced_its_words_wait_and_come_back_with_a_place(lived: Any) -> None:
    before = catalogue()
    row = at(lived.row)
    moving.move(row, None, line=Silent(), now=NOON)
    row = at(row)
    assert (row.deployment, row.folder) == (None, f"unplaced/{row.name}")
    assert Sequence.objects.count() == 0 and Identification.objects.count() == 0
    assert {p.taken_at for p in Picture.objects.all()} == {p.taken_raw for p in Picture.objects.all()}
    same_after_a_rebuild()
    row = at(row)
    moving.move(row, alder(), line=Silent(), now=NOON)
    assert canon.differences(before, catalogue()) == {}
    same_after_a_rebuild()


def test_what_was_said_in_the_wrong_place_and_undone_in_the_right_one_is_undone(lived: Any) -> None:
    row = at(lived.row)
    moving.move(row, lick(), line=Silent(), now=NOON)
    word = identifications.undo(by="Ilka", at=NOON + 5 * HOUR)
    assert word is not None
    same_after_a_rebuild()
    assert Identification.objects.get(uuid=word.uuid).undone_at is not None
    moving.move(at(row), None, line=Silent(), now=NOON)
    moving.move(at(row), alder(), line=Silent(), now=NOON)
    assert Identification.objects.get(uuid=word.uuid).undone_at is not None
    same_after_a_rebuild()


def test_what_does_not_fit_a_place_is_told_of_the_place_it_lies_in(lived: Any) -> None:
    row = at(lived.row)
    assert any("bear the serial INV-002" in note for note in row.all_notes)
    moving.move(row, lick(), line=Silent(), now=NOON)
    assert not any("bear the serial" in note for note in at(row).all_notes)
    moving.move(at(row), alder(), line=Silent(), now=NOON)
    assert sum("bear the serial" in note for note in at(row).all_notes) == 1


@pytest.mark.parametrize("leaves", ["the first pictures", "the last pictures"])
def test_an_sequence_of_two_cards_goes_with_its_key_picture_and_comes_whole_again(
    small: Any, take: Any, leaves: str
) -> None:
    one, two = small.card("one"), small.card("two", number=50)
    one.bursts([pulled.FIRST], frames=2)
    two.bursts([pulled.FIRST + timedelta(seconds=30)], frames=3)
    ledger.catch_up()
    rows = take(one.folder, alder()), take(two.folder, alder(), now=NOON)
    sequence = Sequence.objects.get()
    assert sequence.frames == 5
    word = identifications.say(sequence, [Line(what="animal", species="red-fox")], by="Ilka", at=NOON)
    before = catalogue()
    goes = rows[0] if leaves == "the first pictures" else rows[1]
    assert moving.cargo(goes) == moving.Cargo(
        pictures=2 if goes == rows[0] else 3, sequences=1, identifications=1, shared=1
    )
    moving.move(at(goes), lick(), line=Silent(), now=NOON)
    there = lick() if goes == rows[0] else alder()
    assert [(e.frames, e.identification) for e in there.sequences.all()] == [(2, word)]
    other = alder() if goes == rows[0] else lick()
    assert [(e.frames, e.identification) for e in other.sequences.all()] == [(3, None)]
    same_after_a_rebuild()
    moving.move(at(goes), alder(), line=Silent(), now=NOON)
    assert canon.differences(before, catalogue()) == {}
    same_after_a_rebuild()


def test_an_card_import_that_is_not_whole_stays(small: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    row = import_card.begin(import_card.Asked(card.folder, alder()), now=NOON)
    with pytest.raises(WrongInput, match="an import that is whole"):
        moving.move(row, lick(), line=Silent(), now=NOON)


class Death(Exception):
    """The process ends here."""


@pytest.mark.parametrize("to", ["lick", "unplaced"])
@pytest.mark.parametrize(
    "where",
    ["append_identifications", "hand_over", "before the rename", "after the rename", "finish", "replay", "sidecars"],
)
def test_a_death_at_any_step_is_made_good_by_doing_it_again(
    lived: Any, monkeypatch: pytest.MonkeyPatch, where: str, to: str
) -> None:
    row = at(lived.row)
    target = lick() if to == "lick" else None

    def die(*_: Any, **__: Any) -> Any:
        raise Death

    honest = sidecar.move_bag

    def after(*arguments: Any, **more: Any) -> str:
        honest(*arguments, **more)
        raise Death

    places: dict[str, tuple[Any, str, Any]] = {
        "append_identifications": (sidecar, "append_identifications", die),
        "hand_over": (moving, "_hand_over", die),
        "before the rename": (sidecar, "move_bag", die),
        "after the rename": (sidecar, "move_bag", after),
        "finish": (import_card, "finish", die),
        "replay": (identifications, "replay", die),
        "sidecars": (ledger, "write_sidecar", die),
    }
    with monkeypatch.context() as broken:
        broken.setattr(*places[where])
        died = False
        try:
            moving.move(row, target, line=Silent(), now=NOON)
        except Death:
            died = True
        assert died or (where, to) == ("replay", "unplaced")
    moving.move(at(row), target, line=Silent(), now=NOON)
    ledger.catch_up()
    row = at(row)
    assert row.deployment == target
    assert Identification.objects.count() == (5 if target else 0)
    assert row.pictures.filter(sequence__isnull=False).count() == (15 if target else 0)
    same_after_a_rebuild()


NUMBERS = itertools.count(1)


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(
    steps=st.lists(
        st.one_of(
            st.tuples(st.just("say"), st.integers(0, 9)),
            st.tuples(st.just("undo"), st.just(0)),
            st.tuples(st.sampled_from(["alder", "lick", "unplaced"]), st.integers(0, 1)),
        ),
        min_size=2,
        max_size=8,
    )
)
def test_however_cards_are_moved_and_spoken_of_no_word_is_lost(
    small: Any, take: Any, steps: list[tuple[str, int]]
) -> None:
    """Two cards whose pictures lie close together; every word stands once, in the catalogue or waiting."""
    turn = next(NUMBERS)
    ledger.catch_up()
    start = pulled.FIRST + timedelta(days=20 * turn)
    one, two = small.card(f"one {turn}"), small.card(f"two {turn}", number=50)
    one.bursts([start, start + timedelta(days=1)], frames=2)
    two.bursts([start + timedelta(seconds=20), start + timedelta(days=2)], frames=2)
    rows = [take(card.folder, alder(), now=NOON + k * HOUR) for k, card in enumerate((one, two))]
    said = set(Identification.objects.values_list("uuid", flat=True))
    for step, (what, which) in enumerate(steps):
        moment = NOON + timedelta(days=turn, minutes=step)
        if what == "say":
            sequences = list(Sequence.objects.filter(pictures__card_import__in=rows).distinct().order_by("start_at"))
            if sequences:
                kind = "blank" if which % 2 else "vehicle"
                sequence = sequences[which % len(sequences)]
                said.add(identifications.say(sequence, [Line(what=kind)], by="Ilka", at=moment).uuid)
        elif what == "undo":
            identifications.undo(by="Ilka", at=moment)
        else:
            target = {"alder": alder(), "lick": lick(), "unplaced": None}[what]
            moving.move(at(rows[which]), target, line=Silent(), now=NOON)
    for row in rows:
        moving.move(at(row), lick(), line=Silent(), now=NOON)
    assert set(Identification.objects.values_list("uuid", flat=True)) == said
    assert not Picture.objects.filter(sequence__isnull=True).exists()
    same_after_a_rebuild()
