"""A site's year as facts: months, weeks, kinds and silences."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import invented
import pytest

from trod.findings import Deployment, Evidence, Gap, Site, UnseenSequence
from trod.findings.site_year import site_year, years

UTC = replace(invented.RESERVE, zone="UTC")


def span(first: str, last: str) -> tuple[float, float]:
    return invented.utc(f"{first} 00:00"), invented.utc(f"{last} 00:00")


def record(**more) -> Evidence:
    """Watched from March to the end of June 2025, with a week open and a week lost in May."""
    open_gap = Gap(start_s=span("2025-05-01", "2025-05-08")[0], end_s=span("2025-05-01", "2025-05-08")[1])
    lost = Gap(start_s=span("2025-05-08", "2025-05-15")[0], end_s=span("2025-05-08", "2025-05-15")[1], reason="no power")
    watched = (span("2025-03-01", "2025-05-04"), span("2025-05-15", "2025-07-01"))
    camera = Deployment(slug="alder-ford-1", site="alder-ford", watched=watched, open=(open_gap,), gaps=(lost,))
    return Evidence(
        reserve=UTC,
        sites=(Site(slug="alder-ford", name="Alder Ford", latitude_deg=47.3, longitude_deg=12.8),),
        deployments=(camera, *more.pop("also", ())),
        **more,
    )


def test_each_month_parts_its_days_into_proven_open_and_lost() -> None:
    known = site_year(record(), "alder-ford", 2025)
    may = known.months[4]

    assert [month.watched for month in known.months] == pytest.approx([0, 0, 31, 30, 20, 30, 0, 0, 0, 0, 0, 0])
    assert (may.proven, may.open, may.lost) == pytest.approx((17, 7, 7))
    assert sum(week.watched for week in known.weeks) == pytest.approx(known.watched) == pytest.approx(111)
    assert sum(week.days for week in known.weeks) == known.days == 365


def test_what_a_second_camera_watched_is_neither_lost_nor_open_nor_twice() -> None:
    second = Deployment(slug="alder-ford-2", site="alder-ford", watched=(span("2025-05-01", "2025-06-01"),))
    may = site_year(record(also=(second,)), "alder-ford", 2025).months[4]

    assert (may.watched, may.proven, may.open, may.lost) == pytest.approx((31, 31, 0, 0))


def test_detections_stand_in_their_month_and_week_and_the_last_days_in_the_last_week() -> None:
    seen = tuple(
        invented.observation("red-deer", at) for at in ("2025-03-01 06:00", "2025-03-01 06:10", "2025-12-31 20:00")
    )
    waits = (UnseenSequence(sequence="u", site="alder-ford", utc_s=invented.utc("2025-04-30 23:00")),)
    known = site_year(record(observations=seen, unseen=waits), "alder-ford", 2025)
    (deer,) = known.kinds

    assert [len(month) for month in deer.by_month] == [0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1]
    assert sum(deer.by_week) == 2 and deer.by_week[-1] == 1 and deer.by_week[8] == 1
    assert [month.waiting for month in known.months].index(1) == 3


def test_silences_of_a_day_or_more_are_listed_with_what_is_known_of_them() -> None:
    first, second = site_year(record(), "alder-ford", 2025).quiet

    assert (first.open, first.first) == (True, date(2025, 5, 1))
    assert (second.open, second.reason) == (False, "no power")
    assert site_year(record(), "alder-ford", 2024).quiet == ()


def test_the_years_of_a_site_are_those_with_anything_of_it() -> None:
    assert years(record(), "alder-ford") == (2025,)
    assert years(record(), "nowhere") == ()
    assert site_year(record(), "alder-ford", 2024).days == 366
