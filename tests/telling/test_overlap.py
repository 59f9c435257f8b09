"""Whether two sides share their hours, told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import invented
import numpy as np
import pytest
from years import RESERVE

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Deployment, Evidence, Filter, Finding, Site, UnseenSequence
from trod.findings.shared_hours import shared_hours
from trod.telling import overlap as told

START = invented.utc("2026-04-01 00:00")
DEER, FOX = Filter(species=("red-deer",)), Filter(species=("red-fox",))


def record(*, deer_h: float = 0.0, fox_h: float = 12.0, people_h: float = 12.0, n: int = 80) -> Evidence:
    """Each one at their hour, ± 2 h, on one day after another, at two sites watched throughout."""
    rng = np.random.default_rng(4)
    rows = []
    for species, hour in (("red-deer", deer_h), ("red-fox", fox_h), ("", people_h)):
        for day in range(n):
            at = START + day * 86_400 + 3600 * ((hour + rng.normal(0, 2)) % 24)
            row = invented.observation(species or "red-deer", float(at), site=f"s{day % 2}", deployment=f"s{day % 2}-1")
            rows.append(row if species else replace(row, what="human", species="", sequence=f"h{day}"))
    return Evidence(
        reserve=RESERVE,
        sites=tuple(Site(slug=s, name=s.upper(), latitude_deg=47.3, longitude_deg=-16.1) for s in ("s0", "s1")),
        deployments=tuple(
            Deployment(slug=f"{s}-1", site=s, watched=((START, START + 120 * 86_400),)) for s in ("s0", "s1")
        ),
        observations=tuple(rows),
    )


def ask(evidence: Evidence, first: Filter, second: Filter, *, people: bool = False) -> Finding:
    return told.finding(evidence, shared_hours(evidence, first, second, people=people))


def test_two_kinds_that_keep_other_hours_are_told_with_interval() -> None:
    found = ask(record(), DEER, FOX)

    assert found.value is not None and found.interval is not None
    assert found.interval.low <= found.value <= found.interval.high < 0.3
    assert found.sentence.startswith("Red deer and Red fox share ")
    assert found.sentence.endswith(", 95 %) of their hours. Their hours differ.")
    assert "To share hours is not to meet: this says nothing of places and days." in found.told
    assert found.series["overlap"]["by_sun"] is True
    assert [row["detections"] for row in found.rows] == [80, 80]
    assert len(found.sequences) == 160
    found.to_json()


def test_no_difference_is_not_told_as_sameness() -> None:
    found = ask(record(fox_h=0.0), DEER, FOX)

    assert found.sentence.endswith("No difference between their hours is shown.")
    assert found.interval is not None and found.interval.high == 1
    assert any("does not make them alike" in line for line in found.told)


def test_people_are_a_side_whose_pictures_stay_shut() -> None:
    found = ask(record(deer_h=12.0, people_h=12.0), DEER, Filter(), people=True)

    assert found.sentence.startswith("Red deer and people share ")
    assert len(found.sequences) == 80  # the deer's
    assert found.rows[1]["side"] == "People" and found.rows[1]["pictures"] == ()
    assert any("People whose pictures were deleted" in line for line in found.cautions)


def test_two_periods_and_two_sites_have_their_own_sentences() -> None:
    evidence = record()
    spring = replace(DEER, first=date(2026, 4, 1), last=date(2026, 5, 9))
    summer = replace(DEER, first=date(2026, 5, 10), last=date(2026, 6, 19))
    by_period = ask(evidence, spring, summer)
    by_site = ask(evidence, replace(DEER, sites=("s0",)), replace(DEER, sites=("s1",)))

    assert by_period.sentence.startswith("Red deer keep ")
    assert "in 1 April to 9 May 2026 and in 10 May to 19 June 2026." in by_period.sentence
    assert "of their hours at S0 and at S1. No difference between the hours is shown." in by_site.sentence


def test_too_few_are_refused_with_what_it_would_take() -> None:
    found = ask(record(n=20), DEER, FOX)

    assert found.value is None and found.interval is None and found.series == {}
    assert found.sentence == (
        "How far Red deer and Red fox share their hours cannot be told: one side has 20 detections. It takes 25 on each "
        "side that come on days of their own; widen the period or the sites."
    )


def test_what_waits_for_review_is_told_once() -> None:
    waiting = tuple(UnseenSequence(sequence=f"u{n}", site="s0", utc_s=START + n * 3600) for n in range(40))
    found = ask(replace(record(), unseen=waiting), DEER, FOX)

    assert sum("not yet reviewed" in line for line in found.cautions) == 1


@pytest.mark.parametrize(
    ("first", "second", "people", "got"),
    [
        (DEER, DEER, False, "two sides that are the same"),
        (DEER, replace(FOX, sites=("s0",)), False, "differ in more than one thing"),
        (DEER, Filter(), False, "stands on both sides"),
        (DEER, replace(DEER, sites=("s0",)), True, "differ in more than one thing"),
    ],
)
def test_sides_that_cannot_be_compared_are_refused(first: Filter, second: Filter, people: bool, got: str) -> None:
    with pytest.raises(WrongInput, match=got):
        shared_hours(record(), first, second, people=people)


def test_a_side_without_a_camera_is_no_answer() -> None:
    with pytest.raises(NotEnoughEvidence, match="no camera watched"):
        shared_hours(record(), DEER, replace(DEER, first=date(2030, 1, 1), last=date(2030, 2, 1)))
