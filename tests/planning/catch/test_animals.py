"""The table of animals."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch import animals, herdview
from trod.planning.catch.animals import ANIMALS, Animal


@pytest.mark.parametrize("one", ANIMALS, ids=lambda a: a.key)
def test_every_animal_is_put_together_as_animals_are(one: Animal) -> None:
    assert 0 < one.trunk_centre_m < one.back_m <= one.head_m + 1e-9
    assert one.body.width_m < max(one.body.length_m, one.body.height_m)
    assert sum(g.share for g in one.gaits) == approx(1)
    assert [g.median_mps for g in one.gaits] == sorted(g.median_mps for g in one.gaits)


def test_each_size_says_where_it_comes_from() -> None:
    assert all(one.shoulder_from in one.said() for one in ANIMALS)
    assert animals.animal("red_fox").said() == (
        "Red fox: 0.35 to 0.45 m at the shoulder, secondary (Alaska Department of Fish and Game: about 40 cm, "
        "head and body 56 to 82 cm); speeds assumed"
    )
    # No size that is called published goes without its source.
    assert all(one.source for one in ANIMALS if one.shoulder_from == "published")


def test_an_elk_of_the_herd_model_comes_out_of_the_proportions() -> None:
    tall = herdview.SHOULDER_M

    assert animals.TRUNK_LENGTH * tall == approx(herdview.TRUNK_LENGTH_M)
    assert animals.TRUNK_WIDTH * tall == approx(herdview.TRUNK_WIDTH_M)
    assert animals.TRUNK_HEIGHT * tall == approx(herdview.TRUNK_HEIGHT_M)
    assert animals.TRUNK_CENTRE * tall == approx(herdview.TRUNK_CENTRE_M)


def test_larger_animals_show_the_sensor_a_larger_side() -> None:
    sides = [animals.animal(k).body.side_area_m2 for k in ("brown_hare", "red_fox", "roe_deer", "elk", "moose")]

    assert sides == sorted(sides)


def test_an_unknown_animal_is_refused_with_the_list() -> None:
    with pytest.raises(WrongInput, match="one of white_tailed_deer, elk"):
        animals.animal("yeti")
