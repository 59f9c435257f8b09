"""Small charts side by side, and a site's year on its strip."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from years import reserve_of

from trod.drawing import panels as drawing
from trod.drawing import year
from trod.findings import Evidence, Filter
from trod.findings.panels import panels
from trod.findings.site_year import site_year

DEER = Filter(species=("red-deer",))


@pytest.fixture(scope="module")
def record() -> Evidence:
    whole = reserve_of(a_month=6, seed=5)
    return replace(whole, observations=tuple(o for o in whole.observations if o.site not in ("s6", "s7")))


def labels(known: object) -> dict[str, str]:
    return {panel.key: f"{panel.name} in words" for panel in known.panels}  # type: ignore[attr-defined]


@pytest.mark.parametrize("show", ["months", "hours"])
def test_all_small_charts_bear_one_scale_and_their_own_words(record: Evidence, show: str) -> None:
    known = panels(record, replace(DEER, sites=("s0", "s1", "s6")), by="site", show=show)  # type: ignore[arg-type]
    figures = drawing.figures(known, labels(known))
    scales = {tuple(re.findall(r'text-anchor="end"[^>]*>([^<]+)<', figure)) for figure in figures.values()}

    assert set(figures) == {"s0", "s1"}  # s6 saw nothing: nothing is drawn of it
    assert len(scales) == 1
    assert 'aria-label="S0 in words"' in figures["s0"]


def test_a_year_keeps_a_place_for_each_month_whatever_was_watched(record: Evidence) -> None:
    cut = replace(DEER, first=date(2023, 3, 1), last=date(2023, 12, 31))
    known = panels(record, cut, by="year", show="months")
    (figure,) = drawing.figures(known, labels(known)).values()

    assert re.findall(r'text-anchor="middle"[^>]*>([A-Z][a-z]*)<', figure) == list("JFMAMJJASOND")
    assert figure.count("<circle") == 10


def test_the_strip_holds_a_mark_for_each_week_with_a_detection_and_each_day_of_visits(record: Evidence) -> None:
    known = site_year(record, "s0", 2024)
    visits = [date(2024, 5, 1), date(2024, 5, 1), date(2024, 9, 9)]
    bare, figure = year.figure(known, [], "words"), year.figure(known, visits, "words")

    assert figure.count("<circle") == sum(n > 0 for kind in known.kinds for n in kind.by_week)
    assert figure.count("<path") == bare.count("<path") + 2
