"""Rate by month, and whether it changes."""

from __future__ import annotations

import math
from datetime import date

import invented
import numpy as np
import pytest
from pytest import approx

from trod.errors import NotEnoughEvidence
from trod.findings import Filter, rates, runs
from trod.findings import trend as trends
from trod.findings.detections import Detection
from trod.findings.effort import Effort


def made(cells: dict[tuple[str, date], tuple[float, int]]) -> tuple[list[Detection], Effort]:
    """Detections and effort with exactly these camera-days and counts by site and month (UTC)."""
    found = []
    for (site, month), (_, count) in cells.items():
        start = invented.utc(f"{month.isoformat()} 12:00")
        found += [
            Detection(
                species="red-deer",
                site=site,
                utc_s=start + n * 600,
                until_s=start + n * 600,
                count=1,
                sequences=(f"{site}{month}{n}",),
                picture=invented.sha(site, month, n),
            )
            for n in range(count)
        ]
    by_site_month = {key: days for key, (days, _) in cells.items()}
    by_site: dict[str, float] = {}
    by_month: dict[date, float] = {}
    for (site, month), days in by_site_month.items():
        by_site[site] = by_site.get(site, 0) + days
        by_month[month] = by_month.get(month, 0) + days
    return found, Effort(
        camera_days=sum(by_site.values()),
        by_site=by_site,
        by_month=by_month,
        by_site_month=by_site_month,
        gap_days_by_site={},
    )


