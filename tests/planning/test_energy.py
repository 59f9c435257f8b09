"""What a trigger costs."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.camera import ASSUMED
from trod.planning.energy import burst_energy_j


@pytest.mark.parametrize(("frame", "saved"), [("day_frame_j", 0.44), ("night_frame_j", 0.15)])
def test_common_practice_a_burst_of_three_costs_less_than_three_singles(frame: str, saved: float) -> None:
    """Common practice. 5 J against 9 J by day, 23 J against 27 J by night: twice the waking is saved. The
    energies are assumed (2 J to wake, 1 J and 7 J a picture)."""
    frame_j = getattr(ASSUMED, frame)
    wake_j = ASSUMED.wake_j
    assert wake_j is not None

    burst = burst_energy_j(frames=3, wake_j=wake_j, frame_j=frame_j)
    singles = 3 * burst_energy_j(frames=1, wake_j=wake_j, frame_j=frame_j)

    assert singles - burst == approx(2 * wake_j)
    assert 1 - burst / singles == approx(saved, abs=0.005)


def test_a_burst_of_nothing_is_refused() -> None:
    with pytest.raises(WrongInput, match="frames: got 0; needed: a whole number of pictures, 1 or more"):
        burst_energy_j(frames=0, wake_j=2, frame_j=1)
