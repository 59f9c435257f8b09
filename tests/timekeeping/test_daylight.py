"""A clock's error told by the light: noise-free combs whose truth is known, refusals, invariances."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from trod import sky
from trod.errors import WrongInput
from trod.timekeeping import daylight
from trod.timekeeping.daylight import ByDaylight, CannotTell

Comb = tuple[np.ndarray, np.ndarray]


def comb(
    first: str,
    *,
    latitude_deg: float,
    longitude_deg: float,
    fast_min: float = 0,
    evening: float,
    morning: float | None = None,
) -> Comb:
    """A picture each 10 minutes for 14 days, grey exactly below a height of the sun."""
    at = datetime.fromisoformat(first).replace(tzinfo=UTC).timestamp() + np.arange(0, 14 * 86_400, 600.0)
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    height = sky.sun_position(at, **place)[0]
    rising = sky.sun_position(at + 60, **place)[0] > height
    return at + 60 * fast_min, height < np.where(rising, evening if morning is None else morning, evening)


def told(made: Comb, *, latitude_deg: float = 45, longitude_deg: float = 7, **more: float) -> ByDaylight:
    found = daylight.clock_by_daylight(
        *made, utc_offset_min=0, latitude_deg=latitude_deg, longitude_deg=longitude_deg, **more
    )
    assert isinstance(found, ByDaylight), found
    return found


MARCH = comb("2024-03-13", latitude_deg=45, longitude_deg=7, fast_min=37, evening=-4)


def test_a_clock_37_minutes_fast_is_told_to_a_minute_and_a_half_with_its_threshold() -> None:
    found = told(MARCH)
    assert found.fast_min == pytest.approx(37, abs=1.5)
    assert found.low_min < 37 < found.high_min
    assert found.threshold_deg == pytest.approx(-4, abs=0.1)
    # 0.25 cos φ cos δ |sin H| / cos h, near the equinox at 45° and −4°: 0.1763°/min.
    assert found.speed_deg_per_min == pytest.approx(0.1763, abs=0.001)
    assert not found.agrees and not found.at_the_edge


def test_an_offset_past_half_a_day_is_told_as_the_same_hour_of_the_day() -> None:
    made = comb("2024-09-10", latitude_deg=60, longitude_deg=25, fast_min=-725, evening=-6)
    found = told(made, latitude_deg=60, longitude_deg=25)
    assert found.fast_min == pytest.approx(-725 + 1440, abs=2)
    assert found.low_min < 715 < found.high_min


def test_a_right_clock_agrees_in_midsummer_as_far_as_a_comb_of_ten_minutes_can_tell() -> None:
    found = told(comb("2024-06-14", latitude_deg=45, longitude_deg=7, evening=-3))
    assert found.agrees
    assert abs(found.fast_min) < 3


@pytest.mark.parametrize(("latitude", "longitude"), [(0.0, 30.0), (-33.9, 151.2), (-55.0, -68.0)])
def test_at_the_equator_and_in_the_south_it_holds_as_well(latitude: float, longitude: float) -> None:
    made = comb("2024-12-10", latitude_deg=latitude, longitude_deg=longitude, fast_min=-50, evening=-5)
    found = told(made, latitude_deg=latitude, longitude_deg=longitude)
    assert found.fast_min == pytest.approx(-50, abs=2)


def test_where_morning_and_evening_differ_the_offset_moves_as_the_closed_form_says_and_the_interval_holds_it() -> None:
    """Grey up to −3.5° in the morning, from −4.5° in the evening: 1° / (2 · 0.1763 °/min) = 2.84 min."""
    found = told(comb("2024-03-13", latitude_deg=45, longitude_deg=7, evening=-4.5, morning=-3.5))
    assert found.fast_min == pytest.approx(1 / (2 * 0.1763), abs=0.5)
    assert found.low_min < 0 < found.high_min
    narrow = told(
        comb("2024-03-13", latitude_deg=45, longitude_deg=7, evening=-4.5, morning=-3.5), asymmetry_deg=0, cloud_deg=0
    )
    assert narrow.low_min > 0, "what the doubt of the place is for"


def test_a_degree_of_longitude_too_far_east_is_four_minutes() -> None:
    assert told(MARCH, longitude_deg=8).fast_min - told(MARCH).fast_min == pytest.approx(4, abs=0.1)


@pytest.mark.parametrize("more_min", [-1439.0, -700.0, -3.3, 250.0, 719.0])
def test_putting_the_clock_elsewhere_puts_the_answer_elsewhere_by_as_much(more_min: float) -> None:
    moved = told((MARCH[0] + 60 * more_min, MARCH[1]))
    assert daylight.wrapped(moved.fast_min - told(MARCH).fast_min - more_min) == pytest.approx(0, abs=0.5)
    assert moved.high_min - moved.low_min == pytest.approx(told(MARCH).half_width_min * 2, abs=0.3)
    assert -720 < moved.fast_min <= 720


def test_the_fixed_offset_is_taken_off_first() -> None:
    found = daylight.clock_by_daylight(MARCH[0] + 7200, MARCH[1], utc_offset_min=120, latitude_deg=45, longitude_deg=7)
    assert isinstance(found, ByDaylight)
    assert found.fast_min == pytest.approx(told(MARCH).fast_min, abs=0.01)


def why(shown: np.ndarray, grey: np.ndarray, latitude_deg: float = 45.0) -> str:
    found = daylight.clock_by_daylight(shown, grey, utc_offset_min=0, latitude_deg=latitude_deg, longitude_deg=7)
    assert isinstance(found, CannotTell), found
    return found.why


def test_what_the_pictures_do_not_carry_is_refused_by_name() -> None:
    shown, grey = MARCH
    chance = np.random.default_rng(1).random(len(shown)) < 0.6
    hour = np.mod(shown / 3600, 24)
    midsummer = comb("2024-06-10", latitude_deg=68, longitude_deg=7, evening=-4)
    assert why(np.empty(0), np.empty(0, dtype=bool)) == "no pictures"
    assert why(shown, np.ones_like(grey)) == "one light"
    assert why(shown, np.zeros_like(grey)) == "one light"
    assert why(shown, chance) == "not the sun"
    assert why(shown[hour > 12], grey[hour > 12]) == "one side"
    assert why(shown[::200], grey[::200]) == "not the sun"
    assert why(*midsummer, latitude_deg=68) == "one light"


def test_a_season_without_night_gives_no_number_from_flags_that_something_else_made() -> None:
    """Light summer nights at 68° north: a switch by the hour has nothing to do with the sun's passing a height."""
    shown, _ = comb("2024-06-10", latitude_deg=68, longitude_deg=7, evening=-4)
    hour = np.mod(shown / 3600, 24)
    found = daylight.clock_by_daylight(
        shown, (hour < 2) | (hour > 21), utc_offset_min=0, latitude_deg=68, longitude_deg=7
    )
    assert isinstance(found, CannotTell)


def test_ten_pictures_of_one_visit_say_as_much_as_one() -> None:
    shown, grey = MARCH
    many = (shown[:, None] + np.arange(10.0)[None, :]).ravel()
    found = told((many, np.repeat(grey, 10)))
    assert found.pictures == len(shown)
    assert found.high_min - found.low_min == pytest.approx(2 * told(MARCH).half_width_min, abs=0.1)


def test_the_table_of_the_sun_is_the_sun() -> None:
    sun = daylight.Sun.over(1.7e9, 1.7e9 + 30 * 86_400, latitude_deg=52, longitude_deg=13)
    at = np.random.default_rng(2).uniform(1.7e9, 1.7e9 + 30 * 86_400, 2000)
    assert np.abs(sun.height_deg(at) - sky.sun_position(at, latitude_deg=52, longitude_deg=13)[0]).max() < 0.004


def test_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(WrongInput, match="as many as there are times"):
        daylight.clock_by_daylight([1.0, 2.0], [True], utc_offset_min=0, latitude_deg=0, longitude_deg=0)
    with pytest.raises(WrongInput, match="with a time"):
        daylight.clock_by_daylight([1.0, np.nan], [True, False], utc_offset_min=0, latitude_deg=0, longitude_deg=0)
