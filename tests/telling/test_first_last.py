"""What is said of a first and a last day, and which data make each sentence."""

from __future__ import annotations

from datetime import date

import invented
import pytest

from trod.findings.detections import Detection
from trod.findings.first_last import Edge
from trod.findings.seasons import season_of, year_of
from trod.telling.first_last import lines

SPRING = season_of(date(2026, 4, 1), 47.0)
AT = Detection(
    species="red-deer", site="a", utc_s=invented.utc("2026-04-10 06:00"), until_s=invented.utc("2026-04-10 06:00"),
    count=1, sequences=("s",), picture="",
)  # fmt: skip


def edge(**more: object) -> Edge:
    facts = {
        "detection": AT, "day": date(2026, 4, 10), "days_beyond": 40.0, "most_per_100": 7.489, "without": None,
        "maybe": 0, "maybe_on": None, "outside": None,
    } | more  # fmt: skip
    return Edge(**facts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("facts", "is_first", "words"),
    [
        ({}, True, "Before it, none in 40 site-days watched and reviewed; that leaves room for up to 7.5"),
        ({}, False, "After it, none in 40 site-days watched and reviewed"),
        ({"most_per_100": None, "days_beyond": 0.2}, True, "it may have come earlier."),
        ({"most_per_100": None, "days_beyond": 0.2}, False, "it may have come later."),
        ({}, True, "At Alder Ford no whole day before it is known to have been watched and reviewed."),
        ({"without": date(2026, 4, 9)}, True, "At Alder Ford the day before it was watched whole, without it."),
        ({"without": date(2026, 4, 11)}, False, "At Alder Ford the day after it was watched whole, without it."),
        ({"without": date(2026, 3, 30)}, True, "The last whole day watched without it at Alder Ford was 30 March"),
        ({"without": date(2026, 4, 20)}, False, "The next whole day watched without it at Alder Ford was 20 April"),
        ({"maybe": 1, "maybe_on": date(2026, 4, 2)}, True, "1 sequence before it waits for review or could"),
        ({"maybe": 3, "maybe_on": date(2026, 4, 2)}, True, "the first of 2 April: any of them may be it."),
        ({"maybe": 3, "maybe_on": date(2026, 4, 22)}, False, "the last of 22 April: any of them may be it."),
        ({"outside": date(2026, 2, 20)}, True, "It was recorded on 20 February 2026 too, shortly before the season"),
        ({"outside": date(2026, 6, 2)}, False, "It was recorded on 2 June 2026 again, shortly after the season"),
    ],
)  # fmt: skip
def test_what_is_known_of_the_days_beyond_is_told(facts: dict[str, object], is_first: bool, words: str) -> None:
    assert words in " ".join(lines(edge(**facts), SPRING, "Alder Ford", is_first=is_first))


def test_a_record_months_before_the_season_says_nothing_of_it() -> None:
    told = " ".join(lines(edge(outside=date(2025, 11, 2)), SPRING, "Alder Ford", is_first=True))

    assert "recorded on" not in told
    assert "of this year" in lines(edge(most_per_100=None), year_of(date(2026, 1, 1)), "A", is_first=True)[0]