def months(first: int, number: int) -> list[date]:
    return [date(2024 + (first - 1 + n) // 12, (first - 1 + n) % 12 + 1, 1) for n in range(number)]


def test_regression_of_two_groups_gives_the_log_of_their_rates() -> None:
    """For two groups the Poisson fit is exact: the levels are the log rates, their variances 1/count."""
    y, exposure = np.array([8.0, 12.0, 30.0]), np.array([10.0, 10.0, 15.0])
    design = np.array([[1.0, 0], [1, 0], [0, 1]])

    beta, covariance, fitted = trends.poisson_regression(y, design, exposure)

    assert np.exp(beta) == approx([1.0, 2.0])
    assert np.diag(covariance) == approx([1 / 20, 1 / 30])
    assert fitted == approx([10, 10, 30])


def test_a_rate_that_doubles_each_year_is_found_to_double() -> None:
    """Counts without noise, 2000·2^t, season taken out: the slope is the truth to the rounding of counts."""
    season = [3, 1, 1, 2, 4, 2, 1, 1, 2, 5, 3, 2]
    cells = {
        (site, month): (30.0, round(20 * size * season[month.month - 1] * 2 ** ((n) / 12)))
        for site, size in (("a", 1), ("b", 4))
        for n, month in enumerate(months(1, 24))
    }
    found = trends.trend(*made(cells), "UTC")

    assert found.with_season
    assert found.factor_per_year == approx(2.0, rel=0.01)
    assert found.interval.low < 2.0 < found.interval.high
    assert found.p < 1e-6


def test_moving_cameras_to_a_richer_site_is_not_change() -> None:
    """The poor site is watched early, the rich one late: the monthly rate rises, the trend does not."""
    cells = {}
    for n, month in enumerate(months(1, 8)):
        cells["poor", month] = (30.0 - 3 * n, round((30.0 - 3 * n) * 0.2))
        cells["rich", month] = (6.0 + 3 * n, round((6.0 + 3 * n) * 2))
    detections, effort = made(cells)
    monthly = [row.rate for row in trends.monthly(detections, effort, "UTC")]
    found = trends.trend(detections, effort, "UTC")

    assert monthly[-1] > 2 * monthly[0]  # type: ignore[operator]
    assert found.interval.low < 1 < found.interval.high
    assert not found.with_season


def test_one_year_does_not_part_season_from_change() -> None:
    cells = {("a", month): (30.0, 5 + 3 * n) for n, month in enumerate(months(1, 12))}

    assert not trends.trend(*made(cells), "UTC").with_season


def test_too_little_for_a_trend_is_refused_in_words() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        trends.trend(*made({("a", month): (30.0, 2) for month in months(1, 4)}), "UTC")

    assert str(refused.value) == (
        "8 detections in 4 months with effort; a trend needs at least 10 detections and 3 months"
    )


def test_each_site_watched_in_one_month_only_says_nothing_of_change() -> None:
    cells = {(f"s{n}", month): (30.0, 8) for n, month in enumerate(months(1, 5))}

    with pytest.raises(NotEnoughEvidence, match="a trend needs the same sites watched over more months"):
        trends.trend(*made(cells), "UTC")


def test_a_month_without_effort_stands_in_the_row_without_a_rate() -> None:
    cells = {
        ("a", date(2025, 1, 1)): (30.0, 3),
        ("a", date(2025, 3, 1)): (0.4, 0),
        ("a", date(2025, 4, 1)): (30.0, 6),
    }
    rows = trends.monthly(*made(cells), "UTC")

    assert [row.month.month for row in rows] == [1, 2, 3, 4]
    assert [row.rate for row in rows] == [approx(10.0), None, None, approx(20.0)]


def test_months_take_the_scatter_of_the_whole_record() -> None:
    """One month tells too little of runs; with none seen, the record's φ stands for a visit."""
    cells = {("a", month): (30.0, count) for month, count in zip(months(1, 4), (6, 0, 9, 3), strict=True)}
    known = runs.Scatter(count=18, phi_seen=2.0, phi=2.2, weeks=12.0, busy=7)
    rows = trends.monthly(*made(cells), "UTC", known)

    assert [row.shown.kind for row in rows if row.shown] == [
        rates.BY_RUNS, rates.NONE_SEEN, rates.BY_RUNS, rates.BY_RUNS,
    ]  # fmt: skip
    for row, count in zip(rows, (6, 0, 9, 3), strict=True):
        assert row.shown is not None
        if count:
            low, high = runs.limits(count, known, 0.95)
            assert (row.shown.low, row.shown.high) == (approx(low / 0.3), approx(high / 0.3))
        else:
            assert row.shown.high == approx(2.99573 * 2.2 / 0.3, rel=1e-5)


def test_a_month_of_a_day_with_one_animal_has_an_upper_end_of_a_score_of_animals() -> None:
    cells = {("a", date(2025, 1, 1)): (1.0, 1), ("a", date(2025, 2, 1)): (28.0, 3)}
    known = runs.scatter([[1, 0, 1, 1, 1]], [[1.0, 7, 7, 7, 7]])
    row = trends.monthly(*made(cells), "UTC", known)[0]

    assert row.shown is not None
    assert 100 < row.shown.high < 2000


def test_a_trend_that_could_be_anything_is_refused() -> None:
    """Ten detections all in the last of three months: the slope has no end; it once said over a thousand times."""
    cells = {("a", month): (30.0, count) for month, count in zip(months(1, 4), (0, 0, 1, 10), strict=True)}

    with pytest.raises(NotEnoughEvidence) as refused:
        trends.trend(*made(cells), "UTC")

    assert str(refused.value) == (
        "with 11 detections in 4 months a tenth of the rate and ten times it would both fit; more detections, or more "
        "sites watched over more months"
    )


def test_same_months_of_two_years_are_put_side_by_side() -> None:
    cells = {("a", date(2024, m, 1)): (30.0, 3) for m in (1, 2, 3)}
    cells |= {("a", date(2025, m, 1)): (20.0, 5) for m in (2, 3, 4)}
    found, effort = made(cells)

    assert trends.same_months(trends.monthly(found, effort, "UTC")) == {
        2024: ((date(2024, 2, 1), date(2024, 3, 1)), 6, 60.0),
        2025: ((date(2025, 2, 1), date(2025, 3, 1)), 10, 40.0),
    }


@pytest.mark.long
def test_the_trends_interval_holds_the_truth_as_often_as_promised() -> None:
    """300 throws of 8 sites × 24 months with clusters (negative binomial, k = 2), truth 1.3 a year."""
    rng = np.random.default_rng(99)
    held = refused = 0
    season = 1 + 0.6 * np.sin(np.arange(12) / 12 * 2 * math.pi)
    for _ in range(300):
        cells = {}
        for site in range(8):
            level = 3 * math.exp(0.7 * rng.normal())
            for n, month in enumerate(months(1, 24)):
                mean = level * season[month.month - 1] * 1.3 ** (n / 12)
                cells[f"s{site}", month] = (30.0, int(rng.negative_binomial(2, 2 / (2 + mean))))
        try:
            found = trends.trend(*made(cells), "UTC")
        except NotEnoughEvidence:
            refused += 1
            continue
        held += found.interval.low <= 1.3 <= found.interval.high

    assert refused < 3
    assert 0.90 <= held / (300 - refused) <= 0.98


def test_the_invented_reserve_that_grows_is_told_to_grow() -> None:
    from trod.findings import change

    found = change(invented.year(days=760, yearly_factor=2.0), Filter(species=("red-deer",)))

    assert found.interval is not None and found.value is not None
    assert found.interval.low > 1 and found.interval.low < 2.0 < found.interval.high
    assert "came more often from year to year, season taken out" in found.sentence
