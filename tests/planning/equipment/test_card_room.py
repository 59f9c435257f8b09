"""Room on a card."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.card_room import (
    FAT32_MOST_BYTES,
    FileSizes,
    file_system,
    files_that_fit,
    gb_from_gib,
    gib_from_gb,
    longest_clip_s,
    mb_per_trigger,
    room_cautions,
    usable_mb,
)


@pytest.mark.parametrize(("card_gb", "shown_gib"), [(32, 29.8023), (64, 59.6046), (128, 119.2093)])
def test_a_card_shows_smaller_on_a_computer_than_it_says(card_gb: float, shown_gib: float) -> None:
    """By definition of the prefixes (IEC 80000-13): 10⁹ against 2³⁰ bytes."""
    assert gib_from_gb(card_gb) == approx(shown_gib, abs=5e-5)
    assert gb_from_gib(gib_from_gb(card_gb)) == approx(card_gb)


def test_how_much_of_a_card_is_left_for_pictures() -> None:
    assert usable_mb(32) == approx(31_840)
    even = FileSizes(day_mb=5, day_cv=0, night_mb=5, night_cv=0, slack_mb=0)
    # By hand: 32 000 MB are 6400 pictures of 5 MB, 6368 after the half of a hundredth that is kept back.
    assert files_that_fit(even, 32, frames=1) == 6368
    assert files_that_fit(even, 32 / 0.995, frames=1) in (6399, 6400)


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


def test_file_systems_by_the_size_of_the_card() -> None:
    """SD Association: up to 2 GB FAT16, above that to 32 GB FAT32, above that exFAT."""
    assert [file_system(gb) for gb in (2, 4, 32, 64, 512)] == ["FAT16", "FAT32", "FAT32", "exFAT", "exFAT"]


def test_a_clip_larger_than_fat32_takes_is_told() -> None:
    """One file on FAT32 is at most 4 294 967 295 bytes (2³² − 1)."""
    assert FAT32_MOST_BYTES == 4_294_967_295
    sizes = FileSizes(clip_mb_s=10)

    assert longest_clip_s(sizes, 32) == approx(429.5, abs=0.05)
    assert longest_clip_s(sizes, 128) == math.inf
    said = room_cautions(sizes, 32, frames=0, clip_s=600)
    assert any("larger than one file may be on a FAT32 card (about 429 s at 10 MB/s)" in text for text in said)
    assert not any("FAT32" in text for text in room_cautions(sizes, 128, frames=0, clip_s=600))


def test_numbers_that_will_wrap_are_told() -> None:
    small = FileSizes(day_mb=0.6, night_mb=0.4)

    assert files_that_fit(small, 32, frames=3) > 9999
    assert any("file numbers end at 9999" in text for text in room_cautions(small, 32, frames=3))
    assert not any("9999" in text for text in room_cautions(FileSizes(), 4, frames=3))


def test_a_card_of_no_size_is_refused() -> None:
    with pytest.raises(WrongInput, match="card_gb: got 0; needed: gigabytes as printed on the card, above 0"):
        usable_mb(0)
    with pytest.raises(WrongInput, match="needed: at least one picture or a clip for each trigger"):
        files_that_fit(FileSizes(), 32, frames=0)
