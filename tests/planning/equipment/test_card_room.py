"""Room on a card."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.card_room import (
    FileSizes,
    mb_per_trigger,
    usable_mb,
)


def test_how_much_of_a_card_is_left_for_pictures() -> None:
    assert usable_mb(32) == approx(31_840)


def test_a_busy_feeding_ground_fills_32_gb_in_a_month() -> None:
    """By hand: 120 bursts of three a day, 0.6 by night, are 1004.681 MB a day; 31 840 MB last 31.692 days."""
    day_mb = 120 * mb_per_trigger(FileSizes(), frames=3, clip_s=0, night_share=0.6)

    assert day_mb == approx(1004.681, abs=5e-4)
    assert usable_mb(32) / day_mb == approx(31.692, abs=5e-4)


def test_clips_take_their_rate() -> None:
    """20 s at 10 Mbit/s are 25 MB."""
    sizes = FileSizes(clip_mb_s=10 / 8, slack_mb=0)

    assert mb_per_trigger(sizes, frames=0, clip_s=20, night_share=0.5) == approx(25)


def test_the_first_cards_mean_replaces_the_default() -> None:
    rng = np.random.default_rng(4)
    day = rng.lognormal(math.log(5e6), 0.3, 400).astype(int)
    night = rng.lognormal(math.log(1.2e6), 0.2, 300).astype(int)

    sizes = FileSizes.from_pictures(
        day_bytes=day.tolist(), night_bytes=night.tolist(), clips=[(30_000_000, 15.0), (10_000_000, 5.0)]
    )

    assert sizes.day_mean_mb == approx(day.mean() / 1e6)
    assert sizes.night_mean_mb == approx(night.mean() / 1e6)
    assert sizes.clip_mb_s == approx(2.0)
    assert sizes.source == "from 400 day pictures and 300 night pictures and 2 clips"


def test_a_handful_of_pictures_leaves_the_default_and_says_so() -> None:
    few = FileSizes.from_pictures(day_bytes=[9_000_000] * 5)
    half = FileSizes.from_pictures(day_bytes=[4_000_000] * 50)

    assert few == FileSizes()
    assert half.day_mean_mb == approx(4.0) and half.night_mb == FileSizes().night_mb
    assert half.source == "from 50 day pictures; the rest assumed"


def test_a_card_of_no_size_is_refused() -> None:
    with pytest.raises(WrongInput, match="card_gb: got 0; needed: gigabytes as printed on the card, above 0"):
        usable_mb(0)
