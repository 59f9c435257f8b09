"""The rate month by month."""

from __future__ import annotations

from datetime import date

import invented
import numpy as np
from pytest import approx

from trod.findings import months as by_month
from trod.findings import rates, runs
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.reviewing import Carried


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
    by_site: dict[str, float] = {}
    months: dict[date, float] = {}
    for (site, month), (days, _) in cells.items():
        by_site[site] = by_site.get(site, 0) + days
        months[month] = months.get(month, 0) + days
    return found, Effort(
        camera_days=sum(by_site.values()),
        by_site=by_site,
        by_month=months,
        by_site_month={key: days for key, (days, _) in cells.items()},
        gap_days_by_site={},
        site_days=sum(by_site.values()),
        site_days_by_site=by_site,
        site_days_by_site_month={key: days for key, (days, _) in cells.items()},
        proven={key: days for key, (days, _) in cells.items()},
        possible={key: days for key, (days, _) in cells.items()},
    )


def months(first: int, number: int) -> list[date]:
    return [date(2024 + (first - 1 + n) // 12, (first - 1 + n) % 12 + 1, 1) for n in range(number)]


def test_a_month_without_effort_stands_in_the_row_without_a_rate() -> None:
    cells = {
        ("a", date(2025, 1, 1)): (30.0, 3),
        ("a", date(2025, 3, 1)): (0.4, 0),
        ("a", date(2025, 4, 1)): (30.0, 6),
    }
    rows = by_month.monthly(*made(cells), "UTC")

    assert [row.month.month for row in rows] == [1, 2, 3, 4]
    assert [row.rate for row in rows] == [approx(10.0), None, None, approx(20.0)]


def test_a_month_of_which_a_third_is_reviewed_has_the_rate_of_that_third() -> None:
    cells = {("a", date(2025, 1, 1)): (30.0, 3), ("a", date(2025, 2, 1)): (30.0, 1), ("a", date(2025, 3, 1)): (30.0, 0)}
    shares = {date(2025, 1, 1): 1.0, date(2025, 2, 1): 1 / 3, date(2025, 3, 1): 0.0}
    carried = Carried(weights=np.array([1.0, 1.0, 1.0, 3.0]), left_out=frozenset({("a", date(2025, 3, 1))}))
    review = by_month.Review(
        carried=carried, whole=lambda place: shares[place[1]], by_content=False, plain=None
    )  # fmt: skip
    found, effort = made(cells)
    rows = by_month.monthly(found, effort, "UTC", None, review)

    assert [row.rate for row in rows] == [approx(10.0), approx(10.0), None]
    assert [row.effort_days for row in rows] == [30.0] * 3
    assert [row.share for row in rows] == [approx(1.0), approx(1 / 3), 0.0]


def test_months_take_the_scatter_of_the_whole_record() -> None:
    """One month tells too little of runs; with none seen, the record's φ stands for a visit."""
    cells = {("a", month): (30.0, count) for month, count in zip(months(1, 4), (6, 0, 9, 3), strict=True)}
    known = runs.Scatter(count=18, phi_seen=2.0, phi=2.2, weeks=12.0, busy=7)
    rows = by_month.monthly(*made(cells), "UTC", known)

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
    row = by_month.monthly(*made(cells), "UTC", known)[0]

    assert row.shown is not None
    assert 100 < row.shown.high < 2000


def test_the_same_months_are_those_of_the_last_two_years_that_share_any() -> None:
    cells = {("a", date(2024, m, 1)): (30.0, 3) for m in (1, 2, 3)}
    cells |= {("a", date(2025, m, 1)): (20.0, 5) for m in (2, 3, 4)}

    assert by_month.same_months(by_month.monthly(*made(cells), "UTC")) == {
        2024: (date(2024, 2, 1), date(2024, 3, 1)),
        2025: (date(2025, 2, 1), date(2025, 3, 1)),
    }
