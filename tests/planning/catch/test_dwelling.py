"""Animals that stay before the camera."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch.crossing import View
from trod.planning.catch.dwelling import Stay, StayCase, visits
from trod.planning.catch.walkby import Timing


def stay(near_m: float = 7.5, rearm_s: float = 10.0, **more: float) -> StayCase:
    return StayCase(stay=Stay(near_m=near_m), timing=Timing(rearm_s=rearm_s, **more))  # type: ignore[arg-type]


@pytest.mark.parametrize(("rearm", "low", "high"), [(1, 8, 16), (10, 5, 10), (60, 3, 5), (300, 1.4, 1.9)])
def test_how_often_a_visit_fires_the_camera(rearm: float, low: float, high: float) -> None:
    """An earlier prototype with other bouts gave 13.2, 7.7–8.9, 4.3 and 1.7 a visit at 5–10 m; derived here,
    and only as far as assumed bouts go.
    """
    for near in (5.0, 7.5, 10.0):
        assert low < visits(stay(near, rearm), number=2_000).triggers.value < high


def test_common_practice_a_long_delay_loses_pictures_but_hardly_a_visit() -> None:
    """Common practice: at a feeding ground a re-arm of five minutes."""
    short, long = (visits(stay(5.0, rearm), number=4_000) for rearm in (1.0, 300.0))

    assert long.pictures.value < short.pictures.value / 5
    assert short.seen.value > 0.95
    assert long.seen.value > 0.9


def test_a_visit_fires_no_more_often_than_the_re_arm_allows() -> None:
    """At most one trigger for each re-arm time, plus one: 1 + stay/re-arm on average."""
    found = visits(stay(rearm_s=60.0), number=4_000)

    assert found.triggers.value < 1 + 360 / 60


def test_frames_of_a_burst_are_counted_each() -> None:
    found = visits(stay(frames=3, gap_s=0.5), number=1_000)

    assert found.pictures.value == approx(3 * found.triggers.value)


def test_a_view_that_holds_the_whole_patch_shows_every_picture() -> None:
    case = StayCase(stay=Stay(near_m=10, depth_m=3, width_m=4), view=View(fov_deg=120))

    found = visits(case, number=1_000)

    assert found.in_view is not None
    assert found.in_view.value > 0.95


def test_beyond_the_flash_nobody_is_seen() -> None:
    case = StayCase(stay=Stay(near_m=10), view=View(reach_m=8))

    assert visits(case, number=500).seen.value == 0.0


def test_standard_errors_are_what_repeating_shows() -> None:
    many = [visits(stay(), number=600, seed=seed) for seed in range(40)]

    for name in ("triggers", "seen"):
        values = np.array([getattr(one, name).value for one in many])
        stated = float(np.mean([getattr(one, name).standard_error for one in many]))
        assert 0.6 * stated < values.std(ddof=1) < 1.5 * stated


def test_what_cannot_be_is_refused_in_words() -> None:
    with pytest.raises(WrongInput, match="near_m: got 0; needed: a number above 0"):
        Stay(near_m=0)
    with pytest.raises(WrongInput, match="number: got 0; needed: at least one visit"):
        visits(stay(), number=0)
    with pytest.raises(WrongInput, match="contrast_k: got nan; needed: a number above 0"):
        StayCase(contrast_k=math.nan)
