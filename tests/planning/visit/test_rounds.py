"""Rounds: who is visited when, by whom, by which way, and what is left."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from trod.errors import WrongInput
from trod.planning.visit.ordering import Searcher
from trod.planning.visit.rounds import (
    LADDER_KG,
    CannotBeVisited,
    LeftOut,
    Party,
    RoundDay,
    RoundPlan,
    Span,
    Stop,
    carried_kg,
    daylight,
    plan_round,
)
from trod.planning.visit.tracks import Track, along, join
from trod.planning.visit.travel import Place, Ways, straight
from trod.sky import sun_times
from trod.telling import rounds as told

SEARCHERS: tuple[Searcher, ...] = ("pyvrp", "own")
MONDAY, TUESDAY = date(2026, 3, 2), date(2026, 3, 3)
OUT = Span(from_min=7 * 60, to_min=17 * 60)
YARD = Place(key="yard", latitude_deg=47.30, longitude_deg=13.90)
VERA = Party(name="Vera")


def stop(key: str, north_km: float, east_km: float = 0.0, **more: object) -> Stop:
    told: dict[str, object] = {"name": key.title(), "saves_days": 20.0, "there_min": 30.0}
    return Stop(
        key=key,
        latitude_deg=47.30 + north_km / 111.195,
        longitude_deg=13.90 + east_km / 75.4,
        **(told | more),  # type: ignore[arg-type]
    )


def by_foot(stops: list[Stop]) -> Ways:
    return straight([YARD, *(s.place for s in stops)])


def plan(
    stops: list[Stop],
    *,
    days: tuple[date, ...] = (MONDAY,),
    parties: tuple[Party, ...] = (VERA,),
    searcher: Searcher = "auto",
    **more: object,
) -> RoundPlan:
    return plan_round(
        stops,
        start=YARD,
        days=[RoundDay(day=d, out=OUT) for d in days],
        parties=parties,
        ways=by_foot(stops),
        searcher=searcher,
        **{"worth_min": 30.0, **more},  # type: ignore[arg-type]
    )


def turns(found: RoundPlan) -> list[str]:
    return [visit.stop.key for trip in found.trips for visit in trip.visits]


def test_the_times_of_a_trip_add_up() -> None:
    found = plan([stop("a", 1), stop("b", 2), stop("c", 1, 1)])
    (trip,) = found.trips

    now = trip.leave
    assert now == datetime(2026, 3, 2, 7, 0)
    for visit in trip.visits:
        assert abs((visit.arrive - now).total_seconds() / 60 - visit.way.minutes) < 0.02
        assert visit.leave - visit.arrive == timedelta(minutes=30)
        now = visit.leave
    assert abs((trip.home - now).total_seconds() / 60 - trip.back.minutes) < 0.02
    assert trip.walk_min == pytest.approx(sum(way.minutes for way in trip.ways))
    assert trip.climb_m is None
    assert found.saves_days == 60


def test_stops_on_a_circle_are_gone_round_in_their_order() -> None:
    angles = np.linspace(0, 2 * np.pi, 9)[:-1]
    ring = [stop(f"s{k}", 1.5 * np.sin(a), 1.5 * np.cos(a) - 1.5) for k, a in enumerate(angles)]

    for searcher in SEARCHERS:
        found = turns(plan(ring[1:], searcher=searcher))
        assert found in ([f"s{k}" for k in range(1, 8)], [f"s{k}" for k in range(7, 0, -1)])


def test_a_stop_not_worth_its_way_is_left_out_with_what_it_would_take() -> None:
    far = stop("far", 9, saves_days=0.4)
    found = plan([stop("near", 1), far])

    assert turns(found) == ["near"]
    (left,) = found.left_out
    # Eight kilometres beyond the near stop and back, lengthened by 1.3, at 5.0367 km/h, and half an hour there.
    more = 2 * 8 * 1.3 / 5.0367 * 60 + 30
    assert left.more_min == pytest.approx(more, abs=1)
    assert told.left_out(left, "metric") == "it would take 4 h 38 min more and save 0.4 camera-days"
    assert told.sentence(found, "metric").endswith("1 is left for another time.")


def test_a_must_is_gone_to_whatever_it_costs() -> None:
    assert turns(plan([stop("far", 9, saves_days=0.0, must=True)])) == ["far"]


def test_a_must_that_cannot_be_is_refused_with_its_reason() -> None:
    with pytest.raises(
        CannotBeVisited, match=r"stop 'Far', which must be visited: got 'too long a way'; needed: a way to go there"
    ) as refused:
        plan([stop("far", 21.05, must=True)])
    assert refused.value.left.number == pytest.approx(326, abs=1)


def test_more_value_a_minute_makes_longer_trips() -> None:
    stops = [stop(f"s{k}", k, saves_days=1.0) for k in range(1, 8)]

    few, many = (len(turns(plan(stops, worth_min=worth))) for worth in (10, 120))
    assert few < many


def test_of_two_days_the_urgent_stop_gets_the_first() -> None:
    stops = [
        stop("urgent", 5, 5, saves_days=(30.0, 5.0), there_min=240),
        stop("patient", -5, -5, saves_days=(20.0, 20.0), there_min=240),
    ]
    for searcher in SEARCHERS:
        found = plan(stops, days=(MONDAY, TUESDAY), searcher=searcher)
        assert [(t.day, t.visits[0].stop.key) for t in found.trips] == [(MONDAY, "urgent"), (TUESDAY, "patient")]


def test_a_stop_closed_on_one_day_is_visited_on_the_other() -> None:
    stops = [stop("lek", 1, closed={MONDAY: "grouse at the lek"}), stop("b", 1, 1)]

    for searcher in SEARCHERS:
        found = plan(stops, days=(MONDAY, TUESDAY), searcher=searcher)
        assert [t.day for t in found.trips for v in t.visits if v.stop.key == "lek"] == [TUESDAY]


def test_a_stop_closed_on_all_days_says_why() -> None:
    found = plan([stop("lek", 1, closed={MONDAY: "grouse at the lek"}), stop("b", 1, 1)])

    assert [told.left_out(left, "metric") for left in found.left_out] == ["closed on that day: grouse at the lek"]


def test_a_window_is_kept_and_the_wait_is_told() -> None:
    stops = [
        stop("gate", 1, window=Span(from_min=13 * 60, to_min=15 * 60)),
        stop("dawn", 1, 1, window=Span(from_min=420, to_min=510)),
    ]
    for searcher in SEARCHERS:
        (trip,) = plan(stops, searcher=searcher).trips
        dawn, gate = trip.visits
        assert (dawn.stop.key, gate.stop.key) == ("dawn", "gate")
        assert dawn.leave <= datetime(2026, 3, 2, 8, 30)
        begin = gate.arrive + timedelta(minutes=gate.wait_min)
        assert begin == datetime(2026, 3, 2, 13, 0)
        assert gate.wait_min > 200


def test_one_party_alone_with_a_gate_at_noon_leaves_late_instead_of_waiting() -> None:
    (trip,) = plan([stop("gate", 1, window=Span(from_min=13 * 60, to_min=15 * 60))]).trips

    assert trip.visits[0].wait_min == 0
    assert trip.leave > datetime(2026, 3, 2, 12, 30)


def test_everyone_is_home_before_the_day_ends_with_the_rest_kept_free() -> None:
    stops = [stop(f"s{k}", 2, k / 3, there_min=60) for k in range(12)]
    found = plan(stops, parties=(Party(name="Vera", rest_min=45), Party(name="Ilo", rest_min=0)))

    ends = {trip.party.name: trip.home for trip in found.trips}
    assert ends["Vera"] <= datetime(2026, 3, 2, 16, 15)
    assert ends["Ilo"] <= datetime(2026, 3, 2, 17, 0)
    assert {left.why for left in found.left_out} <= {"no room beside better"}
    assert found.stops + len(found.left_out) == 12


def test_visits_are_within_the_light_though_the_way_home_may_not_be() -> None:
    stops = [stop(f"s{k}", 3, k / 3, there_min=60) for k in range(10)]
    light = Span(from_min=9 * 60, to_min=12 * 60 + 20)
    found = plan_round(
        stops,
        start=YARD,
        days=[RoundDay(day=MONDAY, out=OUT, light=light)],
        parties=[VERA],
        ways=by_foot(stops),
    )

    visits = [v for t in found.trips for v in t.visits]
    assert visits
    assert min(v.arrive + timedelta(minutes=v.wait_min) for v in visits) >= datetime(2026, 3, 2, 9)
    assert max(v.leave for v in visits) <= datetime(2026, 3, 2, 12, 20)
    assert max(t.home for t in found.trips) > datetime(2026, 3, 2, 12, 20)


def test_nobody_carries_more_than_they_can() -> None:
    stops = [stop(f"s{k}", 1, k / 4, load_kg=4.0, there_min=10) for k in range(6)]
    for searcher in SEARCHERS:
        found = plan(
            stops, parties=(Party(name="Vera", most_load_kg=12), Party(name="Ilo", most_load_kg=8)), searcher=searcher
        )
        assert {t.party.name: t.load_kg for t in found.trips} == {"Vera": 12, "Ilo": 8}
        assert len(found.left_out) == 1


def test_a_stop_that_takes_two_goes_to_the_party_of_two() -> None:
    stops = [stop("ladder", 1, people=2, ladder=True), stop("plain", -1)]
    parties = (Party(name="Vera"), Party(name="Ilo and Sten", people=2))
    for searcher in SEARCHERS:
        found = plan(stops, parties=parties, searcher=searcher)
        assert [t.party.name for t in found.trips for v in t.visits if v.stop.key == "ladder"] == ["Ilo and Sten"]


def test_a_stop_that_takes_two_is_left_out_when_everyone_goes_alone() -> None:
    found = plan([stop("ladder", 1, people=2), stop("plain", -1)])

    assert [told.left_out(left, "metric") for left in found.left_out] == ["it takes 2 people together"]


def test_a_load_too_heavy_for_anyone_is_said() -> None:
    found = plan([stop("heavy", 1, load_kg=40)], parties=(Party(name="Vera", most_load_kg=20),))

    assert [told.left_out(left, "metric") for left in found.left_out] == [
        "its load of 40 kg is more than anyone carries"
    ]
    assert told.sentence(found, "metric") == "No stop is worth going to on these days."


def test_a_party_goes_on_its_own_days_alone() -> None:
    stops = [stop(f"s{k}", 3, k, there_min=150) for k in range(6)]
    parties = (Party(name="Vera", days=frozenset({TUESDAY})), Party(name="Ilo"))
    found = plan(stops, days=(MONDAY, TUESDAY), parties=parties)

    assert {t.day for t in found.trips if t.party.name == "Vera"} == {TUESDAY}


def test_a_site_without_a_way_is_left_out_with_the_reason_of_the_tracks() -> None:
    network = join([Track(points=((47.30, 13.90), (47.33, 13.90)))])
    stops = [stop("near", 2), stop("lost", 2, 3)]
    found = plan_round(
        stops,
        start=YARD,
        days=[RoundDay(day=MONDAY, out=OUT)],
        parties=[VERA],
        ways=along([YARD, *(s.place for s in stops)], network),
    )

    assert turns(found) == ["near"]
    assert told.left_out(found.left_out[0], "metric").startswith("there is no access: the nearest track is 3 km away")
    assert len(found.trips[0].visits[0].line) >= 2


def test_the_plan_of_a_small_day_is_the_best_of_all_orders() -> None:
    stops = [stop(f"s{k}", n, e) for k, (n, e) in enumerate([(2, 1), (-1, 2), (1, -2), (3, 3), (-2, -1)])]
    ways = by_foot(stops).minutes
    best = min(
        ways[0, turn[0]] + sum(ways[a, b] for a, b in itertools.pairwise(turn)) + ways[turn[-1], 0]
        for turn in itertools.permutations(range(1, 6))
    )

    for searcher in SEARCHERS:
        (trip,) = plan(stops, searcher=searcher).trips
        assert sum(way.minutes for way in trip.ways) == pytest.approx(best, abs=0.1)


def test_the_same_seed_gives_the_same_plan() -> None:
    stops = [stop(f"s{k}", 2 * np.sin(k), 2 * np.cos(2 * k)) for k in range(12)]

    assert plan(stops, seed=7) == plan(stops, seed=7)


def test_the_sentence_says_what_was_planned_and_by_which_search() -> None:
    found = plan([stop("a", 1), stop("b", 1, 1)], searcher="own")
    words = told.sentence(found, "metric")

    assert words.startswith("2 stops on 1 day, ")
    assert "km on foot, save about 40 camera-days." in words
    assert words.endswith("Ordered by Trod's own search; the extra route finds somewhat shorter ways.")
    assert "own search" not in told.sentence(plan([stop("a", 1)], searcher="pyvrp"), "metric")
    walked_km = sum(trip.walk_m for trip in found.trips) / 1000
    assert f" {walked_km / 1.609344:.1f} mi on foot, save about 40 camera-days." in told.sentence(found, "us")


def test_the_words_of_a_round_follow_from_its_facts_alone() -> None:
    """Sites that no way leads to were told as not worth it: the sentence looked for words that no reason had."""
    network = join([Track(points=((47.30, 13.90), (47.33, 13.90)))])
    lost = stop("lost", 2, 3)
    ways = along([YARD, lost.place], network)
    shut = plan_round([lost], start=YARD, days=[RoundDay(day=MONDAY, out=OUT)], parties=[VERA], ways=ways)

    assert told.is_shut(shut)
    assert told.sentence(shut, "us").startswith("No stop can be gone to on these days")
    heavy = plan([stop("heavy", 1, load_kg=40)], parties=(Party(name="Vera", most_load_kg=20),))
    assert told.left_out(heavy.left_out[0], "us") == "its load of 88 lb is more than anyone carries"
    four = plan([stop(f"s{k}", 1, k / 3) for k in range(4)])
    chosen = replace(four, left_out=(LeftOut(stop=lost, why="you left it out", saves_days=1),))
    assert told.sentence(replace(chosen, scope="as many as fit"), "metric").endswith("save about 80 camera-days.")
    assert told.sentence(replace(chosen, scope="in your order"), "metric") == (
        "4 stops in the order you chose save about 80 camera-days."
    )


def test_a_round_of_no_stops_is_a_plan_of_no_trips() -> None:
    found = plan([])

    assert (found.trips, told.sentence(found, "metric")) == ((), "There is no stop to go to.")


# --- daylight -------------------------------------------------------------------------------------


def test_daylight_runs_from_twilight_to_twilight_less_the_margin() -> None:
    zone = ZoneInfo("Europe/Vienna")
    sun = sun_times(MONDAY, latitude_deg=47.3, longitude_deg=13.9, zone=zone)
    wide = daylight(MONDAY, latitude_deg=47.3, longitude_deg=13.9, zone=zone)
    narrow = daylight(MONDAY, latitude_deg=47.3, longitude_deg=13.9, zone=zone, light="sun up", margin_min=15)

    assert wide is not None and narrow is not None and sun.civil_dawn is not None and sun.set is not None
    assert wide.from_min == pytest.approx(sun.civil_dawn.hour * 60 + sun.civil_dawn.minute, abs=1)
    assert narrow.to_min == pytest.approx(sun.set.hour * 60 + sun.set.minute - 15, abs=1)


@pytest.mark.parametrize(
    ("latitude_deg", "day", "light", "lit"),
    [
        (78.0, date(2026, 6, 21), "civil twilight", True),  # midnight sun
        (78.0, date(2026, 12, 21), "civil twilight", False),  # polar night
        (69.0, date(2026, 12, 21), "sun up", False),  # the sun stays down ...
        (69.0, date(2026, 12, 21), "civil twilight", True),  # ... and yet there are hours of twilight
        (66.0, date(2026, 5, 17), "civil twilight", True),  # the sun sets, the twilight does not end
        (89.0, date(2026, 9, 26), "civil twilight", True),  # near the pole: twilight for days on end
    ],
)
def test_daylight_near_the_poles(latitude_deg: float, day: date, light: str, lit: bool) -> None:
    found = daylight(day, latitude_deg=latitude_deg, longitude_deg=20, zone=UTC, light=light)  # type: ignore[arg-type]

    assert (found is not None) == lit


def test_a_margin_longer_than_the_day_leaves_none() -> None:
    assert (
        daylight(date(2026, 12, 21), latitude_deg=66, longitude_deg=20, zone=UTC, light="sun up", margin_min=120) is None
    )


# --- refusals -------------------------------------------------------------------------------------


def test_refusals_say_what_is_needed() -> None:
    two = [stop("a", 1), stop("b", 2)]
    with pytest.raises(WrongInput, match=r"stops: got \['a'\]; needed: each place once"):
        plan_round([two[0]] * 2, start=YARD, days=[RoundDay(day=MONDAY, out=OUT)], parties=[VERA], ways=by_foot(two))
    with pytest.raises(WrongInput, match=r"saves_days of 'a': got '2 numbers'; needed: one for each of the 1 days"):
        plan([replace(two[0], saves_days=(1.0, 2.0))])
    with pytest.raises(WrongInput, match=r"days: got \['2026-03-03', '2026-03-02'\]; needed: one day or more"):
        plan(two, days=(TUESDAY, MONDAY))
    with pytest.raises(WrongInput, match=r"parties: got \[\]; needed: one party or more"):
        plan(two, parties=())
    with pytest.raises(WrongInput, match="parties: got 'none that can go on any of the days'"):
        plan(two, parties=(Party(name="Vera", days=frozenset()),))
    with pytest.raises(WrongInput, match="saves_days of 'a': got nan; needed: camera-days, 0 or more"):
        stop("a", 1, saves_days=float("nan"))
    with pytest.raises(WrongInput, match=r"span: got \(600, 500\); needed: two times of one day"):
        Span(from_min=600, to_min=500)
    with pytest.raises(WrongInput, match="place: got 'b'; needed: one of the places that the ways were worked out for"):
        plan_round(two, start=YARD, days=[RoundDay(day=MONDAY, out=OUT)], parties=[VERA], ways=by_foot(two[:1]))


def test_a_ladder_counts_once_in_what_is_carried() -> None:
    one = Stop(key="a", name="A", latitude_deg=47, longitude_deg=13, load_kg=0.4, ladder=True)
    other, plain = replace(one, key="b"), replace(one, key="c", ladder=False)

    assert carried_kg([plain]) == 0.4
    assert carried_kg([one, other, plain]) == pytest.approx(3 * 0.4 + LADDER_KG)
