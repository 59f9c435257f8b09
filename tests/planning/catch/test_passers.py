"""Bodies and gaits."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch.passers import DEER, Body, Gait, Passer


def test_the_deers_side_is_the_sensors_reference_body() -> None:
    assert DEER.body.side_area_m2 == approx(0.83, abs=0.001)


@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
def test_a_body_without_length_is_refused(value: float) -> None:
    with pytest.raises(WrongInput, match=r"length_m: got .*; needed: a number above 0"):
        Body(length_m=value, width_m=0.3, height_m=0.5)


def test_an_animal_without_a_gait_is_refused() -> None:
    for gaits in ((), (Gait(share=0, median_mps=1),)):
        with pytest.raises(WrongInput, match="at least one way of going with a share above 0"):
            Passer(name="stone", body=DEER.body, gaits=gaits)
    with pytest.raises(WrongInput, match="a chance from 0 to 1"):
        Passer(name="x", body=DEER.body, gaits=DEER.gaits, pause_chance=1.5)
