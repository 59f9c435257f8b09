"""Records to plain data and back: the same record, and a fault told with its place, in words."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from trod.catalogue.rounds.note_plain import note_from, note_plain
from trod.catalogue.rounds.wishes import Wish, from_plain
from trod.errors import WrongInput
from trod.field.form.visit import Changes, PhonePlace, Photo, VisitNote, WalkPass
from trod.plain import in_words, plain, record
from trod_demo.truth import read_truth

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Load:
    what: str
    kg: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Trip:
    day: date
    leave: datetime
    loads: tuple[Load, ...]
    days: frozenset[date] | None = None
    closed: Mapping[date, str] = field(default_factory=dict)
    curve: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if len(self.loads) > 2:
            raise WrongInput("loads", got=len(self.loads), needed="at most 2")


TRIP = Trip(
    day=date(2026, 5, 4),
    leave=datetime(2026, 5, 4, 7, 30),
    loads=(Load(what="batteries", kg=1.5), Load(what="card")),
    days=frozenset({date(2026, 5, 5), date(2026, 5, 4)}),
    closed={date(2026, 5, 6): "a hunt"},
)


def test_a_record_comes_back_from_json_as_it_was():
    told = json.loads(json.dumps(plain(TRIP)))
    again = record(Trip, told, what="trip", needed="a trip")

    assert replace(again, curve=TRIP.curve) == TRIP
    assert told["days"] == ["2026-05-04", "2026-05-05"] and told["closed"] == {"2026-05-06": "a hunt"}
    assert plain(replace(TRIP, loads=())) == told | {"loads": []}  # lists, as JSON gives them back


def test_numbers_of_numpy_go_out_as_numbers_and_arrays_come_back():
    told = plain(replace(TRIP, loads=(Load(what="x", kg=np.float64(2.5)),), curve=np.array([0.1, 0.25])))

    assert told["loads"][0]["kg"] == 2.5 and told["curve"] == [0.1, 0.25]
    assert record(Trip, told, what="trip", needed="a trip").curve.tolist() == [0.1, 0.25]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"loads": [{"what": "x", "kg": "much"}]}, "loads[0].kg: needed a number, got a text"),
        ({"loads": [{"kg": 1}]}, "loads[0]: “what” is missing"),
        ({"loads": 3}, "loads: needed a list, got a whole number"),
        ({"days": 3}, "days: needed a list or nothing, got a whole number"),
        ({"day": 3}, "day: needed a day, got a whole number"),
    ],
)
def test_a_fault_is_told_with_its_place_in_words(change, told):
    with pytest.raises(WrongInput) as caught:
        record(Trip, plain(TRIP) | change, what="trip", needed="a trip as it was kept")

    assert (caught.value.what, caught.value.got, caught.value.needed) == ("trip", told, "a trip as it was kept")


def test_a_record_that_refuses_itself_is_heard_in_its_own_words():
    with pytest.raises(WrongInput, match="loads: got 3; needed: at most 2"):
        record(Trip, plain(TRIP) | {"loads": [{"what": "x"}] * 3}, what="trip", needed="a trip")
    with pytest.raises(WrongInput, match="days: got 99"):
        from_plain(Wish(name="A", first=date(2026, 5, 4)).plain() | {"days": 99})


def test_a_fault_of_a_kind_that_is_not_foreseen_is_still_told():
    assert in_words("Invalid enum value 'x' - at `$.kits[0].group`") == "kits[0].group: Invalid enum value 'x'"
    assert in_words("Expected `float`, got `str`") == "needed a number, got a text"


NOTE = VisitNote(
    uuid="u", site="s", deployment="d", phone="p", made_at=NOON, changed_at=NOON, revision=2, outcome="visited", at=NOON,
    battery_percent=40.0, clock_shown=datetime(2026, 5, 4, 11, 59), walk_passes=(WalkPass(distance_m=None, way="away",
    picture="yes"),), changes=Changes(burst=3, height_m=1.5),
    place=PhonePlace(latitude_deg=1.0, longitude_deg=2.5, accuracy_m=3.0, at=NOON),
    photos=(Photo(uuid="x", taken_at=NOON, width=3, height=4, jpeg=b"abc"),),
)  # fmt: skip


def test_a_note_comes_back_as_the_same_note_its_photos_by_their_sum():
    told = json.loads(json.dumps(note_plain(NOTE)))
    again = note_from(told)

    assert again.digest() == NOTE.digest() and type(again) is VisitNote
    assert replace(again, photos=()) == replace(NOTE, photos=())
    assert "jpeg" not in told["photos"][0] and again.photos[0].sha256 == NOTE.photos[0].sha256
    assert note_plain(again) == told


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"revision": "x"}, "revision: needed a whole number, got a text"),
        ({"photos": 3}, "photos: needed a list, got a whole number"),
        ({"photos": [{}]}, "photos[0]"),
        ({"photos": [7]}, "photos[0]"),
        ({"place": 7}, "place: needed a record or nothing, got a whole number"),
        ({"outcome": "flown over"}, "outcome: "),
    ],
)
def test_what_is_no_note_is_refused_with_the_fields_name(change, told):
    with pytest.raises(WrongInput) as caught:
        note_from(note_plain(NOTE) | change)

    assert str(caught.value.got).startswith(told)


@pytest.mark.parametrize("line", ["{", "[]", '{"path": "a"}'])
def test_a_line_that_is_no_truth_is_named(tmp_path: Path, line):
    (tmp_path / "truth.jsonl").write_text(f"\n{line}\n")

    with pytest.raises(WrongInput, match="line 2: got"):
        read_truth(tmp_path / "truth.jsonl")
