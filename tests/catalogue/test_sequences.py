"""Sequences are parted anew again and again, and no word goes astray."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import pulled
import pytest

from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.imports import clocks, sequences
from trod.catalogue.line import Silent
from trod.catalogue.models import Identification, Picture, Sequence

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
RED = [Line(what="animal", species="red-deer")]
FOX = [Line(what="animal", species="red-fox")]


def story() -> dict[str, list[str]]:
    """{sequence key: its pictures}, with the words' sequences checked on the way."""
    return {
        e.key: list(e.pictures.order_by("taken_at", "file_order").values_list("sha256", flat=True))
        for e in Sequence.objects.all()
    }


def test_parting_again_changes_no_row(small: Any, take: Any, django_assert_num_queries: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(5))
    take(card.folder, small.alder)
    before = list(Sequence.objects.order_by("pk").values())
    assert sequences.regroup(small.alder, Silent()) == []
    assert list(Sequence.objects.order_by("pk").values()) == before


def test_an_sequence_keeps_its_row_and_word_when_an_earlier_picture_joins_it(small: Any, take: Any) -> None:
    card, earlier = small.card("a"), small.card("b", number=80)
    card.bursts([pulled.FIRST], frames=2)
    take(card.folder, small.alder)
    sequence = Sequence.objects.get()
    identification = identifications.say(sequence, RED, by="Ilka", at=NOON)
    earlier.bursts([pulled.FIRST - timedelta(seconds=40)], frames=1)
    take(earlier.folder, small.alder, now=NOON)

    kept = Sequence.objects.get()
    assert (kept.pk, kept.key, kept.identification, kept.frames) == (sequence.pk, sequence.key, identification, 3)


def test_two_spoken_of_sequences_are_never_thrown_together(small: Any, take: Any) -> None:
    card, between = small.card("a"), small.card("b", number=80)
    card.bursts([pulled.FIRST, pulled.FIRST + timedelta(seconds=200)], frames=1)
    take(card.folder, small.alder)
    first, second = Sequence.objects.order_by("start_at")
    identifications.say(first, RED, by="Ilka", at=NOON)
    identifications.say(second, FOX, by="Ilka", at=NOON)
    between.bursts([pulled.FIRST + timedelta(seconds=100)], frames=1)
    row = take(between.folder, small.alder, now=NOON)

    said = {e.key: identifications.tell(e.identification) for e in Sequence.objects.select_related("identification")}
    assert said == {first.key: "1 × Red deer", second.key: "1 × Red fox"}
    assert any("within 2 minutes of each other and stay apart" in note for note in row.notes)


def test_unspoken_sequences_merge_into_the_spoken_one(small: Any, take: Any) -> None:
    card, between = small.card("a"), small.card("b", number=80)
    card.bursts([pulled.FIRST, pulled.FIRST + timedelta(seconds=200)], frames=1)
    take(card.folder, small.alder)
    second = Sequence.objects.order_by("start_at").last()
    identifications.say(second, FOX, by="Ilka", at=NOON)
    between.bursts([pulled.FIRST + timedelta(seconds=100)], frames=1)
    take(between.folder, small.alder, now=NOON)
    sequence = Sequence.objects.get()
    assert (sequence.pk, sequence.frames) == (second.pk, 3)


def test_when_a_spoken_of_sequence_falls_apart_its_word_stays_with_the_key_picture(small: Any, take: Any) -> None:
    card = small.card()
    shots = card.bursts([pulled.FIRST], frames=4, apart_s=60)
    take(card.folder, small.alder)
    sequence = Sequence.objects.get()
    identifications.say(sequence, RED, by="Ilka", at=NOON)
    assert len(shots) == 4
    _, told = clocks.correct(
        small.alder,
        shift_s=7200,
        from_raw=pulled.FIRST + timedelta(seconds=90),
        reason="the clock was set back",
        by="Ilka",
        now=NOON,
    )
    assert [(e.frames, e.identification is not None) for e in Sequence.objects.order_by("start_at")] == [
        (2, True),
        (2, False),
    ]
    assert Sequence.objects.order_by("start_at").first().key == sequence.key
    assert any("have come apart" in sentence for sentence in told)


def test_undoing_the_correction_brings_the_sequence_together_again(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts([pulled.FIRST], frames=4, apart_s=60)
    take(card.folder, small.alder)
    identifications.say(Sequence.objects.get(), RED, by="Ilka", at=NOON)
    before = story()
    row, _ = clocks.correct(
        small.alder,
        shift_s=7200,
        from_raw=pulled.FIRST + timedelta(seconds=90),
        reason="set back",
        by="Ilka",
        now=NOON,
    )
    clocks.undo(row, by="Ilka", now=NOON)
    assert story() == before and Identification.objects.get().sequence == Sequence.objects.get()


@pytest.mark.parametrize("seed", range(6))
def test_whatever_comes_every_picture_is_in_one_sequence_and_every_word_stands(small: Any, take: Any, seed: int) -> None:
    rng = random.Random(seed)
    said: dict[str, str] = {}
    for k in range(4):
        card = small.card(f"card {k}", number=1 + 100 * k)
        for _ in range(10):
            card.shoot(pulled.FIRST + timedelta(seconds=rng.randrange(0, 3000)))
        take(card.folder, small.alder, now=NOON + timedelta(minutes=k))
        unseen = list(Sequence.objects.filter(identification=None).order_by("start_at"))
        for sequence in rng.sample(unseen, min(2, len(unseen))):
            identification = identifications.say(sequence, rng.choice([RED, FOX]), by="Ilka", at=NOON)
            said[str(identification.uuid)] = sequence.key
    timed = Picture.objects.filter(taken_at__isnull=False)
    assert timed.filter(sequence=None).count() == 0
    assert {str(w.uuid): w.sequence.key for w in Identification.objects.select_related("sequence")} == said
    assert {
        str(e.identification.uuid)
        for e in Sequence.objects.exclude(identification=None).select_related("identification")
    } == set(said)
    for sequence in Sequence.objects.all():
        of = list(sequence.pictures.order_by("taken_at").values_list("taken_at", flat=True))
        assert (sequence.start_at, sequence.end_at, sequence.frames) == (of[0], of[-1], len(of))


def test_time_lapse_frames_are_told_from_what_moved(small: Any, take: Any) -> None:
    small.alder.time_lapse_h = 24
    small.alder.save()
    card = small.card()
    for day in pulled.days(10, datetime(2026, 5, 1, 12, 0, 3)):
        card.shoot(day)
    card.bursts(pulled.days(4, datetime(2026, 5, 2, 7, 30)))
    take(card.folder, small.alder)
    assert Picture.objects.filter(trigger="time_lapse").count() == 10
    assert Sequence.objects.filter(time_lapse=True).count() == 10
    assert Sequence.objects.filter(time_lapse=False).count() == 4


def test_without_a_time_lapse_in_its_settings_every_picture_was_set_off_by_motion(small: Any, take: Any) -> None:
    card = small.card()
    for day in pulled.days(10, datetime(2026, 5, 1, 12)):
        card.shoot(day)
    take(card.folder, small.alder)
    assert set(Picture.objects.values_list("trigger", flat=True)) == {"motion"}
