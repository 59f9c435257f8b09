"""A trip in an order that a person chose."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from trod.errors import WrongInput
from trod.planning.visit import rounds, travel
from trod.planning.visit.byhand import in_this_order
from trod.planning.visit.rounds import Party, RoundDay, Span, Stop

DAY = date(2026, 5, 4)
START = travel.Place(key="@start", latitude_deg=47.0, longitude_deg=13.0)


def stop(key: str, north_deg: float, **more: object) -> Stop:
    return Stop(key=key, name=key.title(), latitude_deg=47.0 + north_deg, longitude_deg=13.0, **more)  # type: ignore[arg-type]


def day(from_h: float = 8, to_h: float = 17, light: Span | None = None) -> RoundDay:
    return RoundDay(day=DAY, out=Span(from_min=60 * from_h, to_min=60 * to_h), light=light)


def trip(stops: list[Stop], **more: object):
    ways = travel.straight([START, *(s.place for s in stops)])
    told = {"number": 0, "day": day(), "party": Party(name="Ada", rest_min=0), "start": START, "ways": ways, **more}
    return in_this_order(stops, **told)  # type: ignore[arg-type]


def test_times_follow_one_another_as_the_ways_and_visits_say() -> None:
    made, doubts = trip([stop("near", 0.01), stop("far", 0.02)])

    assert doubts == ()
    assert made.leave == datetime(2026, 5, 4, 8)
    first, second = made.visits
    assert (first.arrive - made.leave).total_seconds() / 60 == pytest.approx(first.way.minutes)
    assert (first.leave - first.arrive).total_seconds() / 60 == pytest.approx(20)
    assert (second.arrive - first.leave).total_seconds() / 60 == pytest.approx(second.way.minutes)
    assert (made.home - second.leave).total_seconds() / 60 == pytest.approx(made.back.minutes)


def test_the_same_order_takes_as_long_as_the_planner_says() -> None:
    stops = [stop("a", 0.01, must=True), stop("b", 0.02, must=True), stop("c", 0.03, must=True)]
    ways = travel.straight([START, *(s.place for s in stops)])
    party = Party(name="Ada", rest_min=0)
    (planned,) = rounds.plan_round(stops, start=START, days=[day()], parties=[party], ways=ways, searcher="own").trips
    order = [v.stop for v in planned.visits]
    made, _ = in_this_order(order, number=0, day=day(), party=party, start=START, ways=ways)

    assert abs((made.home - made.leave) - (planned.home - planned.leave)).total_seconds() < 5


def test_they_leave_later_where_the_light_comes_later() -> None:
    made, _ = trip([stop("near", 0.01)], day=day(5, 17, light=Span(from_min=7 * 60, to_min=16 * 60)))

    assert made.visits[0].arrive == datetime(2026, 5, 4, 7)
    assert made.visits[0].wait_min == pytest.approx(0)


@pytest.mark.parametrize(
    ("stops", "more", "why"),
    [
        ([stop("a", 0.3)], {"day": day(8, 10)}, "home late"),
        ([stop("a", 0.01)], {"day": day(8, 9), "party": Party(name="Ada", rest_min=30)}, "little rest"),
        ([stop("a", 0.1)], {"day": day(8, 17, light=Span(from_min=480, to_min=540))}, "dark"),
        ([stop("a", 0.01, closed={DAY: "a hunt"})], {}, "closed"),
        ([stop("a", 0.01, people=2)], {}, "people"),
        ([stop("a", 0.01, load_kg=9.0)], {"party": Party(name="Ada", most_load_kg=5)}, "load"),
        ([stop("a", 0.1, window=Span(from_min=480, to_min=500))], {}, "hours over"),
    ],
)
def test_what_does_not_fit_is_told_and_not_forbidden(stops: list[Stop], more: dict[str, object], why: str) -> None:
    made, doubts = trip(stops, **more)

    assert len(made.visits) == 1
    assert why in {doubt.why for doubt in doubts}, doubts


def test_a_stop_without_a_way_and_a_day_that_is_too_short_are_refused() -> None:
    here = stop("a", 0.01)
    ways = travel.straight([START, here.place])
    ways.walk_min[0, 1] = float("inf")
    with pytest.raises(WrongInput, match="a stop that can be reached"):
        in_this_order([here], number=0, day=day(), party=Party(name="Ada"), start=START, ways=ways)
    with pytest.raises(WrongInput, match="do not fit into one day"):
        trip([stop(f"s{n}", 0.01 * n, there_min=600) for n in range(1, 4)])
    with pytest.raises(WrongInput, match="at least one stop"):
        trip([])
