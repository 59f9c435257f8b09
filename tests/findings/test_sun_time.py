"""Sun time, and what the sun does."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import invented
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.findings import sun_time


@pytest.mark.parametrize(("clock", "anchored"), [(5.0, 6.0), (12.5, 11.625), (20.0, 17.25), (21.0, 18.0), (1.0, 0.0)])
def test_double_anchoring_by_hand_after_vazquez_2019(clock: float, anchored: float) -> None:
    """Sunrise 5, sunset 21, anchors 6 and 18; rule of C. Vazquez et al. (2019) Methods Ecol. Evol.
    10:2057–2066, arithmetic ours: the day is squeezed 16 h to 12 h, the night stretched 8 h to 12 h.
    """
    found = sun_time.anchored_hours([clock], rise_h=[5.0], set_h=[21.0], mean_rise_h=6.0, mean_set_h=18.0)

    assert float(found[0]) == approx(anchored, abs=1e-9)


@given(st.floats(0, 23.99), st.floats(2, 9), st.floats(15, 22), st.floats(4, 8), st.floats(16, 20))
def test_anchoring_keeps_night_and_day_apart(
    clock: float, rise: float, sunset: float, mean_rise: float, mean_set: float
) -> None:
    found = float(
        sun_time.anchored_hours([clock], rise_h=[rise], set_h=[sunset], mean_rise_h=mean_rise, mean_set_h=mean_set)[0]
    )

    if rise < clock < sunset:
        assert mean_rise - 1e-6 <= found <= mean_set + 1e-6
    else:
        assert found <= mean_rise + 1e-6 or found >= mean_set - 1e-6


def test_days_that_already_have_the_anchors_are_left_alone() -> None:
    hours = np.linspace(0, 23.9, 50)
    same = sun_time.anchored_hours(
        hours, rise_h=np.full(50, 6.5), set_h=np.full(50, 19.0), mean_rise_h=6.5, mean_set_h=19.0
    )

    assert same == approx(hours, abs=1e-9)


def test_twilight_is_as_long_as_the_almanac_says_at_the_equinox() -> None:
    """On the equator at the equinox the sun sinks 15° an hour straight down.

    From −50′ to −12° takes 44.7 minutes.
    """
    reserve = replace(invented.RESERVE, latitude_deg=0.0, longitude_deg=0.0, zone="UTC")
    sun = sun_time.sun_of(reserve, [invented.utc("2026-03-20 12:00")])

    assert (sun.dawn_length_h, sun.dusk_length_h) == (approx(0.745, abs=0.09), approx(0.745, abs=0.09))


def test_rise_and_set_against_the_almanac() -> None:
    """U.S. Naval Observatory: Atlanta, 33.8° N 84.4° W, 6 September 2009: sunrise 11:15, sunset 23:56 UTC (as quoted in
    the PyEphem manual, page on rising and setting). To the minute, so within 30 s and ours of interpolating.
    """
    day = (date(2009, 9, 6) - date(1970, 1, 1)).days
    table = sun_time.sun_table(np.array([day]), latitude_deg=33.8, longitude_deg=-84.4)

    for found, printed in ((table.rise_s[0], (11, 15)), (table.set_s[0], (23, 56))):
        assert found == approx(datetime(2009, 9, 6, *printed, tzinfo=UTC).timestamp(), abs=60)
    assert table.stays.tolist() == [0]
    assert table.light_h.sum() == approx(24)


def test_a_pole_has_one_day_and_one_night_a_year() -> None:
    days = np.array([(date(2025, m, 21) - date(1970, 1, 1)).days for m in (1, 6, 12)])
    table = sun_time.sun_table(days, latitude_deg=89.9, longitude_deg=0.0)

    assert table.stays.tolist() == [2, 1, 2]
    assert np.isnan(table.rise_s).all() and np.isnan(table.set_s).all()
    assert table.light_h[1].tolist() == [24.0, 0.0, 0.0]
