"""Rates as if every camera were equally good: analytic limits, what is refused, what is left out."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest
from pytest import approx

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Deployment, Evidence, Filter, Observation, Reserve, UnseenSequence
from trod.findings.equal_cameras import (
    LEAST_CHANCE,
    Chance,
    EqualCameras,
    equal_cameras,
    too_doubtful,
    widened,
)
from trod.findings.rates import LEVEL, Interval
from trod.telling.what_comes import answer as what_comes

DAY_S = 86_400.0
BEGIN_S = 1_735_689_600.0  # 1 January 2025, 00:00 UTC
RESERVE = Reserve(name="Hollin Fold (invented)", latitude_deg=47.3, longitude_deg=12.8)
DEER = Filter(species=("deer",), independence_min=0.0)
MONTHS = (date(2025, 1, 1), date(2025, 2, 1), date(2025, 3, 1))
DAYS = 90


def seen(site: str, days: list[int], *, hour: float = 11.0) -> list[Observation]:
    return [
        Observation(
            sequence=f"{site} {day} {hour}", deployment="1", site=site, utc_s=BEGIN_S + DAY_S * day + 3600 * hour,
            species="deer", picture=f"{site} {day}",
        )
        for day in days
    ]  # fmt: skip


def evidence(*observations: Observation, sites: tuple[str, ...] = ("a", "b")) -> Evidence:
    watched = ((BEGIN_S, BEGIN_S + DAYS * DAY_S),)
    return Evidence(
        reserve=RESERVE,
        deployments=tuple(Deployment(slug="1", site=site, watched=watched) for site in sites),
        observations=observations,
        review_order="time",
    )


def chances(
    site: str, by_day: float, by_night: float | None = None, months: tuple[date, ...] = MONTHS, **effects: float
) -> list[Chance]:
    by_light = {"day": by_day, "night": by_day if by_night is None else by_night}
    return [
        Chance(deployment=f"{site}/1", month=month, light=light, value=value, effects=effects)  # type: ignore[arg-type]
        for month in months
        for light, value in by_light.items()
    ]


BOTH = evidence(*seen("a", list(range(0, 90, 3))), *seen("b", list(range(1, 90, 9))))  # 30 and 10, by day


def test_equal_chances_give_the_plain_rate_and_its_interval() -> None:
    found = equal_cameras(BOTH, DEER, [*chances("a", 0.4), *chances("b", 0.4)])
    plain = what_comes(BOTH, DEER)

    assert found.equal == approx(plain.value) == approx(100 * 40 / 180)
    assert plain.interval is not None
    assert (found.shown.low, found.shown.high) == (approx(plain.interval.low), approx(plain.interval.high))
    assert found.reference == approx(0.4) and found.doubt_ln == 0


def test_an_exact_chance_divides_the_rate_of_its_site_exactly() -> None:
    found = equal_cameras(BOTH, DEER, [*chances("a", 0.9), *chances("b", 0.3)])
    a, b = found.sites

    assert found.reference == approx(0.6)
    assert a.plain == approx(100 * 30 / 90) and a.equal == approx(a.plain * 0.6 / 0.9)
    assert b.plain == approx(100 * 10 / 90) and b.equal == approx(b.plain * 0.6 / 0.3)
    assert found.equal == approx((a.equal + b.equal) / 2)  # equally long watched
    assert found.ratio is not None
    assert found.ratio.ratio == approx(1.0) and found.ratio.plain == approx(3.0)
    assert a.shown is not None and a.shown.low < a.equal < a.shown.high


def test_a_factor_common_to_all_chances_falls_out() -> None:
    whole = equal_cameras(BOTH, DEER, [*chances("a", 0.9), *chances("b", 0.3)])
    less = equal_cameras(BOTH, DEER, [*chances("a", 0.45), *chances("b", 0.15)])

    assert less.reference == approx(whole.reference / 2)
    assert less.equal == approx(whole.equal)
    assert (less.shown.low, less.shown.high) == (approx(whole.shown.low), approx(whole.shown.high))


def test_a_cause_of_doubt_that_moves_all_chances_alike_adds_nothing() -> None:
    sure = equal_cameras(BOTH, DEER, [*chances("a", 0.9), *chances("b", 0.3)])
    shared = equal_cameras(BOTH, DEER, [*chances("a", 0.9, warmth=0.3), *chances("b", 0.3, warmth=0.3)])
    own = equal_cameras(BOTH, DEER, [*chances("a", 0.9, path_a=0.2), *chances("b", 0.3, path_b=0.2)])

    assert shared.doubt_ln == approx(0, abs=1e-12) and shared.shown.high == approx(sure.shown.high)
    # Reference: a gives 3/4 of it, b 1/4; the carried detections: half each (30·⅔ and 10·2).
    assert own.doubt_ln == approx(0.2 * math.hypot(3 / 4 - 1 / 2, 1 / 4 - 1 / 2))
    assert own.shown.low < sure.shown.low and own.shown.high > sure.shown.high
    assert own.ratio is not None and sure.ratio is not None
    wider = math.log(own.ratio.interval.high / own.ratio.ratio)
    runs = math.log(sure.ratio.interval.high / sure.ratio.ratio)
    assert wider == approx(math.hypot(runs, 1.959964 * 0.2 * math.sqrt(2)), rel=1e-6)


def test_each_detection_is_carried_by_the_chance_of_its_own_light() -> None:
    night = evidence(*seen("a", list(range(0, 90, 3)), hour=23.0), *seen("b", list(range(1, 90, 9))))
    told = [*chances("a", 0.8, 0.2), *chances("b", 0.8, 0.2)]

    assert equal_cameras(night, DEER, told).sites[0].equal == approx(100 * 30 / 90 * 0.5 / 0.2)
    assert equal_cameras(BOTH, DEER, told).sites[0].equal == approx(100 * 30 / 90 * 0.5 / 0.8)


def test_only_the_asked_half_of_the_day_needs_a_chance() -> None:
    by_day = replace(DEER, light="day")
    told = [one for one in [*chances("a", 0.9), *chances("b", 0.3)] if one.light == "day"]

    assert equal_cameras(BOTH, by_day, told).reference == approx(0.6)
    with pytest.raises(NotEnoughEvidence, match="known for 0 % of the site-days"):
        equal_cameras(BOTH, DEER, told)


def test_two_cameras_one_after_the_other_take_the_mean_of_their_days() -> None:
    half = BEGIN_S + 15 * DAY_S
    both = evidence(*seen("a", [3, 20]), *seen("b", [4, 9]))
    parts = (
        Deployment(slug="1", site="a", watched=((BEGIN_S, half),)),
        Deployment(slug="2", site="a", watched=((half, BEGIN_S + 31 * DAY_S),)),
        Deployment(slug="1", site="b", watched=((BEGIN_S, BEGIN_S + 31 * DAY_S),)),
    )
    told = [
        *chances("a", 0.2),
        *chances("b", 0.5),
        *(replace(one, deployment="a/2", value=0.8) for one in chances("a", 0.2)),
    ]
    found = equal_cameras(replace(both, deployments=parts), DEER, told)

    assert found.sites[0].chance == approx((15 * 0.2 + 16 * 0.8) / 31)


def test_two_cameras_at_once_are_left_out_and_told() -> None:
    spans = ((BEGIN_S, BEGIN_S + DAYS * DAY_S),)
    three = evidence(*seen("a", [1, 2]), *seen("b", [3]), *seen("c", [4]), sites=("a", "b", "c"))
    doubled = replace(three, deployments=(*three.deployments, Deployment(slug="2", site="c", watched=spans)))
    told = [*chances("a", 0.5), *chances("b", 0.5), *chances("c", 0.5)]
    found = equal_cameras(doubled, DEER, told)

    assert [(one.site, one.why, one.days) for one in found.apart] == [("c", "two cameras", approx(90))]
    assert found.share == approx(2 / 3) and len(found.found) == 3


def known_of_two_of_three(unknown: str) -> EqualCameras:
    three = evidence(*seen("a", [1, 2, 40]), *seen("b", [3]), *seen("c", [4, 50]), sites=("a", "b", "c"))
    return equal_cameras(three, DEER, [*chances("a", 0.6), *chances("b", 0.4)], unknown=unknown)  # type: ignore[arg-type]


def test_a_site_without_a_chance_is_left_out_or_kept_as_it_is() -> None:
    out, kept = known_of_two_of_three("left out"), known_of_two_of_three("kept")

    assert [(one.site, one.why) for one in out.apart] == [("c", "no chance known")]
    assert [one.site for one in out.sites] == ["a", "b"] and out.days == approx(180)
    assert [one.site for one in kept.sites] == ["a", "b", "c"] and kept.days == approx(270)
    c = kept.sites[2]
    assert c.equal == approx(c.plain) == approx(100 * 2 / 90)
    assert kept.reference == approx(out.reference) == approx(0.5)


def test_a_chance_too_low_is_never_carried_up() -> None:
    three = evidence(*seen("a", [1]), *seen("b", [3]), *seen("c", [4]), sites=("a", "b", "c"))
    told = [*chances("a", 0.6), *chances("b", 0.4), *chances("c", 0.6, LEAST_CHANCE / 2)]
    for unknown in ("left out", "kept"):
        found = equal_cameras(three, DEER, told, unknown=unknown)  # type: ignore[arg-type]
        assert [(one.site, one.why) for one in found.apart] == [("c", "too low")]
        assert [one.site for one in found.sites] == ["a", "b"]


def test_a_chance_too_doubtful_is_left_out_whatever_is_done_with_unknown_ones() -> None:
    three = evidence(*seen("a", [1]), *seen("b", [3]), *seen("c", [4]), sites=("a", "b", "c"))
    told = [*chances("a", 0.6), *chances("b", 0.4), *chances("c", 0.6, path=1.01)]
    found = equal_cameras(three, DEER, told, unknown="kept")
    assert [(one.site, one.why) for one in found.apart] == [("c", "too doubtful")]
    assert [one.site for one in found.sites] == ["a", "b"]


@pytest.mark.parametrize(
    ("told", "asked", "why"),
    [
        ([*chances("a", 0.6), *chances("b", 0.4)], Filter(), "no single kind"),
        ([*chances("a", 0.6)], replace(DEER, sites=("a",)), "one camera alone"),
        ([], DEER, "known for 0 % of the site-days"),
        ([*chances("a", 0.6), *chances("b", 0.4)], Filter(species=("hare",)), "none was seen"),
        ([*chances("a", 0.95, x=0.95), *chances("b", 0.1, x=-0.95)], DEER, "so doubtful that they alone"),
    ],
)
def test_what_cannot_be_said_is_refused(told: list[Chance], asked: Filter, why: str) -> None:
    with pytest.raises(NotEnoughEvidence, match=why):
        equal_cameras(BOTH, asked, told)


def test_without_a_place_day_and_night_are_not_known() -> None:
    nowhere = replace(BOTH, reserve=replace(RESERVE, latitude_deg=None))
    with pytest.raises(NotEnoughEvidence, match="where the reserve lies"):
        equal_cameras(nowhere, DEER, [*chances("a", 0.6), *chances("b", 0.4)])


def test_what_waits_for_review_is_carried_too() -> None:
    waits = tuple(
        UnseenSequence(sequence=f"w{day}", site="a", utc_s=BEGIN_S + DAY_S * day + 41_000.0) for day in range(1, 90, 3)
    )
    found = equal_cameras(replace(BOTH, unseen=waits), DEER, [*chances("a", 0.9), *chances("b", 0.3)])

    assert found.sites[0].plain == approx(100 * 60 / 90, rel=0.05)  # half of a's sequences wait
    assert found.sites[0].equal == approx(found.sites[0].plain * 0.6 / 0.9)


def test_picked_by_content_the_lower_end_is_that_of_what_was_found() -> None:
    waits = tuple(
        UnseenSequence(sequence=f"w{day}", site="a", utc_s=BEGIN_S + DAY_S * day + 41_000.0) for day in range(1, 90, 3)
    )
    told = [*chances("a", 0.9), *chances("b", 0.3)]
    by_time = equal_cameras(replace(BOTH, unseen=waits), DEER, told)
    picked = equal_cameras(replace(BOTH, unseen=waits, review_order="content"), DEER, told)

    assert picked.shown.high == by_time.shown.high and picked.equal == by_time.equal
    assert picked.shown.low < by_time.shown.low


def test_an_interval_widens_by_the_root_of_both_squares() -> None:
    shown = Interval(low=5.0, high=20.0, level=LEVEL, kind="runs")
    same, wide = widened(10.0, shown, 0.0), widened(10.0, shown, math.log(2) / 1.959964)

    assert same == shown
    assert (wide.low, wide.high) == (approx(10 / 2 ** math.sqrt(2), rel=1e-6), approx(10 * 2 ** math.sqrt(2), rel=1e-6))
    assert not too_doubtful(0.56) and too_doubtful(0.57)  # ln 3 / 1.96 = 0.5605


@pytest.mark.parametrize("value", [-0.1, 1.1, math.nan])
def test_a_chance_lies_between_none_and_all(value: float) -> None:
    with pytest.raises(WrongInput, match="chance"):
        Chance(deployment="a/1", month=MONTHS[0], light="day", value=value)
