"""Why a site is due and what is to be done, in words that follow from facts."""

from __future__ import annotations

from datetime import date

import pytest

from trod.telling import due

DAY = date(2026, 5, 4)


@pytest.mark.parametrize(
    ("chance", "cause", "words"),
    [
        (0.06, "batteries", "Red has stopped by 4 May 2026 6 times in 100, most likely by its batteries"),
        (0.999, "fault", "Red has stopped by 4 May 2026 almost surely, most likely by a fault or theft"),
        (0.5, "", "Red has stopped by 4 May 2026 50 times in 100"),
    ],
)
def test_a_camera_that_may_have_stopped_is_told_with_its_chance_and_cause(chance: float, cause: str, words: str) -> None:
    assert due.has_stopped("Red", DAY, chance, cause) == words
    assert due.will_stop("Red", DAY, chance, cause) == words.replace("has stopped", "stops")


def test_what_is_to_be_done_names_the_camera_and_the_thing() -> None:
    assert due.change_card("Red", "C-1") == "Card out, an empty one in (C-1 is in Red)"
    assert due.change_card("Red", "") == "Card out, an empty one in (Red)"
    assert due.fresh_batteries("Red", 8, "LR6") == "Fresh batteries for Red: 8 × LR6"
    assert due.nobody_there(1) == "nobody was there for 1 day"
    assert due.clock_wrong("Red", -7200.0) == "the clock of Red was 2 h slow when it was read last"
    assert due.found_stopped("Red", DAY, "no power") == "Red was found stopped on 4 May 2026 (no power)"
