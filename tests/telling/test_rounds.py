"""What does not fit in an order chosen by hand, and a stop that cannot be visited, in both systems of units."""

from __future__ import annotations

import pytest

from trod.planning.visit.byhand import Doubt
from trod.planning.visit.rounds import CannotBeVisited, LeftOut, Stop
from trod.planning.visit.travel import NoWay
from trod.telling import rounds

FORD = Stop(key="ford", name="Ford", latitude_deg=47.0, longitude_deg=13.0, must=True, load_kg=40)


@pytest.mark.parametrize(
    ("doubt", "words"),
    [
        (Doubt(why="closed", name="Ford", detail="a hunt"), "Ford is closed that day: a hunt."),
        (Doubt(why="closed", name="Ford"), "Ford is closed that day: closed."),
        (Doubt(why="dark", name="Ford", at_min=1001.6), "Ford: it is dark before the visit is done (16:42)."),
        (Doubt(why="hours over", name="Ford", at_min=510, until_min=500), "Ford: one may be there until 8:20 only."),
        (Doubt(why="people", name="Ford", number=2), "Ford takes 2 people together."),
        (
            Doubt(why="home late", name="Ada", at_min=1500, until_min=1020),
            "Ada would be back at 1:00 the next day, after 17:00.",
        ),
        (
            Doubt(why="little rest", name="Ada", at_min=1010, until_min=1020, number=30),
            "Ada would be back at 16:50, with less than 30 minutes kept free.",
        ),
        (Doubt(why="load", name="Ada", number=9.04, most=9.0), "Ada would carry 9.04 kg, more than 9 kg."),
    ],
)
def test_what_does_not_fit_is_a_sentence_made_of_its_facts(doubt: Doubt, words: str) -> None:
    assert rounds.doubt(doubt, "metric") == words


def test_a_load_is_told_in_the_readers_units() -> None:
    assert rounds.doubt(Doubt(why="load", name="Ada", number=9.0, most=5.0), "us") == (
        "Ada would carry 19.8 lb, more than 11 lb."
    )


def test_a_stop_that_must_be_visited_and_cannot_be_tells_why_in_the_readers_units() -> None:
    heavy = CannotBeVisited(
        LeftOut(stop=FORD, why="load", saves_days=1.0, number=40.0), what="stop 'Ford'", needed="a way to go there"
    )
    far = NoWay(why="far from tracks", away_m=3000, most_m=500)
    lost = CannotBeVisited(
        LeftOut(stop=FORD, why="no access", saves_days=1.0, no_way=far), what="stop 'Ford'", needed="a way to go there"
    )

    assert str(heavy) == "stop 'Ford': got 'load'; needed: a way to go there"
    assert str(rounds.refused(heavy, "us")) == (
        "stop 'Ford': got 'its load of 88 lb is more than anyone carries'; needed: a way to go there"
    )
    assert "got 'there is no access: the nearest track is 3 km away" in str(rounds.refused(lost, "metric"))
    assert "got 'there is no access: the nearest track is 1.9 mi away" in str(rounds.refused(lost, "us"))
