"""The same evidence at several independence intervals."""

from __future__ import annotations

from dataclasses import replace

import invented
import pytest
from years import RESERVE

from trod.errors import NotEnoughEvidence
from trod.findings import Deployment, Evidence, Filter, Site
from trod.findings.intervals import STEPS_MIN, by_interval
from trod.telling import intervals as told

START = invented.utc("2026-04-01 00:00")
DEER = Filter(species=("red-deer",))


def record(apart_min: float, *, each: int = 4, days: int = 40) -> Evidence:
    """So many sequences a day, each so long after the one before it."""
    rows = [
        invented.observation("red-deer", START + day * 86_400 + 3600 + n * apart_min * 60, site="s0", deployment="s0-1")
        for day in range(days)
        for n in range(each)
    ]
    return Evidence(
        reserve=RESERVE,
        sites=(Site(slug="s0", name="S0", latitude_deg=47.3, longitude_deg=-16.1),),
        deployments=(Deployment(slug="s0-1", site="s0", watched=((START, START + days * 86_400),)),),
        observations=tuple(rows),
    )


def test_detections_are_merged_by_each_interval() -> None:
    rows = by_interval(record(20), replace(DEER, independence_min=45))

    assert [row.minutes for row in rows] == sorted({*STEPS_MIN, 45.0})
    counts = {row.minutes: row.detections for row in rows}
    assert counts[0] == counts[15] == 160 and counts[30] == counts[45] == counts[360] == 40
    assert counts[1440] == 1  # each begins within a day of the one before
    assert [row.minutes for row in rows if row.asked] == [45]
    assert rows[0].rate.value == pytest.approx(400)


def test_the_sentence_has_both_ends_and_the_one_in_use() -> None:
    rows = by_interval(record(20), DEER)

    assert told.sentence("red deer", rows) == (
        "The rate goes from 400 per 100 camera-days, when only observations that overlap are one detection, to 2.50, "
        "when all within a day of one another are, and 100 at the 30 min in use."
    )


def test_where_it_makes_no_difference_that_is_told() -> None:
    alone = record(1, each=1, days=30)
    rare = replace(alone, observations=alone.observations[::10])

    assert told.sentence("red deer", by_interval(rare, DEER)).startswith("The interval makes no difference here: 10")
    none = told.sentence("red deer", by_interval(replace(alone, observations=()), DEER))
    assert none == "None of red deer was seen, so the interval makes no difference."
    with pytest.raises(NotEnoughEvidence):
        by_interval(replace(alone, deployments=()), DEER)


def test_intervals_are_named_shortly() -> None:
    assert [told.name(m) for m in (0, 5, 90, 360, 1440, 2880)] == ["0", "5 min", "90 min", "6 h", "1 day", "2 days"]
