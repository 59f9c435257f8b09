"""How often a site loses a camera, how long batteries last, and what a year costs."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from trod.errors import WrongInput
from trod.planning.ground.weather import Climate
from trod.planning.visit.maintenance import (
    BatteryVisit,
    CostKind,
    Spent,
    battery_sets,
    field_days,
    loss_rate,
    year_costs,
    year_span,
    years_between,
)
from trod.telling import maintenance as telling

START = datetime(2026, 1, 1, tzinfo=UTC)


def after(days: float) -> datetime:
    return START + timedelta(days=days)


# How often -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # 90 % limits of a Poisson count: the quantiles of chi-squared halved, Garwood (1936) Biometrika 28:437-442.
    # 0: -ln 0.05 = 2.9957 exactly; 1: 0.0513 and 4.7439; 5: 1.9701 and 10.5130 (from memory of the usual table,
    # and checked below by the Poisson tails themselves).
    [(0, 0.0, 2.9957), (1, 0.0513, 4.7439), (5, 1.9701, 10.5130)],
)
def test_the_rate_of_a_site_has_exact_poisson_limits(count: int, low: float, high: float) -> None:
    rate = loss_rate(count, 365.25 * 2)

    assert rate is not None
    assert rate.per_year == pytest.approx(count / 2)
    assert rate.low * 2 == pytest.approx(low, abs=2e-4) and rate.high * 2 == pytest.approx(high, abs=2e-4)


def test_limits_leave_five_in_a_hundred_on_either_side() -> None:
    from scipy.stats import poisson

    rate = loss_rate(3, 365.25)

    assert rate is not None
    assert poisson.sf(2, rate.low) == pytest.approx(0.05, abs=1e-9)
    assert poisson.cdf(3, rate.high) == pytest.approx(0.05, abs=1e-9)


def test_a_site_without_a_loss_is_not_said_to_be_safe() -> None:
    rate = loss_rate(0, 365.25)

    assert rate is not None
    assert telling.losses(rate) == "None in 1 camera-year; up to 3 a year for each camera cannot be ruled out (90 %)."
    assert loss_rate(2, 0) is None


# Batteries -----------------------------------------------------------------------------------------------------


def test_only_days_in_the_field_count() -> None:
    spans = [(after(0), after(10)), (after(20), after(30))]

    assert field_days(after(5), after(25), spans) == 10
    assert field_days(after(11), after(19), spans) == 0


def test_sets_end_dead_changed_or_still_in() -> None:
    visits = [
        BatteryVisit(at=after(0), changed=True, kind="LR6", number=8),
        BatteryVisit(at=after(60), dead=True, changed=True, kind="FR6", number=8),
        BatteryVisit(at=after(150), percent=70, changed=True, kind="FR6"),
        BatteryVisit(at=after(160), percent=100),
    ]
    sets = battery_sets(visits, [(after(0), after(200))], after(200))

    assert [(s.kind, s.days, s.end, s.percent) for s in sets] == [
        ("LR6", 60, "dead", None),
        ("FR6", 90, "changed", 70),
        ("FR6", 50, "still in", 100),
    ]
    assert all(s.fresh for s in sets)
    assert telling.batteries(sets) == (
        "1 set found dead: it was at most 60 days in the field; 1 set changed after 90 days with power left, at 70 %; "
        "the present set (FR6) is in for 50 days."
    )


def test_what_was_read_of_some_sets_is_not_said_of_the_others() -> None:
    visits = [
        BatteryVisit(at=after(0), changed=True),
        BatteryVisit(at=after(30), percent=96, changed=True),
        BatteryVisit(at=after(70), changed=True),
        BatteryVisit(at=after(100), percent=60, changed=True),
    ]

    def said(until: int) -> str:
        made = [visit for visit in visits if visit.at <= after(until)]
        return telling.batteries(battery_sets(made, [(after(0), after(until))], after(until)), present=False)

    assert said(60) == "1 set changed after 30 days with power left, at 96 %."
    assert said(80) == "2 sets changed after 30 to 40 days with power left, at 96 % where it was read (1 of 2)."
    assert said(120) == "3 sets changed after 30 to 40 days with power left, at 60 to 96 % where it was read (2 of 3)."


def test_batteries_found_dead_ended_then_although_they_were_changed_later() -> None:
    visits = [
        BatteryVisit(at=after(0), changed=True),
        BatteryVisit(at=after(40), dead=True),
        BatteryVisit(at=after(55), changed=True),
    ]
    first, _ = battery_sets(visits, [(after(0), after(90))], after(90))

    assert (first.days, first.end) == (40, "dead")


def test_the_winter_at_home_does_not_count_and_a_set_of_unknown_age_says_so() -> None:
    spans = [(after(0), after(50)), (after(150), after(170))]
    (only,) = battery_sets([], spans, after(170))

    assert (only.days, only.fresh, only.end) == (70, False, "still in")
    (down,) = battery_sets([], spans[:1], after(170))
    assert down.end == "retrieved"
    assert telling.batteries([down]).startswith("No change of batteries is noted")
    assert battery_sets([], [], after(1)) == ()


def test_nights_are_told_only_where_they_are_known() -> None:
    climate = Climate(minimum_c=(-7.0,) * 12)
    visits = [BatteryVisit(at=after(0), changed=True)]
    (cold,) = battery_sets(visits, [(after(0), after(20))], after(20), climate=climate)
    (unknown,) = battery_sets(visits, [(after(0), after(20))], after(20))

    assert cold.night_c == pytest.approx(-7.0) and unknown.night_c is None


# Costs -----------------------------------------------------------------------------------------------------


def test_a_year_adds_up_by_site_and_travel_goes_by_visits() -> None:
    costs = year_costs(
        [
            Spent(kind="batteries", site="Ford", amount=16.0),
            Spent(kind="incidents", site="Meadow", amount=250.0),
            Spent(kind="other", site="", amount=4.0),
        ],
        visits={"Ford": 3, "Meadow": 1},
        camera_days={"Ford": 100.0, "Meadow": 50.0},
        travel_km=200,
        price_per_km=0.4,
    )
    by = {line.site: line for line in costs.lines}

    assert [line.site for line in costs.lines] == ["Meadow", "Ford", ""]
    assert (by["Ford"].travel, by["Meadow"].travel) == (60, 20)
    assert costs.whole.total == pytest.approx(16 + 250 + 4 + 80)
    assert sum(line.total for line in costs.lines) == pytest.approx(costs.whole.total)
    assert by["Ford"].per_camera_day == pytest.approx(0.76)
    assert telling.costs(costs, 2026, "€") == (
        "In 2026 keeping the cameras cost 350.00 €: 2.33 € for each of the 150 days that one camera stood."
    )


def test_what_has_no_price_is_said_to_be_missing() -> None:
    costs = year_costs([Spent(kind="incidents", site="Ford", amount=None)], visits={}, camera_days={})

    assert telling.costs(costs, 2026) == (
        "Nothing with a price is noted for 2026. Not in it: 1 incident without a price. Travel is not in it: nobody has "
        "typed the way and its price."
    )
    assert costs.whole.per_camera_day is None


def test_travel_without_a_visit_belongs_to_no_site() -> None:
    costs = year_costs([], visits={}, camera_days={}, travel_km=10, price_per_km=1)

    assert [(line.site, line.travel) for line in costs.lines] == [("", 10)]


def test_a_way_below_nothing_is_refused() -> None:
    with pytest.raises(WrongInput, match="travel_km"):
        year_costs([], visits={}, camera_days={}, travel_km=-1, price_per_km=1)


def test_a_year_that_is_not_over_ends_now() -> None:
    now = datetime(2026, 7, 1, tzinfo=UTC)

    assert year_span(2026, now) == (START, now)
    assert year_span(2025, now)[1] == START
    assert year_span(2027, now)[0] == year_span(2027, now)[1]
    assert years_between(date(2024, 5, 1), date(2026, 1, 1)) == (2026, 2025, 2024)


def test_money_is_written_with_the_currency_as_it_was_typed() -> None:
    said = [telling.money(12.5, "€"), telling.money(1234.56, "CHF"), telling.money(3)]
    assert said == ["12.50 €", "1 235 CHF", "3.00"]


def test_what_has_no_price_is_counted_by_its_kind() -> None:
    kinds: tuple[CostKind, ...] = ("batteries", "cards", "cards", "other", "incidents", "incidents")
    found = year_costs([Spent(kind=k, site="Ford", amount=None) for k in kinds], visits={}, camera_days={})

    assert telling.costs(found, 2026, unbooked=2) == (
        "Nothing with a price is noted for 2026. Not in it: 1 use of batteries without a price. Not in it: 2 uses of "
        "cards without a price. Not in it: 2 incidents without a price. Not in it: 1 other use without a price. "
        "Not in it: 2 changes of batteries that nobody booked. Travel is not in it: nobody has typed the way and its "
        "price."
    )


def test_the_rate_of_all_sites_says_on_what_it_rests() -> None:
    assert telling.losses_of_all(None) == "No camera has stood anywhere yet."
    assert telling.losses_of_all(loss_rate(0, 365.25)) == (
        "Nothing in the log has stopped a camera. None in 1 camera-year; up to 3 a year for each camera cannot be ruled "
        "out (90 %)."
    )
    assert telling.losses_of_all(loss_rate(3, 3652.5)) == (
        "Of what stopped a camera the log has 3 in 10 camera-years: 0.3 a year for each camera, 0.082 to 0.78 (90 %)."
    )
