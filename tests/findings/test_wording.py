"""Numbers and dates as people read them."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.findings import wording


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (27.3305, "27.3"),
        (0.14134, "0.141"),
        (9.996, "10.0"),
        (1234.5, "1\u202f230"),
        (0, "0"),
        (-2.5, "−2.50"),
        (float("inf"), "without limit"),
        (float("nan"), "unknown"),
        (0.0000312, "0.0000312"),
    ],
)
def test_a_number_is_shown_with_three_significant_digits_at_most(value: float, words: str) -> None:
    assert wording.number(value) == words


@given(st.floats(min_value=1e-6, max_value=1e9))
def test_rounding_never_moves_a_number_by_more_than_half_a_per_cent(value: float) -> None:
    shown = float(wording.number(value).replace("\u202f", ""))
    assert abs(shown - value) <= 0.005 * value * 1.0001


def test_a_chosen_value_has_no_zeros_at_its_end() -> None:
    assert [wording.trimmed(v) for v in (30.0, 7.5, 100.0)] == ["30", "7.5", "100"]


def test_counts_keep_every_digit_and_words_agree_in_number() -> None:
    assert wording.count(12345) == "12\u202f345"
    assert wording.plural(1, "detection") == "1 detection"
    assert wording.plural(0, "detection", words=True) == "no detections"
    assert wording.plural(6, "species", "species", words=True) == "six species"
    assert [wording.times(n) for n in (1, 2, 3)] == ["once", "twice", "3 times"]


def test_a_share_is_never_rounded_to_a_false_none_or_all() -> None:
    assert [wording.share(s) for s in (0, 0.004, 0.5, 0.996, 1)] == [
        "0 %",
        "under 1 %",
        "50 %",
        "over 99 %",
        "100 %",
    ]


def test_lists_end_with_and_or_with_how_many_more() -> None:
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.listed([]) == ""
    assert wording.listed_at_most(["a", "b", "c", "d", "e", "f"]) == "a, b, c, d and 2 others"


def test_a_period_says_what_its_days_share_once() -> None:
    def d(month: int, day: int, year: int = 2026) -> date:
        return date(year, month, day)

    assert wording.period(d(1, 1), d(3, 31)) == "1 January to 31 March 2026"
    assert wording.period(d(1, 1), d(1, 9)) == "1 to 9 January 2026"
    assert wording.period(d(1, 1), d(1, 1)) == "1 January 2026"
    assert wording.period(d(12, 1, 2025), d(1, 9)) == "1 December 2025 to 9 January 2026"


def test_a_time_of_day_is_told_to_ten_minutes_and_midnight_is_not_24() -> None:
    assert [wording.clock(h) for h in (18.65, 23.99, 0.0, 24.2)] == ["18:40", "00:00", "00:00", "00:10"]
