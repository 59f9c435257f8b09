"""Lengths, bearings and hours as they are measures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.telling import measures


@pytest.mark.parametrize(
    ("metres", "metric", "us"),
    [
        (0.87, "0.85 m", "2 ft 10 in"),
        (0.98, "1.0 m", "3 ft 3 in"),
        (0.1, "0.10 m", "4 in"),
        (0.01, "under 5 cm", "under 1 in"),
        (4.04, "4.0 m", "13 ft"),
        (9.97, "10 m", "33 ft"),
        (23.4, "23 m", "77 ft"),
        (math.inf, "beyond sight", "beyond sight"),
    ],
)
def test_lengths_are_said_with_two_figures(metres: float, metric: str, us: str) -> None:
    assert (measures.length(metres), measures.length(metres, "us")) == (metric, us)


@given(st.floats(0, 500))
def test_no_length_is_said_with_three_digits_below_a_hundred(metres: float) -> None:
    digits = [c for c in measures.length(metres).lstrip("0.") if c.isdigit()]
    assert len(digits) <= (3 if metres >= 99.4 else 2)


def test_a_wedge_is_said_in_millimetres_or_eighths() -> None:
    assert [measures.thickness(t, "us") for t in (1, 3.2, 22.3, 25.4, 41)] == [
        "under 1/8 in", "1/8 in", "7/8 in", "1 in", "1 5/8 in",
    ]  # fmt: skip
    assert measures.thickness(24.9) == "25 mm"


def test_bearings_are_named_by_the_nearest_wind() -> None:
    assert [measures.wind(h) for h in (0, 11, 12, 225, 355, 360, -45)] == [
        "north", "north", "north-north-east", "south-west", "north", "north", "north-west",
    ]  # fmt: skip


def test_hours_are_said_with_two_figures_at_most() -> None:
    assert [measures.hours(h) for h in (0.3, 1.2, 7.4, 44.6, 267, 613)] == [
        "none", "1 hour", "7 hours", "45 hours", "270 hours", "610 hours",
    ]  # fmt: skip
