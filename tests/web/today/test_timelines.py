"""The activity timelines as drawings."""

from __future__ import annotations

import re
from datetime import date
from xml.etree import ElementTree

from trod.web.shared.timelines import (
    HATCHED,
    KEY,
    UNIT,
    Ahead,
    Stay,
    Timeline,
    draw,
    hatchings,
    hover,
    hover_ahead,
    months,
    shade,
)

FIRST, LAST = date(2026, 1, 1), date(2026, 1, 31)


def timeline(**more):
    stays = more.pop("stays", (Stay(date(2026, 1, 3), None, date(2026, 1, 20), "Red"),))
    return Timeline("Ford", "/map/sites/of/ford/", stays, **more)


def drawn(line, today=LAST):
    """Without the name space, so that elements go by their short names."""
    return ElementTree.fromstring(draw(line, first=FIRST, last=LAST, today=today).replace(' xmlns="', ' id="', 1))


def test_shades_rise_with_sequences_and_none_has_none():
    assert [shade(n) for n in (0, 1, 2, 3, 5, 6, 10, 11, 20, 21, 500)] == [0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]


def test_a_day_is_drawn_at_its_place_and_no_other():
    paths = [p for p in drawn(timeline(counts={date(2026, 1, 10): 4})) if p.get("class") == "s2"]

    assert [re.match(r"M(\d+) ", p.get("d"))[1] for p in paths] == [str(9 * UNIT)]


def test_days_outside_the_line_are_left_out():
    line = timeline(counts={date(2025, 12, 31): 9, date(2026, 2, 1): 9})

    assert not [p for p in drawn(line) if (p.get("class") or "").startswith("s")]


def test_nothing_is_drawn_beyond_today():
    svg = drawn(timeline(counts={date(2026, 1, 25): 3}), today=date(2026, 1, 15))
    right = (15) * UNIT

    assert not [p for p in svg if (p.get("class") or "").startswith("s")]
    for rect in svg.iter("rect"):
        assert float(rect.get("x")) + float(rect.get("width")) <= right


def test_what_is_still_on_the_card_is_told_from_what_is_known():
    svg = drawn(timeline())
    known = next(r for r in svg if r.get("class") == "known")
    unread = next(r for r in svg if r.get("class") == "unread")

    assert (int(known.get("x")), int(known.get("width"))) == (2 * UNIT, 18 * UNIT)
    assert int(unread.get("x")) == int(known.get("x")) + int(known.get("width"))


def test_a_gap_is_hatched_and_not_only_coloured():
    gap = next(r for r in drawn(timeline(gaps=((date(2026, 1, 5), date(2026, 1, 9)),))) if r.get("class") == "gap")

    assert gap.get("fill") == HATCHED["gap"] and f'id="{KEY}-gap"' in hatchings()
    assert int(gap.get("width")) == 5 * UNIT


def test_a_gap_that_begins_before_the_line_is_cut_at_its_edge():
    gap = next(r for r in drawn(timeline(gaps=((date(2025, 12, 1), date(2026, 1, 2)),))) if r.get("class") == "gap")

    assert (gap.get("x"), int(gap.get("width"))) == ("0", 2 * UNIT)


def test_the_line_says_itself_in_words():
    line = timeline(
        counts={date(2026, 1, 10): 4, date(2026, 1, 11): 1},
        gaps=((date(2026, 1, 5), date(2026, 1, 9)),),
        visits=(date(2026, 1, 20),),
    )

    assert drawn(line).get("aria-label") == (
        "Ford: a camera on 29 days, 5 sequences, 5 days with a gap, last visit 20 Jan 2026."
    )


def test_a_name_cannot_break_out_of_the_drawing():
    line = Timeline('<script>"&', "/", (Stay(FIRST, None, None),))

    assert "<script>" not in str(draw(line, first=FIRST, last=LAST, today=LAST))
    assert drawn(line).get("aria-label").startswith('<script>"&')


def test_months_stand_where_they_begin():
    found = months(date(2025, 12, 15), date(2026, 2, 14))

    assert [(label, year) for label, _, year in found] == [("Jan", 2026), ("Feb", None)]
    assert found[0][1] == 17 / 62


def test_every_january_of_a_long_line_tells_its_own_year():
    found = months(date(2025, 11, 1), date(2027, 2, 1))

    assert [(label, year) for label, _, year in found if year] == [("Jan", 2026), ("Jan", 2027)]


