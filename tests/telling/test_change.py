"""Is it changing: what is said, and what must never be said again."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import date

import invented
import numpy as np
import pytest
from pytest import approx
from years import RESERVE, left_unreviewed, reserve_of

from trod.errors import NotEnoughEvidence
from trod.findings import Filter
from trod.findings.yearly import YearlyChange
from trod.findings.yearly_fit import Factor
from trod.telling import change as change_told
from trod.telling.change import answer as change

DEER = Filter(species=("red-deer",))


def test_a_reserve_of_which_the_last_quarter_waits_is_not_told_to_come_less_often() -> None:
    """Unchanging, but 80 % of the last quarter is not reviewed: it once "came less often" in more than half of runs."""
    for seed in range(8):
        whole = reserve_of(seed=seed, others=20)
        waiting = left_unreviewed(whole, since="2025-10-01 00:00", share=0.8, seed=seed)
        for order in ("time", "unknown", "content"):
            found = change(replace(waiting, review_order=order), DEER)  # type: ignore[arg-type]
            assert "less often" not in found.sentence, (seed, order, found.sentence)


def test_the_months_that_wait_have_the_rate_of_what_was_reviewed() -> None:
    whole = reserve_of(a_month=40, others=40)
    waiting = change(left_unreviewed(whole, since="2025-10-01 00:00", share=0.8), DEER)
    before, late = waiting.rows[:-3], waiting.rows[-3:]
    usual = np.mean([row["rate"] for row in before])

    assert all(row["reviewed"] == 1 for row in before)
    assert all(row["reviewed"] == approx(0.2, abs=0.06) for row in late)
    assert all(row["rate"] == approx(usual, rel=0.25) for row in late)
    assert [column.key for column in waiting.columns].count("reviewed") == 1
    assert "reviewed" not in [column.key for column in change(whole, DEER).columns]


def test_a_last_quarter_of_which_nothing_is_reviewed_has_no_rate_and_is_not_watched() -> None:
    found = change(left_unreviewed(reserve_of(), since="2025-10-01 00:00", share=1.0), DEER)

    assert [row["rate"] for row in found.rows[-3:]] == [None] * 3
    assert found.series["change"]["months"] == 33


@pytest.mark.long
def test_empty_months_are_not_kept_whole_while_others_wait() -> None:
    """At a few animals a year a month that holds none needs no review; kept whole beside months that wait, the last
    year would look empty. 30 unchanging reserves, the last half year reviewed in part: the middle stays near 1.
    """
    middles = []
    for seed in range(30):
        waiting = left_unreviewed(reserve_of(seed=seed, a_month=0.7), since="2025-07-01 00:00", share=0.8, seed=seed)
        found = change(waiting, DEER)
        if found.value is not None:
            middles.append(math.log(found.value))

    assert len(middles) > 20
    assert np.mean(middles) == approx(0.0, abs=0.12)


@pytest.mark.parametrize("months", [8, 14, 20])
def test_pure_season_is_no_change(months: int) -> None:
    """It once "became 0.37 times what it was": two springs and one autumn, and no animal more or fewer."""
    found = change(reserve_of(months=months, season=1.5, a_month=10), DEER)

    assert found.value is None and found.interval is None
    assert found.series["change"]["rule"] == "R1"
    assert "season and change cannot be told apart" in found.sentence
    assert "times" not in found.sentence


def test_seasons_watched_again_and_again_are_parted_from_change() -> None:
    found = change(reserve_of(months=60, season=1.5, yearly=0.75), DEER)

    assert found.value == approx(0.75, abs=0.1)
    assert found.sentence.startswith("Red deer came less often, by more than good and bad years usually explain: 0.7")


def test_summers_alone_of_many_years_are_refused() -> None:
    found = change(reserve_of(months=48, only_months=(5, 6, 7, 8)), DEER)

    assert found.series["change"]["rule"] == "R1"
    assert "only 4 calendar months were watched in two years by the same cameras at the same site" in found.sentence


def test_a_second_better_camera_is_not_more_animals() -> None:
    """Half the sites get a second camera in mid-record; their level is then their own."""
    found = change(reserve_of(months=48, second_from=24, a_month=12), DEER)

    assert "came more often" not in found.sentence and "recorded more often" not in found.sentence
    assert found.value == approx(1.0, abs=0.15)
    assert any("the cameras changed" in caution for caution in found.cautions)


def test_both_numbers_stand_in_plain_sentences_and_in_the_numbers() -> None:
    found = change(reserve_of(months=60, yearly=0.75), DEER)
    told = found.series["change"]

    assert found.unit == "times as often each year"
    assert found.interval is not None and found.interval.high < 1
    assert found.value == told["lasting"]["factor_per_year"]
    assert (found.interval.low, found.interval.high) == (told["lasting"]["low"], told["lasting"]["high"])
    assert found.interval.kind.startswith("lasting")
    assert found.other_intervals[0].kind.startswith("in this record")
    assert re.search(r"In this record: 0\.\d\d times as often each year \(0\.\d\d to 0\.\d\d\)\.$", found.sentence)
    assert found.told[0].startswith("It rests on 5 years, 8 sites and ")
    assert "Years are taken to differ by about a fifth by themselves; that is a setting of the reserve" in found.told[0]
    assert found.told[1].startswith("Told beforehand: with 8 sites that see as many, a halving in three years")
    plain = json.loads(found.to_json())
    assert {"low", "high"} <= set(plain["interval"]) and plain["effort"]["camera_days"] > 0
    assert plain["told"] == list(found.told)


def test_the_reserves_own_allowance_for_years_is_taken_and_named() -> None:
    record = reserve_of(months=60, yearly=0.8)
    usual = change(record, DEER)
    wary = change(replace(record, reserve=replace(RESERVE, yearly_allowance=0.4)), DEER)
    none = change(replace(record, reserve=replace(RESERVE, yearly_allowance=0.0)), DEER)

    assert usual.interval is not None and wary.interval is not None and none.interval is not None
    assert wary.interval.high > usual.interval.high > none.interval.high
    assert "Years are taken to differ by about 40 % by themselves" in wary.told[0]
    assert "Nothing is allowed for good and bad years, as the reserve is set." in none.told[0]
    assert "good and bad years usually" not in none.sentence


def test_a_short_halving_is_said_of_the_record_and_not_of_what_lasts() -> None:
    found = change(reserve_of(months=24, yearly=0.6, a_month=12), DEER)

    assert found.interval is not None and found.interval.high > 1
    assert found.sentence.startswith("Red deer was recorded less often later than earlier in this record: 0.")
    assert "Whether it lasts cannot be told from 2 years: years differ by about a fifth by themselves" in found.sentence


def test_picked_months_are_left_out_and_too_many_of_them_refused() -> None:
    record = reserve_of(months=48, others=5)
    few = change(replace(left_unreviewed(record, since="2026-10-01 00:00", share=0.9), review_order="content"), DEER)
    many = change(replace(left_unreviewed(record, since="2025-01-01 00:00", share=0.5), review_order="content"), DEER)

    assert re.search(r"[1-6] % of the effort is left out, for part of it is not reviewed", few.told[0])
    assert many.value is None and many.series["change"]["rule"] == "R4"
    assert "review what is still unreviewed" in many.sentence


def test_a_factor_beyond_what_the_data_carry_is_never_printed() -> None:
    """All detections in the last two months of three years: the slope has no end, and no power of ten is shown."""
    record = reserve_of(months=36, a_month=4)
    late = replace(
        record, observations=tuple(o for o in record.observations if o.utc_s > invented.utc("2025-11-01 00:00"))
    )
    found = change(late, DEER)

    assert found.value is None
    assert found.series["change"]["rule"] in ("R2", "R3")
    assert not re.search(r"\de[+-]?\d|thousand|0\.0{3}", found.sentence + found.to_json().split('"pictures"')[0][:600])


@pytest.mark.parametrize(
    ("claim", "lasting", "begins"),
    [
        ("more", (0.05, 0.4), "Red deer came more often, by more than good and bad years usually explain: 1.3 times"),
        ("later more", (-0.1, 0.6), "Red deer was recorded more often later than earlier in this record: 1.3 times"),
        ("steady", (-0.1, 0.09), "Red deer came about as often each year: 1.0 times (0.90 to 1.1, 95 %), good and bad"),
        ("unclear", (-0.3, 0.3), "No clear change in how often Red deer came. Good and bad years allowed for, anything"),
    ],
)
def test_each_kind_of_answer_has_its_words(claim: str, lasting: tuple[float, float], begins: str) -> None:
    def made(ends: tuple[float, float]) -> Factor:
        return Factor(middle=sum(ends) / 2, low=ends[0], high=ends[1])

    found = YearlyChange(
        claim=claim,  # type: ignore[arg-type]
        happened=made((0.1, 0.4)),
        lasting=made(lasting),
        allowance=0.2,
        scatter=1.0,
        months=36,
        sites=5,
        detections=99,
        left_out_days=0.0,
        cautions=(),
    )
    sentence = change_told.headline("Red deer", found)

    assert sentence.startswith(begins)
    for never in ("no change", "stable", "steadily"):
        assert never not in sentence.lower()


def test_what_could_not_have_been_seen_is_named() -> None:
    found = change(reserve_of(months=36), DEER)

    assert re.search(r"a change smaller than 0\.\d\d or 1\.\d times a year could not have been seen", found.sentence)


def test_one_month_is_no_change() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        change(reserve_of(), Filter(first=date(2023, 5, 1), last=date(2023, 5, 31)))

    assert str(refused.value) == (
        "one month with a day of effort or more; change needs at least two months; widen the period"
    )


def test_the_same_months_of_two_years_compare_each_site_with_itself() -> None:
    found = change(reserve_of(months=30, a_month=12), DEER)
    pair = found.series["same_months"]

    assert (pair["earlier"], pair["later"], pair["months"]) == (2024, 2025, [1, 2, 3, 4, 5, 6])
    assert pair["interval"].low < pair["ratio"] < pair["interval"].high
    assert 0 < pair["p"] <= 1
