"""Sun and moon against the almanac, NREL's worked example and ephem."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone

import ephem
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod import sky
from trod.errors import WrongInput
from trod.planning.place import glare

EDT, CDT = timezone(timedelta(hours=-4)), timezone(timedelta(hours=-5))


def unix(year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0) -> float:
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC).timestamp()


# --- where the sun stands ---------------------------------------------------------------------


def test_sun_stands_where_reda_and_andreas_2003_put_it() -> None:
    """I. Reda, A. Andreas (2003, rev. 2008) Solar Position Algorithm, NREL/TP-560-34302, App. A.5.

    2003-10-17 12:30:30 UTC−7, 39.742476° N 105.1786° W: elevation without refraction 39.872046°, azimuth
    194.34024°. Ours is a low-precision series: 0.02°.
    """
    elevation, azimuth = sky.sun_position(
        unix(2003, 10, 17, 19, 30, 30), latitude_deg=39.742476, longitude_deg=-105.1786
    )
    assert float(elevation) == pytest.approx(39.872046, abs=0.02)
    assert float(azimuth) == pytest.approx(194.34024, abs=0.02)


def test_sun_of_the_worked_example_through_the_air_and_its_day() -> None:
    """I. Reda, A. Andreas (2003, rev. 2008) Solar Position Algorithm, NREL/TP-560-34302, App. A.5: zenith with
    refraction 50.11162° (820 mbar, 11 °C), to 0.02°; sunrise 06:12:43, sunset 17:20:19 at UTC−7, to 3 s.

    The printed sunset belongs to the day by UT, which has begun at 17:00 of the evening before: it is that of
    16 October by the clock of the place. ephem says so too (00:20:18 and, a day later, 00:18:51 UT).
    """
    elevation, _ = sky.sun_position(unix(2003, 10, 17, 19, 30, 30), latitude_deg=39.742476, longitude_deg=-105.1786)
    lifted = float(glare.refraction_deg(elevation)) * 820 / 1010 * 283 / (273 + 11)
    assert 90 - float(elevation) - lifted == pytest.approx(50.11162, abs=0.02)

    mst = timezone(timedelta(hours=-7))
    before, day = (
        sky.sun_times(date(2003, 10, n), latitude_deg=39.742476, longitude_deg=-105.1786, zone=mst) for n in (16, 17)
    )
    for ours, printed in (
        (day.rise, datetime(2003, 10, 17, 6, 12, 43, tzinfo=mst)),
        (before.set, datetime(2003, 10, 16, 17, 20, 19, tzinfo=mst)),
    ):
        assert ours is not None
        assert abs(ours - printed) <= timedelta(seconds=3)


def test_apparent_declination_against_meeus_1998_example_25a() -> None:
    """J. Meeus (1998) Astronomical Algorithms, 2nd ed., Ex. 25.a: 1992-10-13 0h TD, δ = −7.78507° (from
    memory).

    TD − UT was 59 s then.
    """
    assert float(sky.sun_declination_deg(unix(1992, 10, 13) - 59)) == pytest.approx(-7.78507, abs=0.01)


def test_sun_position_is_within_a_sixtieth_of_a_degree_of_ephem() -> None:
    """20 000 random instants 2000–2050 and places within 70° of the equator, ephem with pressure 0."""
    rng = np.random.default_rng(20260301)
    when = rng.uniform(unix(2000, 1, 1), unix(2050, 1, 1), 20_000)
    latitude, longitude = rng.uniform(-70, 70, when.size), rng.uniform(-180, 180, when.size)
    observer, sun = ephem.Observer(), ephem.Sun()
    observer.pressure = observer.elevation = 0
    worst_el = worst_az = 0.0
    for t, la, lo in zip(when, latitude, longitude, strict=True):
        observer.lat, observer.lon = math.radians(la), math.radians(lo)
        observer.date = ephem.Date(datetime.fromtimestamp(t, UTC).replace(tzinfo=None))
        sun.compute(observer)
        elevation, azimuth = sky.sun_position(t, latitude_deg=la, longitude_deg=lo)
        true_el, true_az = math.degrees(sun.alt), math.degrees(sun.az)
        worst_el = max(worst_el, abs(float(elevation) - true_el))
        turn = abs((float(azimuth) - true_az + 180) % 360 - 180) * math.cos(math.radians(true_el))
        worst_az = max(worst_az, turn)

    assert worst_el < 0.016
    assert worst_az < 0.016


@pytest.mark.parametrize(
    ("when", "latitude_deg", "longitude_deg", "elevation_deg"),
    [  # made with ephem 4.2, pressure 0
        (unix(2024, 6, 21, 12), 45, 0, 68.432),
        (unix(2024, 6, 21, 3, 30), 45, 0, -6.769),
        (unix(2024, 12, 21, 17), 45, 0, -6.764),
        (unix(2025, 3, 20, 18, 20), 60, 0, -1.459),
        (unix(2025, 9, 1, 2), 60, 25, -9.211),
        (unix(2030, 1, 15, 12), -33.9, 151.2, -27.548),
    ],
)
def test_sun_height_at_six_places(when: float, latitude_deg: float, longitude_deg: float, elevation_deg: float) -> None:
    elevation, _ = sky.sun_position(when, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    assert float(elevation) == pytest.approx(elevation_deg, abs=0.02)


def test_many_instants_at_once_give_the_same_as_one_by_one_in_the_same_shape() -> None:
    when = np.linspace(unix(2026, 1, 1), unix(2026, 12, 31), 24).reshape(4, 6)
    elevation, azimuth = sky.sun_position(when, latitude_deg=52.0, longitude_deg=20.0)

    assert elevation.shape == azimuth.shape == (4, 6)
    for index in np.ndindex(when.shape):
        one = sky.sun_position(when[index], latitude_deg=52.0, longitude_deg=20.0)
        assert (float(one[0]), float(one[1])) == (elevation[index], azimuth[index])


@given(st.floats(0, 4e9), st.floats(-90, 90), st.floats(-180, 180))
def test_sun_is_always_somewhere_on_the_sphere(when: float, latitude: float, longitude: float) -> None:
    elevation, azimuth = sky.sun_position(when, latitude_deg=latitude, longitude_deg=longitude)
    assert -90 <= float(elevation) <= 90
    assert 0 <= float(azimuth) < 360


def test_a_time_that_is_not_known_gives_a_sun_that_is_not_known() -> None:
    elevation, azimuth = sky.sun_position(np.array([np.nan, 0.0]), latitude_deg=0, longitude_deg=0)
    assert np.isnan(elevation[0]) and np.isnan(azimuth[0])
    assert np.isfinite(elevation[1])


def test_a_place_off_the_globe_is_refused_in_words() -> None:
    with pytest.raises(WrongInput) as told:
        sky.sun_position(0.0, latitude_deg=91, longitude_deg=0)
    assert str(told.value) == "latitude_deg: got 91; needed: degrees from -90 (south) to 90 (north)"
    with pytest.raises(WrongInput):
        sky.sun_position(0.0, latitude_deg=math.nan, longitude_deg=0)


# --- rise, set, twilight ----------------------------------------------------------------------


def minute(when: datetime | None) -> tuple[int, int]:
    """An almanac prints the nearest minute."""
    assert when is not None
    rounded = when + timedelta(seconds=30)
    return rounded.hour, rounded.minute


def test_sun_times_at_atlanta_against_the_naval_observatory() -> None:
    """U.S. Naval Observatory data service, Atlanta GA 33.8° N 84.4° W, 2009-09-06 EDT, quoted in PyEphem's
    rise-set page.

    Printed: civil twilight begins 06:50, sunrise 07:15, transit 13:36, sunset 19:56, civil twilight ends
    20:21. Tolerance: the printed minute.
    """
    times = sky.sun_times(date(2009, 9, 6), latitude_deg=33.8, longitude_deg=-84.4, zone=EDT)

    assert minute(times.civil_dawn) == (6, 50)
    assert minute(times.rise) == (7, 15)
    assert minute(times.noon) == (13, 36)
    assert minute(times.set) == (19, 56)
    assert minute(times.civil_dusk) == (20, 21)
    assert times.polar is None


@pytest.mark.parametrize(
    ("day", "printed"),
    [
        (1, ("6:32", "19:41", "6:02", "20:11")),
        (8, ("6:40", "19:29", "6:11", "19:58")),
        (15, ("6:48", "19:16", "6:19", "19:45")),
        (22, ("6:55", "19:04", "6:26", "19:32")),
        (30, ("7:04", "18:49", "6:36", "19:18")),
    ],
)
def test_september_at_decorah_against_luther_colleges_table(day: int, printed: tuple[str, ...]) -> None:
    """Luther College weather station, sunrise/sunset table (rise, set, civil dawn, civil dusk; CDT).

    The page gives no year (2016 taken) and no coordinates (from memory), hence ±2 min.
    """
    times = sky.sun_times(date(2016, 9, day), latitude_deg=43.3034, longitude_deg=-91.7857, zone=CDT)
    for ours, theirs in zip((times.rise, times.set, times.civil_dawn, times.civil_dusk), printed, strict=True):
        assert ours is not None
        hour, minutes = map(int, theirs.split(":"))
        meant = datetime(2016, 9, day, hour, minutes, tzinfo=CDT)
        assert abs(ours - meant) <= timedelta(minutes=2)


def test_polar_day_and_polar_night_have_neither_rise_nor_set() -> None:
    summer = sky.sun_times(date(2026, 6, 21), latitude_deg=69.6, longitude_deg=18.9, zone=UTC)
    winter = sky.sun_times(date(2026, 12, 21), latitude_deg=69.6, longitude_deg=18.9, zone=UTC)

    assert (summer.rise, summer.set, summer.polar) == (None, None, "day")
    assert (winter.rise, winter.set, winter.polar) == (None, None, "night")
    assert summer.civil_dawn is None
    assert winter.civil_dawn is not None  # at noon it dawns, though the sun stays down


def test_a_sun_that_sets_after_midnight_sets_on_the_next_local_day() -> None:
    """Reykjavík at the end of June: up after 02:50, down after midnight of the clock."""
    times = sky.sun_times(date(2026, 6, 21), latitude_deg=64.15, longitude_deg=-21.94, zone=UTC)
    assert times.rise is not None and times.rise.hour == 2
    assert times.set is not None and times.set.hour == 0
    assert times.set < times.rise
    assert times.polar is None


@pytest.mark.parametrize("latitude_deg", [-66, -45, 0, 45, 60, 66])
def test_at_rise_and_set_the_suns_centre_stands_50_minutes_of_arc_low(latitude_deg: float) -> None:
    for month in range(1, 13):
        times = sky.sun_times(date(2026, month, 11), latitude_deg=latitude_deg, longitude_deg=12, zone=UTC)
        for when in (times.rise, times.set):
            if when is not None:
                height, _ = sky.sun_position(when.timestamp(), latitude_deg=latitude_deg, longitude_deg=12)
                assert float(height) == pytest.approx(-50 / 60, abs=0.02)


def test_a_bare_zone_name_is_refused_and_the_right_call_is_named() -> None:
    with pytest.raises(WrongInput, match=r"zone: got 'UTC'; needed: a tzinfo object; trod.clock.zone"):
        sky.sun_times(date(2026, 1, 1), latitude_deg=0, longitude_deg=0, zone="UTC")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("elevation_deg", "kind"),
    [
        (40, "day"),
        (-0.8, "day"),
        (-0.9, "civil twilight"),
        (-6, "civil twilight"),
        (-6.1, "nautical twilight"),
        (-12.1, "astronomical twilight"),
        (-18.1, "night"),
    ],
)
def test_twilight_goes_by_the_height_of_the_sun(elevation_deg: float, kind: str) -> None:
    """NOAA (National Weather Service) and USNO: 50′, 6°, 12°, 18°."""
    assert sky.twilight_kind(elevation_deg) == kind


def test_twilight_of_an_unknown_height_is_refused() -> None:
    with pytest.raises(WrongInput, match="elevation_deg: got nan"):
        sky.twilight_kind(math.nan)


# --- glare ------------------------------------------------------------------------------------


# --- moon -------------------------------------------------------------------------------------