def test_the_pointer_finds_each_day():
    told = hover(timeline(counts={date(2026, 1, 2): 7}), first=FIRST, last=LAST).split(",")

    assert len(told) == 31
    assert (told[0], told[1]) == ("", "7")


def test_cameras_side_by_side_are_counted_once():
    both = timeline(
        stays=(
            Stay(date(2026, 1, 1), date(2026, 1, 10), None),
            Stay(date(2026, 1, 5), date(2026, 1, 12), None),
        )
    )

    assert both.days_out(FIRST, LAST) == 12


# What is foretold --------------------------------------------------------------------------------------------


def foretold(stopped, *, start=date(2026, 1, 10), plan_on=None, words="probably stops 12 Jan to 20 Jan 2026"):
    ahead = Ahead(start, stopped, plan_on, words)
    return timeline(stays=(Stay(date(2026, 1, 3), None, date(2026, 1, 10), "Red", ahead),))


def bands(svg, css):
    return [r for r in svg if r.get("class") == css]


def test_beyond_today_the_band_grows_thinner_and_paler_and_ends():
    falling = [0.0] * 6 + [0.25, 0.5, 0.75] + [1.0] * 30
    svg = drawn(foretold(falling), today=date(2026, 1, 14))
    ahead = bands(svg, "ahead")

    assert float(ahead[0].get("x")) == 14 * UNIT
    heights = [float(r.get("height")) for r in ahead]
    assert heights == sorted(heights, reverse=True)
    paler = [float(r.get("fill-opacity") or 1) for r in ahead]
    assert paler == sorted(paler, reverse=True)
    assert len(set(heights)) == 4
    assert float(ahead[-1].get("x")) + float(ahead[-1].get("width")) == 18 * UNIT  # day 9 after the start has none


def test_what_is_still_on_the_card_fades_from_when_it_was_last_known_to_watch():
    svg = drawn(foretold([0.0, 0.1, 0.2, 0.3, 0.4, 0.5] + [0.6] * 30), today=date(2026, 1, 14))
    unread = bands(svg, "unread")

    assert [float(r.get("x")) for r in unread] == [10 * UNIT, 11 * UNIT, 12 * UNIT, 13 * UNIT]
    assert float(unread[0].get("height")) > float(unread[-1].get("height"))


def test_a_sure_camera_is_one_whole_band_to_the_end_of_the_line():
    (ahead,) = bands(drawn(foretold([0.0] * 200), today=date(2026, 1, 14)), "ahead")

    assert (ahead.get("width"), ahead.get("fill-opacity")) == (str(17 * UNIT), None)


def test_the_day_to_plan_on_has_a_mark_of_its_own_shape():
    (mark,) = bands(drawn(foretold([0.0] * 200, plan_on=date(2026, 1, 20)), today=date(2026, 1, 14)), "plan")

    assert f"M{19 * UNIT + UNIT // 2} 1V" in mark.get("d")
    assert not bands(drawn(foretold([0.0] * 9, plan_on=date(2026, 3, 1)), today=date(2026, 1, 14)), "plan")


def test_a_camera_found_stopped_has_nothing_ahead():
    assert not bands(drawn(foretold((1.0,)), today=date(2026, 1, 14)), "ahead")


def test_a_camera_of_which_nothing_is_foretold_has_nothing_ahead():
    assert not bands(drawn(timeline(), today=date(2026, 1, 14)), "ahead")
    assert hover_ahead(timeline(), today=date(2026, 1, 14), last=LAST) == ""


def test_the_line_says_when_it_probably_stops():
    said = drawn(foretold([0.0] * 99), today=date(2026, 1, 14)).get("aria-label")

    assert said.endswith("probably stops 12 Jan to 20 Jan 2026.")


def test_the_pointer_finds_the_chance_of_each_day_to_come():
    line = foretold([0.0] * 5 + [0.25] + [0.5] * 30)

    assert hover_ahead(line, today=date(2026, 1, 14), last=date(2026, 1, 17)) == "75,50,50"


def test_of_two_cameras_side_by_side_one_is_enough():
    both = timeline(
        stays=tuple(
            Stay(date(2026, 1, 3), None, None, name, Ahead(date(2026, 1, 3), [0.0] + [0.5] * 99)) for name in "ab"
        )
    )

    assert hover_ahead(both, today=date(2026, 1, 14), last=date(2026, 1, 15)) == "75"
