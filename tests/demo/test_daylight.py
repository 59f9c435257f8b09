from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from trod import sky
from trod_demo.daylight import moon_age, sun


@pytest.mark.parametrize("day", [0, 79, 171, 265, 354])
@pytest.mark.parametrize("hour", [2, 7, 12, 17])
def test_the_demos_sun_stands_where_the_sky_room_puts_it(day: int, hour: int) -> None:
    at = datetime(2026, 1, 1, hour, tzinfo=UTC) + timedelta(days=day)

    elevation, bearing = sun(at, latitude_deg=47.3, longitude_deg=13.9)

    height, azimuth = sky.sun_position(at.timestamp(), latitude_deg=47.3, longitude_deg=13.9)
    assert elevation == pytest.approx(float(height), abs=0.05)
    assert abs((bearing - float(azimuth) + 180) % 360 - 180) < 0.08


def test_the_moon_is_new_and_full_half_a_month_apart() -> None:
    new = datetime(2000, 1, 6, 18, 14, tzinfo=UTC)

    assert moon_age(new) == pytest.approx(0)
    assert moon_age(new + timedelta(days=29.530588853 / 2)) == pytest.approx(0.5)
