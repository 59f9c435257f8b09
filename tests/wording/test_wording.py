"""Numbers and dates as people read them."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod import wording


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
    assert wording.listed_at_most(["a", "b", "c", "d", "e"]) == "a, b, c, d and e"


def test_a_period_says_what_its_days_share_once() -> None:
    def d(month: int, day: int, year: int = 2026) -> date:
        return date(year, month, day)

    assert wording.period(d(1, 1), d(3, 31)) == "1 January to 31 March 2026"
    assert wording.period(d(1, 1), d(1, 9)) == "1 to 9 January 2026"
    assert wording.period(d(1, 1), d(1, 1)) == "1 January 2026"
    assert wording.period(d(12, 1, 2025), d(1, 9)) == "1 December 2025 to 9 January 2026"


def test_a_time_of_day_is_told_to_ten_minutes_and_midnight_is_not_24() -> None:
    assert [wording.clock(h) for h in (18.65, 23.99, 0.0, 24.2)] == ["18:40", "00:00", "00:00", "00:10"]


def test_days_are_told_long_short_and_with_their_weekday_whatever_the_machine_speaks() -> None:
    when = datetime(2031, 9, 3, 7, 5, 9)

    assert wording.day(when) == "3 September 2031"
    assert wording.day(when, date(2031, 1, 1)) == "3 September"
    assert wording.day(when, date(2030, 12, 31)) == "3 September 2031"
    assert wording.short_day(when) == "3 Sep 2031"
    assert wording.weekday_day(when) == "Wednesday, 3 September 2031"
    assert wording.weekday_day(when, year=False) == "Wednesday, 3 September"
    assert wording.moment(when) == "3 Sep 2031 07:05"
    assert wording.moment(when, seconds=True) == "3 Sep 2031 07:05:09"


def test_a_short_period_says_what_its_days_share_once() -> None:
    assert wording.short_period(date(2031, 3, 1), date(2031, 5, 2)) == "1 Mar to 2 May 2031"
    assert wording.short_period(date(2031, 3, 1), date(2031, 3, 2)) == "1 to 2 Mar 2031"
    assert wording.short_period(date(2031, 3, 1), date(2031, 3, 1)) == "1 Mar 2031"
    assert wording.short_period(date(2030, 3, 1), date(2031, 3, 1)) == "1 Mar 2030 to 1 Mar 2031"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (30, "less than a minute"),
        (60, "1 minute"),
        (119 * 60, "119 minutes"),
        (2 * 3600, "2 hours"),
        (47 * 3600, "47 hours"),
        (2 * 86_400, "2 days"),
        (59 * 86_400, "59 days"),
        (61 * 86_400, "2 months"),
        (731 * 86_400, "2 years"),
        (930 * 86_400, "2.5 years"),
    ],
)
def test_a_length_of_time_is_told_in_the_unit_a_person_takes(seconds: float, words: str) -> None:
    assert wording.span(seconds) == words
    assert wording.ago(seconds) == ("just now" if seconds < 120 else f"{words} ago")


@given(st.floats(min_value=60, max_value=1e9))
def test_a_length_of_time_in_words_is_never_one_of_several(seconds: float) -> None:
    number, noun = wording.span(seconds).split(" ")
    assert (number == "1") == (not noun.endswith("s"))


def test_a_length_that_somebody_chose_is_not_rounded() -> None:
    chosen = {1: "1 second", 90: "90 seconds", 120: "2 minutes", 450: "7.5 minutes", 3600: "1 hour", 86_400: "1 day"}
    assert {s: wording.exactly(s) for s in chosen} == chosen


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (40, "40 s"),
        (89.4, "89 s"),
        (90, "2 min"),
        (59.4 * 60, "59 min"),
        (59.6 * 60, "1 h"),
        (3600, "1 h"),
        (125 * 60, "2 h 5 min"),
        (3 * 86_400, "3 days"),
        (4 * 365.25 * 86_400, "4 years"),
    ],
)
def test_a_measured_length_of_time_and_how_far_a_clock_is_off(seconds: float, words: str) -> None:
    assert wording.lasting(seconds) == words
    assert wording.clock_error(seconds) == ("right" if seconds == 0 else f"{words} fast")
    assert wording.clock_error(-seconds) == ("right" if seconds == 0 else f"{words} slow")


def test_a_chance_that_is_not_sure_is_never_told_as_none_or_all() -> None:
    assert [wording.in_100(c) for c in (0.001, 0.124, 0.999)] == ["1 in 100", "12 in 100", "99 in 100"]
    assert wording.percent(39.6) == "40 %"


def test_a_size_of_a_file_in_si_units() -> None:
    assert [wording.bytes_si(n) for n in (0, 999, 4_100_000, 2e12)] == ["0 B", "999 B", "4.1 MB", "2.0 TB"]


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (1, "1 camera-day"),
        (0.5, "0.5 camera-days"),
        (9.96, "10 camera-days"),
        (412.4, "412 camera-days"),
        (2832, "2\u202f830 camera-days"),
        (0, "0 camera-days"),
    ],
)
def test_effort_is_told_with_three_digits_at_most(days: float, words: str) -> None:
    assert wording.camera_days(days) == words
