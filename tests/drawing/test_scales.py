"""Axes and their round steps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.drawing.scales import Axis, distances, round_step


def test_an_axis_may_run_either_way_and_holds_what_lies_beyond_at_its_end() -> None:
    up = Axis(0, 1, 200, 20)

    assert [up(v) for v in (0, 0.5, 1, 2)] == [200, 110, 20, -160]
    assert [up.within(v) for v in (-1, 2)] == [200, 20]
    assert Axis(3, 3, 10, 20)(3) == 10


@given(st.floats(1e-3, 1e6))
def test_a_round_step_is_the_next_of_its_kind(least: float) -> None:
    step = round_step(least)

    assert least * (1 - 1e-6) <= step < least * 2.5 * (1 + 1e-6)
    assert f"{step:.6e}"[0] in "125"


@pytest.mark.parametrize(("span_m", "system"), [(6, "metric"), (9, "us"), (60, "metric"), (60, "us")])
def test_distances_are_round_in_the_reader_s_unit_and_few(span_m: float, system: str) -> None:
    found = distances(span_m, system)  # type: ignore[arg-type]

    assert 2 <= len(found) <= 8 and found[-1][0] <= span_m
    for at_m, words in found:
        told, unit = words.split()
        assert at_m == pytest.approx(float(told) * (0.3048 if unit == "ft" else 1))
