"""Two periods, or two sites, compared and told."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest
from years import left_unreviewed, reserve_of

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Evidence, Filter, Finding
from trod.findings.two_sides import compare
from trod.telling import two_sides

THEN = Filter(species=("red-deer",), first=date(2023, 4, 1), last=date(2023, 9, 30))
NOW = Filter(species=("red-deer",), first=date(2025, 4, 1), last=date(2025, 9, 30))
HERE, THERE = Filter(species=("red-deer",), sites=("s1",)), Filter(species=("red-deer",), sites=("s2",))


def told(evidence: Evidence, first: Filter, second: Filter) -> Finding:
    return two_sides.finding(evidence, compare(evidence, first, second))


@pytest.fixture(scope="module")
def record() -> Evidence:
    return reserve_of(a_month=8, yearly=0.6, seed=5)


def test_two_periods_are_told_with_ratio_interval_and_test(record: Evidence) -> None:
    found = told(record, NOW, THEN)

    assert found.value is not None and found.interval is not None
    assert found.interval.low < 0.36 < found.interval.high < 1
    assert found.series["compare"]["p"] < 0.001
    assert found.sentence.startswith(
        "Red deer came less often in 1 April to 30 September 2025 than in 1 April to 30 September 2023: 0."
    )
    assert found.told[0].startswith("For sites like these: 0.")
    assert [row["side"] for row in found.rows] == ["1 April to 30 September 2025", "1 April to 30 September 2023"]
    turned = told(record, THEN, NOW)
    assert turned.value == pytest.approx(1 / found.value)


def test_two_sites_are_compared_month_by_month() -> None:
    """The rich site was watched in winter alone, when there are few: only the months both watched are compared."""
    whole = reserve_of(a_month=20, season=1.5, seed=5)
    found = told(whole, HERE, THERE)
    start, spring = 1672531200.0, 1680307200.0
    part = tuple(replace(d, watched=((start, spring),)) if d.site == "s2" else d for d in whole.deployments)
    winter = told(
        replace(
            whole, deployments=part,
            observations=tuple(o for o in whole.observations if o.site != "s2" or o.utc_s < spring),
        ),
        HERE, THERE,
    )  # fmt: skip

    assert found.value is not None and winter.value is not None
    assert abs(math.log(winter.value / found.value)) < 0.7  # the plain rates differ by far more
    assert any("where or when only one side was watched take no part" in caution for caution in winter.cautions)
    assert found.series["compare"]["by"] == "sites"
    assert found.sentence.endswith("This speaks of these very sites and times.")


def test_what_waits_for_review_is_not_a_difference() -> None:
    steady = reserve_of(a_month=20, others=20)
    found = told(left_unreviewed(steady, since="2025-01-01 00:00", share=0.8), NOW, THEN)

    assert found.sentence.startswith("No clear difference between 1 April")


def test_another_season_is_told(record: Evidence) -> None:
    found = told(record, replace(NOW, first=date(2025, 1, 1), last=date(2025, 3, 31)), THEN)

    assert any("season is part of the difference" in caution for caution in found.cautions)


def test_none_on_one_side_is_told_with_the_one_end_there_is(record: Evidence) -> None:
    bare = replace(record, observations=tuple(o for o in record.observations if o.utc_s < 1735689600))
    found = told(bare, NOW, THEN)

    assert found.interval is not None and found.interval.low == 0
    assert "at most 0.0" in found.sentence
    assert found.to_dict()["interval"]["low"] == 0


def test_nothing_on_either_side_gives_a_reason_and_no_number(record: Evidence) -> None:
    found = told(replace(record, observations=()), NOW, THEN)

    assert found.value is None and found.interval is None
    assert "cannot be told: nothing was seen on either side" in found.sentence


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (NOW, NOW),
        (HERE, THEN),
        (NOW, replace(THEN, species=("brown-hare",))),
        (HERE, replace(HERE, sites=("s1", "s2"))),
        (HERE, replace(HERE, sites=())),
    ],
)
def test_sides_that_do_not_make_one_question_are_refused(record: Evidence, first: Filter, second: Filter) -> None:
    with pytest.raises(WrongInput, match="compare"):
        told(record, first, second)


def test_a_side_nobody_watched_is_refused(record: Evidence) -> None:
    with pytest.raises(NotEnoughEvidence, match="no camera watched"):
        told(record, NOW, replace(THEN, first=date(2001, 1, 1), last=date(2001, 3, 1)))


def test_one_detection_that_one_side_alone_could_have_is_told_of_and_takes_no_part(record: Evidence) -> None:
    known = compare(record, HERE, THERE)
    one, none = (two_sides.finding(record, replace(known, left=n)).cautions for n in (1, 0))

    assert "1 detection where or when only one side was watched takes no part." in one
    assert not any("takes no part" in caution or "take no part" in caution for caution in none)


def test_the_sentence_says_the_one_end_that_is_known(record: Evidence) -> None:
    known = compare(record, NOW, THEN)
    assert known.here is not None
    here = known.here

    def sentence(low: float, high: float) -> str:
        ends = replace(here, interval=replace(here.interval, low=low, high=high))
        return two_sides.finding(record, replace(known, here=ends)).sentence

    assert "at least 1.5 times as often" in sentence(1.5, math.inf)
    assert "at most 0.80 times as often" in sentence(0.0, 0.8)
