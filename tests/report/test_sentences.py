"""Units, intervals and effort in words."""

from __future__ import annotations

from trod.findings.finding import Column
from trod.findings.rates import exact_rate, ratio_of_rates
from trod.report import sentences


def test_intervals_in_words_say_which_ends_they_have() -> None:
    _, seen = exact_rate(23, 1840)
    _, none = exact_rate(0, 300)
    ratio = ratio_of_rates(count_a=4, effort_a=9, count_b=0, effort_b=9)

    assert sentences.interval(seen) == "0.792 to 1.88 (95 %)"
    assert sentences.interval(none) == "at most 0.999 (95 %)"
    assert sentences.interval(ratio.interval).startswith("at least ")


def test_a_rate_in_words() -> None:
    assert sentences.rate(*exact_rate(23, 1840)) == "1.25 per 100 camera-days, 0.792 to 1.88 (95 %)"
    assert sentences.rate(*exact_rate(0, 300)) == "none seen; at most 0.999 (95 %) per 100 camera-days"


def test_distances_in_metres_or_feet() -> None:
    assert [sentences.distance(m) for m in (50, 1500, 12_345)] == ["50 m", "1.5 km", "12.3 km"]
    assert [sentences.distance(m, "us") for m in (30.48, 1609.344)] == ["100 ft", "1 mi"]


def test_a_tables_batteries_follow_their_column() -> None:
    def cell(value: object, kind: str) -> str:
        return sentences.cell(value, Column(key="x", title="X", kind=kind))  # type: ignore[arg-type]

    assert cell(None, "rate") == "–"
    assert cell(0.126, "share") == "13 %"
    assert cell(1234, "count") == "1\u202f234"
    assert cell(27.3305, "rate") == "27.3"
    assert cell("Red deer", "name") == "Red deer"


def test_control_characters_and_half_surrogates_are_taken_out() -> None:
    assert sentences.clean({"a": ["x\x00y\x1b", "half \ud800"]}) == {"a": ["x y ", "half ?"]}
