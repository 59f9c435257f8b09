"""A small panel beside a battery."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.panel import (
    Panel,
)


def test_a_panel_brings_most_in_summer_and_follows_its_own_months() -> None:
    panel = Panel(peak_w=2, performance=0.6, sun_hours=(2.5, *(1.0,) * 10, 0.5))

    assert panel.day_wh([1, 31, 200, 365, 367]) == approx([3.0, 3.0, 1.2, 0.6, 3.0])


def test_eleven_months_of_sun_are_refused() -> None:
    with pytest.raises(WrongInput, match="needed: 12 numbers, hours of full sun a day from January on"):
        Panel(peak_w=2, sun_hours=(1.0,) * 11)
