"""What would be set otherwise on a camera."""

from __future__ import annotations

import pytest

from trod.errors import WrongInput
from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.last.outfit_change import Change, changed
from trod.planning.last.stopping import Outfit
from trod.telling import endurance as telling

AS_IS = Outfit(pack=Pack(battery=BATTERIES["LR6"], number=12), card_gb=32)


def test_what_is_left_open_stays_as_it_is() -> None:
    assert changed(AS_IS, Change()) == AS_IS
    assert Change().nothing
    assert not Change(burst=0).nothing


def test_batteries_named_without_a_number_are_as_many_as_before() -> None:
    assert changed(AS_IS, Change(batteries="lithium")).pack.name == "12 × FR6"
    assert changed(AS_IS, Change(batteries="8xHR6")).pack.name == "8 × HR6"
    for words_of_it in ("08 FR6", "FR6 × 8", "8 AA lithium 1.5 V 3000 mAh", "8 FR6 and 12 V 7 Ah"):
        assert changed(AS_IS, Change(batteries=words_of_it)).pack.name.startswith("8 × FR6"), words_of_it


def test_everything_may_be_set_otherwise_at_once() -> None:
    new = changed(AS_IS, Change(batteries="8 FR6", card_gb=64, delay_s=60, burst=1, clip_s=10))

    assert telling.outfit(new) == "8 × FR6, 64 GB, 1 picture and a clip of 10 s a trigger, 60 s between"
    assert telling.outfit(changed(AS_IS, Change(burst=0, clip_s=20))).count("picture") == 0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            Change(batteries="the red ones"),
            "batteries: got 'the red ones'; needed: a number and a kind, like 12 FR6 or 8 LR6",
        ),
        (Change(batteries=""), "batteries: got ''; needed"),
        (Change(batteries="4 D batteries"), "batteries: got '4 D batteries'; needed"),
        (Change(batteries="0xFR6"), "batteries: got '0xFR6'; needed: 1 to 64 batteries"),
        (Change(batteries="99999xFR6"), "batteries: got '99999xFR6'; needed: 1 to 64 batteries"),
        (Change(batteries="-8 LR6"), "batteries: got '-8 LR6'; needed: 1 to 64 batteries"),
        (Change(card_gb=0), "card: got 0; needed: gigabytes, above 0 and at most 4096"),
        (Change(card_gb=float("nan")), "card: got nan; needed"),
        (Change(delay_s=-1), "delay: got -1; needed: seconds, from 0 to 86400"),
        (Change(delay_s=float("inf")), "delay: got inf; needed"),
        (Change(clip_s=601), "clip: got 601; needed: seconds, from 0 to 600"),
        (Change(burst=101), "burst: got 101; needed: pictures a trigger, a whole number from 0 to 100"),
        (Change(burst=0), "burst: got 0; needed: a picture or a clip for each trigger"),
    ],
)
def test_what_cannot_be_is_refused_with_what_is_needed(change: Change, said: str) -> None:
    with pytest.raises(WrongInput) as trouble:
        changed(AS_IS, change)

    assert str(trouble.value).startswith(said)
