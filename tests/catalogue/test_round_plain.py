"""A plan goes to plain data and comes back the same; drawn lines get fewer points and stay where they were."""

from __future__ import annotations

import json
import random
from itertools import pairwise

import pytest

from trod.catalogue.rounds import round_plain, wishes
from trod.errors import WrongInput
from trod.planning.visit.travel import distance_m


def off_m(at, line):
    """How far a point is from a line, by many points along it. [m]"""
    dense = [
        (a[0] + (b[0] - a[0]) * k / 50, a[1] + (b[1] - a[1]) * k / 50) for a, b in pairwise(line)
        for k in range(51)
    ]  # fmt: skip
    return min(float(distance_m(*at, *p)) for p in dense)


def test_a_thinned_line_is_nowhere_farther_off_than_it_may_be():
    chance = random.Random(5)
    line = [(47.3 + n * 1e-4, 13.9 + chance.uniform(0, 2e-4)) for n in range(120)]
    thin = round_plain.thinned(line, 6.0)

    assert len(thin) < len(line) / 1.5
    assert (thin[0], thin[-1]) == (line[0], line[-1])
    assert max(off_m(at, thin) for at in line) < 6.2  # and a little for the coarse measure
    straight = [(47.3 + n * 1e-4, 13.9) for n in range(50)]
    assert round_plain.thinned(straight, 1.0) == [straight[0], straight[-1]]


@pytest.mark.django_db
def test_a_plan_comes_back_as_it_was(cast):
    from datetime import timedelta

    from django.utils import timezone

    from trod.catalogue.rounds import rounds

    now = timezone.now()
    cast.deployment.start = now - timedelta(days=100)
    cast.deployment.save()
    wish = wishes.Wish(
        name="A", first=(now + timedelta(days=1)).date(), which="all", start_latitude=47.29, start_longitude=13.89,
        days=2,
    )  # fmt: skip
    made = rounds.plan(cast.reserve, wish, now)
    plain = json.loads(json.dumps(round_plain.to_plain(made)))

    again = round_plain.from_plain(plain)
    assert round_plain.to_plain(again) == plain
    assert [v.stop for t in again.plan.trips for v in t.visits] == [v.stop for t in made.plan.trips for v in t.visits]
    assert wishes.from_plain(json.loads(json.dumps(wish.plain()))) == wish


@pytest.mark.parametrize("row", [{}, {"version": 3}, {"version": 2}, {"version": 2, "stops": [], "trips": 3}])
def test_what_is_no_plan_is_refused_in_words(row):
    with pytest.raises(WrongInput):
        round_plain.from_plain(row)


def test_a_plan_whose_reasons_were_still_sentences_is_to_be_planned_anew():
    with pytest.raises(WrongInput, match="got 'a plan of kind 1'; needed: one that this Trod can read"):
        round_plain.from_plain({"version": 1, "stops": {}, "trips": [], "left_out": [], "ways_told": "on foot"})


@pytest.mark.parametrize(
    ("people", "parties"),
    [
        ("", (("one person", 1),)),
        ("Ada", (("Ada", 1),)),
        ("Ada, Ben, Cleo; Dora", (("Ada, Ben and Cleo", 3), ("Dora", 1))),
        ("2; 3", (("2 people", 2), ("3 people", 3))),
        ("Ada; Ada", (("Ada", 1), ("Ada, party 2", 1))),
        (" ; ,", (("one person", 1),)),
    ],
)
def test_people_are_parted_as_they_are_written(people, parties):
    from datetime import date

    assert wishes.Wish(name="A", first=date(2026, 5, 4), people=people).parties() == parties
