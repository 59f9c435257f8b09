"""Camera-days in all the ways they are asked for."""

from __future__ import annotations

from datetime import date

import invented
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.findings import Evidence, Filter
from trod.findings.effort import effort, hours_by_clock, possible_at
from trod.findings.observations import select

watch = invented.watch


def selection(*deployments: object, asked: Filter | None = None) -> object:
    evidence = Evidence(reserve=invented.RESERVE, sites=invented.sites(), deployments=deployments)  # type: ignore[arg-type]
    return select(evidence, asked or Filter())


def test_gaps_are_not_effort_and_are_told_apart() -> None:
    found = effort(
        selection(  # type: ignore[arg-type]
            watch(
                "alder-ford",
                "2026-01-01 00:00",
                "2026-01-31 00:00",
                gaps=(("2026-01-10 00:00", "2026-01-15 12:00", "cells empty"),),
            )
        )
    )

    assert found.camera_days == pytest.approx(24.5)
    assert found.gap_days_by_site == {"alder-ford": 5.5}


def test_two_cameras_at_one_site_are_two_camera_days_and_one_site_day() -> None:
    one = watch("alder-ford", "2026-01-01 00:00", "2026-01-11 00:00")
    two = type(one)(slug="alder-ford-2", site="alder-ford", camera="other", watched=one.watched)

    found = effort(selection(one, two))  # type: ignore[arg-type]

    assert found.by_site == {"alder-ford": 20.0} and found.camera_days == 20
    assert found.site_days_by_site == {"alder-ford": 10.0} and found.site_days == 10
    assert found.doubled == ("alder-ford",)
    assert sum(found.possible.values()) == 10


def test_months_begin_at_local_midnight_and_summer_time_is_kept() -> None:
    """Vienna is an hour ahead of UTC in winter, two in summer: March 2026 there has 30 days and 23 hours."""
    found = effort(selection(watch("alder-ford", "2026-02-28 23:00", "2026-04-30 22:00")))  # type: ignore[arg-type]

    assert found.by_month == {
        date(2026, 3, 1): pytest.approx(31 - 1 / 24),
        date(2026, 4, 1): pytest.approx(30),
    }


def test_all_the_ways_of_adding_up_agree() -> None:
    found = effort(select(invented.year(), Filter()))

    assert sum(found.by_site.values()) == pytest.approx(found.camera_days)
    assert sum(found.by_month.values()) == pytest.approx(found.camera_days)
    assert sum(found.by_site_month.values()) == pytest.approx(found.camera_days)


def test_whole_days_watch_every_hour_alike() -> None:
    spread = hours_by_clock(selection(watch("alder-ford", "2026-01-01 00:00", "2026-01-11 00:00")), 24)  # type: ignore[arg-type]

    assert spread == pytest.approx(np.full(24, 10.0))


def test_effort_by_clock_follows_the_wall_clock_through_the_change_to_summer_time() -> None:
    """On 29 March 2026 Vienna's clock leaps from 02:00 to 03:00: that hour was watched by nobody."""
    spread = hours_by_clock(selection(watch("alder-ford", "2026-03-28 23:00", "2026-03-29 22:00")), 24)  # type: ignore[arg-type]

    assert spread == pytest.approx([1.0, 1.0, 0.0] + [1.0] * 21)


@given(st.floats(0, 40), st.floats(0.001, 40))
def test_effort_by_clock_adds_up_to_the_hours_watched(start_d: float, length_d: float) -> None:
    begin = invented.utc("2026-03-10 00:00") + start_d * 86_400
    one = type(watch("alder-ford", "2026-01-01 00:00", "2026-01-02 00:00"))(
        slug="x", site="alder-ford", watched=((begin, begin + length_d * 86_400),)
    )

    spread = hours_by_clock(selection(one))  # type: ignore[arg-type]

    assert spread.sum() == pytest.approx(length_d * 24)
    assert spread.min() >= -1e-9


def test_an_instant_in_a_gap_is_not_watched() -> None:
    chosen = selection(
        watch(
            "alder-ford",
            "2026-01-01 00:00",
            "2026-01-31 00:00",
            gaps=(("2026-01-10 00:00", "2026-01-15 00:00", ""),),
        )
    )

    assert possible_at(chosen)("alder-ford", invented.utc("2026-01-09 00:00"))  # type: ignore[arg-type]
    assert not possible_at(chosen)("alder-ford", invented.utc("2026-01-12 00:00"))  # type: ignore[arg-type]
    assert not possible_at(chosen)("barn-track", invented.utc("2026-01-09 00:00"))  # type: ignore[arg-type]
