"""The info strips: bands with date and name that many cameras draw along the bottom or the top of a picture.

Found only where they are plain to see: a flat band right across, with one sharp straight edge towards the picture.
Where there is doubt (a black strip beside a black night) none is reported: leaving a strip in costs little, cutting
animals off does. At the top a pale sky over a level skyline has such a band and edge too, so that there it must hold
writing as well, clear of that edge; twigs against a sky are not clear of it. All thresholds are ours, set on rendered
pictures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Of the picture's height.
LEAST_SHARE, MOST_SHARE = 0.012, 0.14
# A pixel belongs to the band's ground when its brightness is this close to it (of 255; room for JPEG's
# ripples).
NEAR = 10
# Share of a row that must be map: with writing; at the bottom; under the upper edge, which a
# thin strip's writing may touch.
WRITING_ROW, BOTTOM_ROW, TOP_ROW = 0.35, 0.85, 0.60
# Above the edge at most this share may look like the band, and this share of columns must step by more than
# STEP.
ABOVE_ROW, EDGE_COLUMNS, STEP = 0.30, 0.60, 12
# The step across the edge is this many times the step over as many rows further up: snow or fog fades in.
SHARPER = 2.5
# At the top: pixels of the band that are writing, at least; of its last whole row, at most.
INK, INK_SHARE, INK_AT_EDGE = 60, 0.01, 0.02


@dataclass(frozen=True)
class Strips:
    """Rows of info strip at the top and at the bottom of a picture, 0 where none is plain to see."""

    top: int = 0
    bottom: int = 0


NONE = Strips()


def find(luma: NDArray[np.uint8]) -> Strips:
    """The info strips of a brightness image.

    luma : (rows, columns), 0 to 255, as the camera stored it; a scaled-down picture will do.
    """
    top = _height(luma[::-1])
    return Strips(top=top if top and _is_written_on(luma[: top - 1]) else 0, bottom=_height(luma))


def _is_written_on(band: NDArray[np.uint8]) -> bool:
    """Whether a band at the top holds writing, clear of its lower edge."""
    ink = np.abs(band.astype(np.int16) - int(np.median(band[:2]))) > INK
    return bool(ink.mean() >= INK_SHARE and ink[-1].mean() <= INK_AT_EDGE)


def _height(luma: NDArray[np.uint8]) -> int:
    """Rows of a band with a sharp edge at the bottom of a brightness image, 0 when none is plain to see."""
    rows, columns = luma.shape
    most = int(rows * MOST_SHARE)
    least = max(3, round(rows * LEAST_SHARE))
    if columns < 16 or most <= least:
        return 0
    # From the bottom row upwards, five rows past the tallest strip.
    up = luma[: -(most + 6) : -1].astype(np.int16)
    ground = int(np.median(up[:2]))
    near = np.abs(up - ground) <= NEAR
    share = near.mean(axis=1)
    if share[0] < BOTTOM_ROW:
        return 0
    past = share < WRITING_ROW
    if not past.any():
        return 0
    # Where the edge falls inside a scaled-down row, that row is half and half, and is the first one past.
    height = int(np.argmax(past))
    if not least <= height <= most or height + 5 > share.size:
        return 0
    if share[height - 2 : height].max() < TOP_ROW or share[height : height + 3].mean() > ABOVE_ROW:
        return 0
    step = np.abs(up[height + 1] - up[height - 2])
    further = np.abs(up[height + 4] - up[height + 1])
    if (step > STEP).mean() < EDGE_COLUMNS or np.median(step) < SHARPER * np.median(further):
        return 0
    # The half row belongs to the strip's edge for whoever cuts the strip off.
    return height + 1
