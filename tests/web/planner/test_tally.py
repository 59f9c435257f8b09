"""The hundred strokes."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.web.planner import tally


@given(st.lists(st.floats(0, 1), min_size=1, max_size=5).filter(lambda found: sum(found) > 0.01))
def test_whatever_the_shares_a_hundred_are_counted(shares):
    total = sum(shares)

    assert sum(tally.counts([share / total for share in shares])) == 100


def test_a_hundred_are_parted_into_whole_in_part_empty_and_missed():
    found = {lot.key: lot.count for lot in tally.lots(triggered=0.9, middle=0.7, whole=0.4)}

    assert found == {"whole": 40, "part": 30, "empty": 20, "missed": 10}


def test_the_drawing_has_a_stroke_for_each_and_says_them_in_words():
    root = ElementTree.fromstring(tally.tally_svg(tally.lots(triggered=0.9, middle=0.7, whole=0.4)))

    assert len(root) == 100
    assert "40 whole in a picture, 30 in a picture, but not whole" in root.attrib["aria-label"]


@pytest.mark.parametrize("across", [False, True])
def test_fates_differ_by_shape_and_not_by_colour_alone(across):
    bare = {
        re.sub(r'stroke="[^"]*"', "", tally.sample_svg(key, across=across))
        for key in ("whole", "part", "empty", "missed")
    }

    assert len(bare) == 4
