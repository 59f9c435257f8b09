"""What a record may say of change, and why it may not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from trod.findings import yearly
from trod.findings.yearly import NoYearlyFactor, Record
from trod.findings.yearly_fit import Cells, Factor


def record(
    *, sites: int = 6, months: int = 36, mean: float = 4.0, slope: float = 0.0, seed: int = 3, keep: object = None
) -> Record:
    """Poisson counts at alike sites, watched throughout."""
    rng = np.random.default_rng(seed)
    unit, month = np.divmod(np.arange(sites * months), months)
    seen = rng.poisson(mean * np.exp(slope * (month - months / 2) / 12)).astype(float)
    whole = Record(
        cells=Cells(unit=unit, month=month, days=np.full(len(unit), 30.0), seen=seen, months=months, calendar=0),
        site=tuple(range(sites)),
    )
    return whole if keep is None else whole.only(keep(whole.cells))  # type: ignore[operator]


@pytest.mark.parametrize(
    ("short", "rule", "words"),
    [
        (record(months=23), "R1", "the record goes over 23 months"),
        (
            record(months=36, keep=lambda c: (c.month < 6) | (c.month > 29)),
            "R1",
            "only 0 calendar months were watched in two years by the same cameras",
        ),
        (record(sites=2), "R2", "detections at 2 sites only"),
        (record(mean=0.05), "R2", "in the months that were watched in two years"),
        (record(sites=3, months=24, mean=0.5), "R3", "could not tell a halving in one year from a doubling"),
    ],
)  # fmt: skip
def test_what_a_record_lacks_is_named_by_the_first_rule_that_refuses(short: Record, rule: str, words: str) -> None:
    with pytest.raises(NoYearlyFactor) as refused:
        yearly.what_the_record_says(short)

    assert refused.value.rule == rule
    assert words in refused.value.have
    assert refused.value.need


def test_sites_that_came_one_after_another_watched_no_month_twice() -> None:
    """Each site a year of its own: no unit has the same calendar month in two years, whatever the total."""
    apart = record(sites=3, keep=lambda c: c.month // 12 == c.unit)

    with pytest.raises(NoYearlyFactor) as refused:
        yearly.what_the_record_says(apart)

    assert refused.value.rule == "R1"


def test_months_reviewed_by_what_is_in_them_are_left_out_and_too_many_are_refused() -> None:
    whole = record(months=48)
    late = replace(whole, picked=whole.cells.month >= 45)
    most = replace(whole, picked=whole.cells.month >= 30)
    found = yearly.what_the_record_says(late)

    assert found.months == 45
    assert found.left_out_days == approx(3 / 48)
    with pytest.raises(NoYearlyFactor) as refused:
        yearly.what_the_record_says(most)
    assert refused.value.rule == "R4"
    assert refused.value.have.startswith("38 % of the effort lies in months of which part is not reviewed")


def test_only_what_lasts_beyond_good_and_bad_years_may_say_fewer() -> None:
    """Two years of halving are seen as happened; five years of it as lasting."""
    two = yearly.what_the_record_says(record(months=24, sites=12, slope=-math.log(2)))
    five = yearly.what_the_record_says(record(months=60, sites=12, slope=-math.log(2) / 3))

    assert two.happened.high < 0
    assert two.claim in ("later fewer", "fewer") and two.lasting.low < two.happened.low
    assert five.claim == "fewer"


@pytest.mark.parametrize(
    ("happened", "lasting", "claim"),
    [
        ((0.1, 0.3), (0.05, 0.4), "more"),
        ((-0.3, -0.1), (-0.4, -0.05), "fewer"),
        ((0.1, 0.3), (-0.05, 0.4), "later more"),
        ((-0.3, -0.1), (-0.4, 0.05), "later fewer"),
        ((-0.1, 0.1), (-0.3, 0.3), "unclear"),
        ((-0.02, 0.02), (-0.10, 0.10), "steady"),
        ((-0.02, 0.02), (-0.11, 0.10), "unclear"),
        ((0.01, 0.05), (-0.10, 0.10), "steady"),
    ],
)
def test_steady_is_said_only_within_a_tenth_and_never_of_what_is_merely_unclear(
    happened: tuple[float, float], lasting: tuple[float, float], claim: str
) -> None:
    def made(ends: tuple[float, float]) -> Factor:
        return Factor(middle=sum(ends) / 2, low=ends[0], high=ends[1])

    assert yearly.claim(made(happened), made(lasting)) == claim


def test_without_an_allowance_lasting_is_what_happened() -> None:
    found = yearly.what_the_record_says(record(), allowance=0.0)

    assert found.lasting == found.happened


def test_cautions_tell_of_one_site_that_holds_most_and_of_other_sites_at_the_end() -> None:
    whole = record(sites=4)
    heavy = Record(
        cells=replace(whole.cells, seen=np.where(whole.cells.unit == 0, whole.cells.seen * 9, whole.cells.seen)),
        site=whole.site,
    )
    # sites 0–2 for two years, 3–5 for the last two: they overlap in the middle year
    moved = record(sites=6, keep=lambda c: np.where(c.unit < 3, c.month < 24, c.month >= 12))

    assert yearly.cautions(heavy) == ("one-site",)
    assert yearly.cautions(moved) == ("other-sites",)
    assert yearly.cautions(whole) == ()


def test_both_ends_of_what_waits_are_taken_in() -> None:
    first, second = record(seed=1), record(seed=1, slope=-0.3)
    both = yearly.bounded((first, second))
    alone = [yearly.what_the_record_says(each) for each in (first, second)]

    assert both.lasting.low == min(each.lasting.low for each in alone)
    assert both.lasting.high == max(each.lasting.high for each in alone)
    assert both.lasting.middle == alone[0].lasting.middle


def test_ends_too_far_apart_are_refused() -> None:
    with pytest.raises(NoYearlyFactor) as refused:
        yearly.bounded((record(seed=1), record(seed=1, slope=-0.9)))

    assert refused.value.rule == "R4"


def test_a_halving_in_three_years_is_seldom_shown_by_three_years_and_mostly_by_five() -> None:
    """Simulated with 100 clumped records each: 17 to 21 of 100 from 3 years, 72 to 82 from 5 (docs/models/change.md)."""
    three, five, eight = (yearly.outlook(years=years, sites=12, seen_a_month=2.0, allowance=0.2) for years in (3, 5, 8))

    assert three == approx(0.20, abs=0.08)
    assert five == approx(0.75, abs=0.10)
    assert eight > five > three
    assert yearly.outlook(years=5, sites=12, seen_a_month=2.0, allowance=0.4) < five


@pytest.mark.long
def test_unchanging_reserves_whose_years_differ_are_seldom_told_to_change() -> None:
    """150 records of 12 sites × 36 months, years differing by a fifth, shared months: under 5 % more or fewer."""
    rng = np.random.default_rng(8)
    wrong = told = 0
    unit, month = np.divmod(np.arange(12 * 36), 36)
    for _ in range(150):
        luck = 0.2 * rng.normal(size=3)[np.arange(36) // 12] + 0.15 * rng.normal(size=36)
        mean = 3 * np.exp(0.7 * rng.normal(size=12)[unit] + luck[month] + 0.6 * np.sin(month / 6 * np.pi))
        seen = rng.negative_binomial(1, 1 / (1 + mean)).astype(float)
        try:
            found = yearly.what_the_record_says(
                Record(
                    cells=Cells(unit=unit, month=month, days=np.full(len(unit), 30.0), seen=seen, months=36, calendar=0),
                    site=tuple(range(12)),
                )
            )
        except NoYearlyFactor:
            continue
        told += 1
        wrong += found.claim in ("more", "fewer")

    assert told > 100
    assert wrong / 150 < 0.05
