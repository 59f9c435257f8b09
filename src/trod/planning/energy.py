"""What a trigger costs a camera's cells."""

from __future__ import annotations

from trod.errors import WrongInput
from trod.planning.passers import positive


def burst_energy_j(*, frames: int, wake_j: float, frame_j: float) -> float:
    """The energy of one trigger with a burst of pictures: waking once, then each picture. [J]

    wake_j : to wake, write and go back to sleep, once for each trigger. frame_j : for each picture, the
    flash with it by night.
    """
    if not (isinstance(frames, int) and frames >= 1):
        raise WrongInput("frames", got=frames, needed="a whole number of pictures, 1 or more")
    positive("wake_j", wake_j, needed="joules, 0 or more", zero=True)
    positive("frame_j", frame_j, needed="joules, 0 or more", zero=True)
    return wake_j + frames * frame_j
