"""A step or a drift of a clock, told by the light of made-up pictures with the truth in hand."""

from __future__ import annotations

import numpy as np
import pytest

from trod import sky
from trod.timekeeping import daylight_changes

PLACE = {"latitude_deg": 45.0, "longitude_deg": 10.0}
BEGUN_S, DAYS = 1_741_000_000.0, 30


def pictures(seed: int, *, many: int = 400, days: int = DAYS) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    at = np.sort(rng.uniform(BEGUN_S, BEGUN_S + 86_400 * days, 6 * many))
    height = sky.sun_position(at, **PLACE)[0]
    at = at[rng.random(len(at)) < np.where(np.abs(height + 3) < 8, 0.5, 0.06)]
    return at, sky.sun_position(at, **PLACE)[0] + rng.normal(0, 0.8, len(at)) < -4.0


@pytest.mark.parametrize("seed", range(4))
def test_a_steady_clock_has_no_step(seed: int) -> None:
    at, grey = pictures(seed)
    assert daylight_changes.step_by_daylight(at, grey, utc_offset_min=0, **PLACE) is None
    legal = (BEGUN_S + 12 * 86_400,)
    assert daylight_changes.step_by_daylight(at, grey, utc_offset_min=0, changes_s=legal, **PLACE) is None


@pytest.mark.parametrize("step_min", [-60.0, 60.0, 400.0])
def test_a_step_is_told_with_its_size_and_within_two_days(step_min: float) -> None:
    at, grey = pictures(7)
    when = BEGUN_S + 17.4 * 86_400
    shown = np.where(at < when, at, at + 60 * step_min)
    found = daylight_changes.step_by_daylight(shown, grey, utc_offset_min=0, **PLACE)
    assert found is not None
    assert found.step_min == pytest.approx(step_min, abs=0 if found.hour else 20)
    assert found.hour == (abs(step_min) == 60)
    assert abs((found.before_s + found.after_s) / 2 - when) < 2 * 86_400
    assert found.legal_s is None


def test_a_step_at_a_legal_change_of_time_is_told_as_that() -> None:
    at, grey = pictures(8)
    when = BEGUN_S + 17.4 * 86_400
    shown = np.where(at < when, at, at + 3600)
    found = daylight_changes.step_by_daylight(shown, grey, utc_offset_min=0, changes_s=(when,), **PLACE)
    assert found is not None
    assert (found.legal_s, found.step_min) == (when, 60)
    assert found.before_s < when <= found.after_s


def test_all_of_one_light_tells_no_step() -> None:
    at, grey = pictures(1)
    assert daylight_changes.step_by_daylight(at, np.ones_like(grey), utc_offset_min=0, **PLACE) is None
    assert daylight_changes.step_by_daylight(at[:1], grey[:1], utc_offset_min=0, **PLACE) is None


def test_a_quartz_clocks_drift_is_not_told_and_a_broken_clocks_is() -> None:
    at, grey = pictures(9, many=900, days=60)
    middle = (at - at.mean()) / 86_400
    steady = daylight_changes.drift_by_daylight(at + 1.0 * middle, grey, fast_min=0, utc_offset_min=0, **PLACE)
    broken = daylight_changes.drift_by_daylight(at + 30.0 * middle, grey, fast_min=0, utc_offset_min=0, **PLACE)
    assert not steady.told
    assert broken.told
    assert abs(broken.gains_s_per_day - 30) < 3 * broken.sd_s_per_day
