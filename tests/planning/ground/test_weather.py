"""Cold nights by month."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.ground.weather import DEFAULT_CLIMATE, MIDDLES, Climate

HEAD = "month,night_minimum_c,sd_c\n"
YEAR = HEAD + "".join(f"{month},{month - 8},{3 if month < 6 else 2}\n" for month in range(1, 13))


def test_the_assumed_year_is_coldest_on_the_twentieth_of_january() -> None:
    days = np.arange(1, 366)
    curve = DEFAULT_CLIMATE.night_minimum_c(days)

    assert DEFAULT_CLIMATE.assumed
    assert int(days[np.argmin(curve)]) in (19, 20, 21)
    assert curve == approx(5 - 12 * np.cos(2 * np.pi * (days - 20) / 365.25), abs=0.01)
    assert DEFAULT_CLIMATE.night_sd_c(days) == approx(np.full(365, 4.0))


def test_the_year_goes_round_without_a_step() -> None:
    days = np.array([1.0, 1 + 365.25, 1 + 10 * 365.25, 1 - 365.25])
    climate = Climate.from_csv(YEAR)

    assert climate.night_minimum_c(days) == approx(np.full(4, float(climate.night_minimum_c(1))))
    assert float(climate.night_minimum_c(365.9) - climate.night_minimum_c(1)) == approx(0, abs=0.2)


def test_a_typed_year_is_kept_in_the_middle_of_each_month() -> None:
    climate = Climate.from_csv(YEAR)

    assert climate.night_minimum_c(MIDDLES) == approx(np.arange(-7, 5))
    assert climate.night_sd_c(MIDDLES)[[0, 6]] == approx([3, 2])
    assert not climate.assumed


def test_lines_in_any_order_and_without_spread_are_taken() -> None:
    lines = [f"{month},1.5" for month in range(12, 0, -1)]

    climate = Climate.from_csv("\ufeffmonth,night_minimum_c\r\n" + "\r\n".join(lines))

    assert climate.minimum_c == (1.5,) * 12 and climate.sd_c == (4.0,) * 12


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("month,cold\n1,2\n", "heading line: got 'month, cold'; needed: a column named night_minimum_c"),
        (HEAD + "1,-5,3\n1,-4,3\n", "line 3, month: got '1 again'; needed: each month once"),
        (HEAD + "13,-5,3\n", "line 2, month: got 13.0; needed: a month from 1 to 12"),
        (HEAD + "1,cold,3\n", "line 2, night_minimum_c: got 'cold'; needed: a number with a decimal point"),
        (HEAD + "1,nan,3\n", "line 2, night_minimum_c: got 'nan'"),
        (HEAD + "1,-5,3,4\n", "line 2: got '4 cells'; needed: at most 3, as the heading"),
        (HEAD + '1,"-5,3\n', "line 2: got 'unexpected end of data'"),
        (YEAR.replace("\n5,", "\n\n5,").replace("7,-1,2\n", ""), "climate: got 'no line for July'"),
        (YEAR.replace("3,-5", "3,-500"), "minimum_c: got"),
        ("", "heading line: got ''"),
    ],
)
def test_a_bad_csv_is_refused_by_line_and_column(text: str, words: str) -> None:
    with pytest.raises(WrongInput) as refused:
        Climate.from_csv(text)

    assert str(refused.value).startswith(words)


def test_eleven_months_and_a_day_that_is_none_are_refused() -> None:
    with pytest.raises(WrongInput, match="12 numbers from -70 to 40 °C, January first"):
        Climate(minimum_c=(0.0,) * 11)
    with pytest.raises(WrongInput, match="needed: days, 1 for the first of January"):
        DEFAULT_CLIMATE.night_minimum_c(math.nan)


def test_the_southern_year_is_coldest_in_july() -> None:
    south = Climate.seasonal(coldest_day=201)

    assert float(south.night_minimum_c(201)) == approx(-7, abs=0.01)


def test_nights_assumed_by_the_latitude_follow_the_sun_a_month_late() -> None:
    """Coldest about 20 January in the north and 20 July in the south, by the declination 30 days before."""
    days = np.arange(1, 366)
    north, south = (Climate.at_latitude(lat).night_minimum_c(days) for lat in (45.0, -45.0))

    assert int(days[np.argmin(north)]) in range(15, 26)
    assert int(days[np.argmin(south)]) in range(196, 208)
    # 45° has the mean and swing of the year that is taken where no latitude is known.
    assert north == approx(DEFAULT_CLIMATE.night_minimum_c(days), abs=0.7)
    assert float(south.mean()) == approx(float(north.mean()), abs=0.5)


def test_the_swing_grows_and_the_mean_falls_from_the_equator_to_the_pole() -> None:
    of = [Climate.at_latitude(lat) for lat in (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)]
    swing = [max(c.minimum_c) - min(c.minimum_c) for c in of]
    mean = [sum(c.minimum_c) / 12 for c in of]

    assert swing[0] == 0 and swing == sorted(swing)
    assert mean == sorted(mean, reverse=True)
    assert min(of[0].minimum_c) - 3 * of[0].sd_c[0] > 10  # no frost at the equator
    assert all(c.assumed for c in of)


def test_the_coldest_month_alone_moves_the_whole_year() -> None:
    told = Climate.at_latitude(60.0, coldest_c=-25.0)
    assumed = Climate.at_latitude(60.0)

    assert min(told.minimum_c) == approx(-25)
    assert not told.assumed and told.source.startswith("the coldest month as told")
    assert np.diff(told.minimum_c) == approx(np.diff(assumed.minimum_c))


def test_a_latitude_that_is_none_is_refused() -> None:
    with pytest.raises(WrongInput, match="latitude_deg: got nan; needed: degrees from -90"):
        Climate.at_latitude(math.nan)
