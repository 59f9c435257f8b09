"""What is wrong with a card's times: each known fault put in by hand, and nothing found on a clock that is right."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from trod import sky
from trod.timekeeping import faults
from trod.timekeeping.faults import Fault, Reading, Stay

DAY_S, HOUR_S = 86_400.0, 3600.0
HUNG, FETCHED = datetime(2025, 3, 7, 9, 30, tzinfo=UTC), datetime(2025, 5, 26, 16, 0, tzinfo=UTC)
PLACE = {"latitude_deg": 46.0, "longitude_deg": 12.0}
OFFSET_MIN = 60.0
STAY = Stay(
    now_s=(FETCHED + timedelta(days=3)).timestamp(),
    begun_s=HUNG.timestamp(),
    ended_s=FETCHED.timestamp(),
    utc_offset_min=OFFSET_MIN,
    **PLACE,
)


def pictures(seed: int = 3, many: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """True times and flags of a card with the technician first and last."""
    rng = np.random.default_rng(seed)
    at = np.sort(rng.uniform(HUNG.timestamp() + DAY_S, FETCHED.timestamp() - DAY_S, 6 * many))
    height = sky.sun_position(at, **PLACE)[0]
    at = at[rng.random(len(at)) < np.where(np.abs(height + 3) < 8, 0.5, 0.06)]
    at = np.concatenate([[HUNG.timestamp() + 60], at, [FETCHED.timestamp() - 90]])
    height = sky.sun_position(at, **PLACE)[0]
    return at, height + rng.normal(0, 0.8, len(at)) < -4.0


TRUE, GREY = pictures()
RIGHT = TRUE + 60 * OFFSET_MIN


def told(shown: np.ndarray, stay: Stay = STAY, *, lit: bool = True) -> tuple[Fault, ...]:
    return faults.faults(shown, stay, grey=GREY.astype(float) if lit else None)


def error_min(shown: np.ndarray, found: tuple[Fault, ...]) -> float:
    """The largest error of a picture's time after the proposals."""
    return float(np.abs(faults.mended(shown, found, utc_offset_min=OFFSET_MIN) - TRUE).max() / 60)


@pytest.mark.parametrize("lit", [True, False])
def test_a_right_clock_has_no_fault(lit: bool) -> None:
    assert told(RIGHT, lit=lit) == ()


@pytest.mark.parametrize("more_min", [-4, 4, 12])
def test_a_few_minutes_are_no_fault_by_the_light(more_min: float) -> None:
    assert told(RIGHT + 60 * more_min) == ()


@pytest.mark.parametrize("lit", [True, False])
def test_a_wrong_year_is_told_by_the_stay_and_put_right(lit: bool) -> None:
    shown = RIGHT - 365 * DAY_S
    (fault,) = told(shown, lit=lit)
    assert (fault.kind, fault.first, fault.last) == ("wrong year", 0, len(shown) - 1)
    assert error_min(shown, (fault,)) < 5


@pytest.mark.parametrize("lit", [True, False])
def test_day_and_month_swapped_at_set_up_is_told(lit: bool) -> None:
    """Hung on 7 March, set to 3 July."""
    shown = RIGHT + (datetime(2025, 7, 3, tzinfo=UTC) - datetime(2025, 3, 7, tzinfo=UTC)).total_seconds()
    (fault,) = told(shown, lit=lit)
    assert fault.kind == "day and month swapped"
    assert error_min(shown, (fault,)) < 5


@pytest.mark.parametrize("way", [-1, 1])
def test_half_a_day_out_is_told_though_the_dates_are_right(way: int) -> None:
    shown = RIGHT + way * 12 * HOUR_S
    (fault,) = told(shown)
    assert fault.kind == "half a day"
    assert "light" in fault.rests_on
    assert error_min(shown, (fault,)) < 10


def test_half_a_day_out_without_light_is_seen_by_the_two_visits() -> None:
    (fault,) = told(RIGHT + 12 * HOUR_S, lit=False)
    assert fault.rests_on[0] == "ends"
    assert error_min(RIGHT + 12 * HOUR_S, (fault,)) < 5


@pytest.mark.parametrize("way", [-1, 1])
def test_an_hour_out_is_told_by_the_light_alone(way: int) -> None:
    shown = RIGHT + way * HOUR_S
    (fault,) = told(shown)
    assert (fault.kind, fault.add_s, fault.rests_on) == ("an hour", -way * HOUR_S, ("light",))
    assert told(shown, lit=False) == ()


