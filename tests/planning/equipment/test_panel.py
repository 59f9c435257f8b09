"""A small panel beside a battery."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.panel import (
    Panel,
    days_without_sun,
    panel_needed_w,
    power_now_w,
    yield_wh,
)


def test_what_a_panel_brings_and_how_large_it_must_be() -> None:
    """By hand: 2 W × 2.5 h × 0.6 = 3.0 Wh a day; 0.3 Wh a day at 0.8 h and 0.5 wants 0.75 W; 6 V × 2.5 Ah × 0.8
    lasts 40 days at 0.3 Wh a day."""
    assert yield_wh(2, sun_hours=2.5, performance=0.6) == approx(3.0, abs=1e-6)
    assert panel_needed_w(0.3, sun_hours=0.8, performance=0.5) == approx(0.75, abs=1e-6)
    assert days_without_sun(voltage_v=6, capacity_ah=2.5, share=0.8, day_wh=0.3) == approx(40, abs=1e-6)


def test_a_warm_panel_gives_less() -> None:
    """The linear model of Dobos (2014), PVWatts Version 5 Manual, NREL/TP-6A20-62641, eq. 8 (from memory): 2 W at
    800 W/m² and 45 °C with 0.4 % a degree gives 1.472 W."""
    assert power_now_w(2, irradiance_w_m2=800, panel_c=45, loss_per_c=0.004) == approx(1.472, abs=1e-6)
    assert power_now_w(2, irradiance_w_m2=1000, panel_c=25) == 2
    assert power_now_w(2, irradiance_w_m2=0, panel_c=5) == 0


def test_a_panel_brings_most_in_summer_and_follows_its_own_months() -> None:
    panel = Panel(peak_w=2, performance=0.6, sun_hours=(2.5, *(1.0,) * 10, 0.5))

    assert panel.day_wh([1, 31, 200, 365, 367]) == approx([3.0, 3.0, 1.2, 0.6, 3.0])


def test_eleven_months_of_sun_are_refused() -> None:
    with pytest.raises(WrongInput, match="needed: 12 numbers, hours of full sun a day from January on"):
        Panel(peak_w=2, sun_hours=(1.0,) * 11)
