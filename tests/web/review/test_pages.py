"""The sequence as it is shown, its sentence and the keys."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sequenced

from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Sequence, Species, Suggestion
from trod.web.review import pages

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
ILKA, TOBIN = "Ilka Marwood", "Tobin Achterfeld"


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    return sequenced.ground()


def card(sequence: Sequence, person: str = ILKA, may: bool = True, **more: Any) -> pages.Card:
    (made,) = pages.cards(Sequence.objects.filter(pk=sequence.pk), person=person, may=may, **more)
    return made


def test_an_sequence_is_told_in_one_sentence(ground: sequenced.Ground) -> None:
    """Civil dawn at 47.3° N 13.9° E on 12 November 2025: 06:31 CET by trod.sky, which tests/test_sky.py holds
    against the almanac.
    """
    sequence = sequenced.sequence(ground, 0, infrared=True)
    assert card(sequence).sentence == (
        "Alder Ford, 12 Nov 2025 06:41, infrared, 3 frames in 8 s; 10 min after civil dawn."
    )


@pytest.mark.parametrize(
    ("at", "told"),
    [
        (datetime(2025, 6, 21, 11, 0, tzinfo=UTC), "by day"),
        (datetime(2025, 12, 21, 23, 0, tzinfo=UTC), "at night"),
        (datetime(2025, 6, 21, 18, 30, tzinfo=UTC), "33 min before sunset"),
    ],
)
def test_where_a_moment_stands_in_the_suns_day(ground: sequenced.Ground, at: datetime, told: str) -> None:
    found = pages.light_words(at, ground.reserve)
    if "min" in told:
        minutes, rest = found.split(" ", 1)
        assert rest == told.split(" ", 1)[1]
        assert abs(int(minutes) - int(told.split()[0])) <= 3
    else:
        assert found == told


@pytest.mark.parametrize(
    ("frames", "told"), [(1, "1 frame;"), (20, "20 frames in 76 s;"), (100, "100 frames in 7 min;")]
)
def test_how_many_frames_in_what_time(ground: sequenced.Ground, frames: int, told: str) -> None:
    sentence = card(sequenced.sequence(ground, 0, frames=frames)).sentence
    assert told in sentence


def test_a_false_run_of_frames_is_shown_evenly_chosen(ground: sequenced.Ground) -> None:
    made = card(sequenced.sequence(ground, 0, frames=1000))
    assert (len(made.frames), made.whole) == (77, 1000)
    assert [f.after_s for f in made.frames[:3]] == [0, 52, 104]


def test_a_blind_second_look_holds_back_others_words_and_the_suggestion(ground: sequenced.Ground) -> None:
    sequence = sequenced.sequence(ground, 0)
    identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    Suggestion.objects.create(picture=sequence.pictures.first(), what="animal", score=0.8, by="test", at=NOON)

    made = card(sequence, blind=True)
    assert (made.words, made.hidden, made.suggestion) == ([], 1, "")
    assert "Jay" not in str(pages.as_json(made))
    assert made.saw

    identifications.say(sequence, [Line(what="blank")], by=ILKA, at=NOON)
    made = card(sequence, blind=True)
    assert [(w.by, w.text) for w in made.words] == [(ILKA, "blank"), (TOBIN, "1 × Jay")]
    assert made.suggestion == "animal (80 %)"


def test_an_sequence_with_a_person_is_marked(ground: sequenced.Ground) -> None:
    sequence = sequenced.sequence(ground, 0)
    assert not card(sequence).person
    Suggestion.objects.create(picture=sequence.pictures.first(), what="human", score=0.8, by="test", at=NOON)
    assert card(sequence).person
    identifications.say(sequence, [Line(what="blank")], by=ILKA, at=NOON)
    assert not card(sequence).person
    identifications.say(sequence, [Line(what="human")], by=ILKA, at=NOON)
    assert card(sequence).person


def test_cards_take_as_many_questions_for_many_sequences_as_for_few(
    ground: sequenced.Ground, django_assert_num_queries: Any
) -> None:
    for number in range(24):
        identifications.say(sequenced.sequence(ground, number), [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    for most in (2, 24):
        with django_assert_num_queries(8):
            assert len(pages.cards(Sequence.objects.order_by("start_at")[:most], person=ILKA, may=True)) == most


def test_no_key_is_given_twice_and_a_records_key_is_kept(ground: sequenced.Ground) -> None:
    for name, key in (
        ("Pine marten", None),
        ("Polecat", "p"),
        ("Stoat", "3"),
        ("Weasel", " "),
        ("Ünglück", "/"),
    ):
        Species.objects.create(name=name, slug=name.lower().replace(" ", "-").replace("ü", "u"), key=key)
    Species.objects.create(name="Gone", slug="gone", key="q", active=False)

    animals, others = pages.keys()

    keys = {k.name: k.key for k in [*animals, *others]}
    given = [k for k in keys.values() if k]
    assert len(given) == len(set(given))
    assert {name: keys[name] for name in ("Red deer", "Polecat", "blank", "vehicle", "unknown")} == {
        "Red deer": "d", "Polecat": "p", "blank": " ", "vehicle": "v", "unknown": "u",
    }  # fmt: skip
    assert keys["human"] == "o"  # since the polecat has the p
    assert keys["Stoat"] == "s"
    assert not set(given) & (pages.TAKEN - {" "})
    assert "Gone" not in keys


def test_the_usual_animals_of_a_site_come_first(ground: sequenced.Ground) -> None:
    for number, species in enumerate(("jay", "badger", "jay", "red-fox", "jay", "badger")):
        sequence = sequenced.sequence(ground, number, deployment=ground.deployments[0])
        identifications.say(sequence, [Line(what="animal", species=species)], by=ILKA, at=NOON)
    assert pages.usual()[ground.sites[0].pk] == ["jay", "badger", "red-fox"]