def test_a_clock_that_followed_summer_time_is_put_back_from_the_legal_change_on() -> None:
    change = datetime(2025, 3, 30, 1, 0, tzinfo=UTC).timestamp()
    shown = np.where(change > TRUE, RIGHT, RIGHT + HOUR_S)
    (fault,) = told(shown, replace(STAY, changes_s=(change,)))
    assert (fault.kind, fault.add_s) == ("summer time", -HOUR_S)
    assert fault.first == int(np.argmax(change <= TRUE))
    assert error_min(shown, (fault,)) == 0


def test_a_clock_that_leapt_540_days_ahead_is_brought_back_to_the_visit_that_fetched_it() -> None:
    half = len(TRUE) // 2
    shown = RIGHT.copy()
    shown[half:] += 540 * DAY_S
    (fault,) = told(shown)
    assert (fault.kind, fault.first, fault.last) == ("set elsewhere", half, len(shown) - 1)
    assert set(fault.rests_on) >= {"stay", "ends"}
    assert error_min(shown, (fault,)) < 20


def test_a_clock_that_fell_to_its_factory_date_is_named_and_brought_back() -> None:
    half = len(TRUE) // 2
    shown = RIGHT.copy()
    shown[half:] += datetime(2019, 1, 1, 0, 2, tzinfo=UTC).timestamp() - shown[half]
    (fault,) = told(shown)
    assert (fault.kind, fault.first) == ("factory date", half)
    assert error_min(shown, (fault,)) < 20


def test_without_light_one_end_is_only_offered_to_a_persons_eye() -> None:
    half = len(TRUE) // 2
    shown = RIGHT.copy()
    shown[half:] += 540 * DAY_S
    (fault,) = told(shown, lit=False)
    assert fault.add_s is None and fault.kind == "outside"
    assert [round(add / DAY_S) for add in fault.others] == [-540]
    assert np.isnan(faults.mended(shown, (fault,), utc_offset_min=OFFSET_MIN)[half:]).all()
    assert (faults.mended(shown, (fault,), utc_offset_min=OFFSET_MIN)[:half] == TRUE[:half]).all()


def test_nobody_at_either_end_and_no_date_that_is_known_to_go_wrong_is_left_open() -> None:
    """Made up: a clock 100 days and some hours out; the first and last pictures are days from the visits."""
    shown = RIGHT[1:-1] + 100.3 * DAY_S
    (fault,) = faults.faults(shown, STAY, grey=GREY[1:-1].astype(float))
    assert fault.add_s is None
    assert fault.doubt_s is None


def test_two_readings_tell_an_even_drift_and_need_no_light() -> None:
    shown = RIGHT + (TRUE - TRUE[0]) / DAY_S * 40.0
    days = (TRUE[-1] - TRUE[0]) / DAY_S
    readings = (
        Reading(shown_s=RIGHT[0], true_s=TRUE[0]),
        Reading(shown_s=float(RIGHT[-1] + days * 40.0), true_s=float(TRUE[-1])),
    )
    (fault,) = told(shown, replace(STAY, readings=readings), lit=False)
    assert (fault.kind, fault.rests_on) == ("drift", ("reading",))
    assert error_min(shown, (fault,)) < 0.1


def test_a_picture_later_than_now_is_a_fault_even_where_no_visit_is_noted() -> None:
    stay = Stay(now_s=float(TRUE[-1]) + DAY_S, utc_offset_min=OFFSET_MIN)
    assert faults.faults(RIGHT, stay) == ()
    (fault,) = faults.faults(RIGHT + 300 * DAY_S, stay)
    assert fault.kind == "outside" and fault.add_s is None


def test_files_that_go_back_by_hours_are_told_to_be_out_of_order_and_nobody_guesses_which() -> None:
    half = len(TRUE) // 2
    shown = RIGHT.copy()
    shown[:half] += 20 * DAY_S
    (fault,) = told(shown, lit=False)
    assert fault.kind == "out of order" and fault.add_s is None


def test_times_that_are_not_known_are_left_alone() -> None:
    shown = RIGHT.copy()
    shown[5:9] = np.nan
    assert told(shown) == ()
    assert faults.faults(np.full(4, np.nan), STAY) == ()
    assert faults.faults([], STAY) == ()
