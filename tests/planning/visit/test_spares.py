"""What to carry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from scipy.stats import binom, poisson

from trod.errors import WrongInput
from trod.planning.visit.spares import Stop, enough, how_many, kit

TWENTY = [0.05] * 8 + [0.3] * 6 + [0.7] * 4 + [0.95] * 2


def test_three_cameras_by_hand() -> None:
    """By hand: .8·.5·.1 = .04; .2·.5·.1 + .8·.5·.1 + .8·.5·.9 = .41; … .46; .2·.5·.9 = .09."""
    assert how_many([0.2, 0.5, 0.9]) == approx(np.array([0.04, 0.41, 0.46, 0.09]))


def test_equal_chances_are_the_binomial() -> None:
    assert how_many([0.3] * 12) == approx(binom.pmf(np.arange(13), 12, 0.3))


@given(st.lists(st.floats(0, 1), max_size=40))
def test_the_distribution_adds_up_and_has_the_mean_of_the_chances(chances: list[float]) -> None:
    found = how_many(chances)

    assert found.sum() == approx(1) and np.all(found >= 0)
    assert float(found @ np.arange(len(found))) == approx(sum(chances), abs=1e-9)


def test_how_many_packs_suffice_for_twenty_cameras() -> None:
    """Ours: mean 6.9; 8, 10 and 11 packs suffice with 80, 95 and 99 %; a Poisson of that mean would say 11 for 95 %."""
    assert sum(TWENTY) == approx(6.9)
    assert [enough(TWENTY, level=level) for level in (0.80, 0.95, 0.99)] == [8, 10, 11]
    assert int(poisson.ppf(0.95, 6.9)) == 11


def test_poisson_stocking_of_a_textbook() -> None:
    """By the Poisson distribution: a mean of 3 is covered by 6 with 0.9665; twenty thousand small chances come to it."""
    assert enough([3 / 20_000] * 2_000 * 10, level=0.95) == 6
    assert float(np.cumsum(how_many([3 / 20_000] * 20_000))[6]) == approx(0.9665, abs=5e-4)


def test_whole_cameras_for_two_months_of_one_in_a_hundred() -> None:
    """By hand: 20 cameras, 1 % a month, 2 months: mean 0.4, none needed with e^−0.4 = 0.670, 95 % covered by 2."""
    chances = [0.02] * 20

    assert float(how_many(chances)[0]) == approx(0.670, abs=0.003)
    assert enough(chances) == 2


def test_a_kit_renews_where_it_is_needed_and_adds_spares_for_the_rest() -> None:
    stops = [
        Stop(name=f"site {i}", battery="FR6", batteries=8, stops_before_next=chance, takes=("wedge",) if i == 0 else ())
        for i, chance in enumerate([0.5, 0.2, 0.05, 0.05])
    ]

    packed = kit(stops, tools=["ladder"])

    assert packed.renew == ("site 0", "site 1")
    assert packed.number("FR6") == 8 * (2 + enough([0.05, 0.05])) == 24
    assert packed.number("card") == 4 + enough([0.01] * 4)
    assert packed.number("wedge") == packed.number("ladder") == 1
    assert packed.number("umbrella") == 0


def test_kinds_of_batteries_are_not_mixed_up() -> None:
    packed = kit(
        [
            Stop(name="a", battery="FR6", batteries=12, stops_before_next=0.9),
            Stop(name="b", battery="LR6", batteries=8, stops_before_next=0.9),
            Stop(name="c", battery="external", batteries=0, stops_before_next=0.9),
        ]
    )

    assert (packed.number("FR6"), packed.number("LR6"), packed.number("external")) == (12, 8, 0)


def test_an_empty_round_needs_nothing_but_its_tools() -> None:
    assert kit([], tools=["ladder"]).number("ladder") == 1
    assert enough([]) == 0


def test_a_chance_of_two_is_refused() -> None:
    with pytest.raises(WrongInput, match=r"chances: got 2\.0; needed: numbers from 0 to 1"):
        how_many([0.5, 2.0])
    with pytest.raises(WrongInput, match=r"stops_before_next: got -0\.1; needed: a chance from 0 to 1"):
        Stop(name="a", battery="FR6", batteries=8, stops_before_next=-0.1)
