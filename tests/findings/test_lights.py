"""Shares of light by comings and against the time watched."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from trod.findings import lights

EVEN = [[12.0, 2.0, 10.0]]


def test_limits_of_single_comings_are_near_clopper_and_pearson_of_newcombe_1998() -> None:
    """R. G. Newcombe (1998) Stat. Med. 17:857–872, Table I: Clopper–Pearson.

    81 of 263, 0.2527 to 0.3676; 15 of 148, 0.0578 to 0.1617; 0 of 20, 0 to 0.1684; 1 of 29, 0.0009 to 0.1776. The
    share's own limits, with nothing known to
    come together.
    """
    for seen, of, low, high in (
        (81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776),
    ):  # fmt: skip
        found = lights._limits(seen / of, of)
        assert found == (approx(low, abs=1e-4), approx(high, abs=1e-4))


def test_shares_are_those_of_a_day_watched_whole() -> None:
    """Even animals, the night watched a fifth as long: a plain count calls them of the day."""
    light = np.repeat([0, 1, 2], [240, 40, 40])
    found = lights.shares(
        light, np.zeros(320), np.arange(320), watched_h=[[1200.0, 200.0, 200.0]], whole_h=[[1200.0, 200.0, 1000.0]]
    )

    assert [part.share for part in found] == [approx(0.5), approx(1 / 12), approx(10 / 24)]
    assert all(part.preference == approx(1.0) for part in found)
    for part in found:
        assert part.interval is not None and part.interval.low < (part.share or 0) < part.interval.high


def test_a_light_hardly_watched_leaves_no_shares() -> None:
    found = lights.shares(
        np.full(50, 2), np.zeros(50), np.arange(50), watched_h=[[0.0, 5.0, 900.0]], whole_h=[[1000.0, 160.0, 900.0]]
    )

    assert all(part.share is None and part.interval is None for part in found)


@pytest.mark.parametrize(("each", "claims"), [(1, False), (12, False)])
def test_pictures_of_one_coming_do_not_make_a_preference(each: int, claims: bool) -> None:
    """Twenty-four comings, ten by night as the hours have it: nor with twelve detections of each."""
    light = np.repeat(np.repeat([0, 1, 2], [10, 2, 12]), each)
    day = np.repeat(np.arange(24) * 8, each)
    found = lights.shares(light, np.zeros(len(light)), day, watched_h=EVEN, whole_h=EVEN)

    night = found[2].preference_interval
    assert night is not None
    assert (not night.low <= 1 <= night.high) == claims
    assert found[2].preference == approx(1.2)


def test_many_sites_and_days_do_make_one() -> None:
    light = np.repeat([0, 1, 2], [20, 10, 170])
    found = lights.shares(light, np.arange(200) % 5, np.arange(200), watched_h=EVEN * 5, whole_h=EVEN * 5)

    night = found[2].preference_interval
    assert night is not None and night.low > 1.5
