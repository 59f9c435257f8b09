"""The info strip: the band with date and name that many cameras draw along the bottom of a picture.

Found only where it is plain to see: a flat band right across, with one sharp straight edge above it. Where
there is doubt (a black strip under a black night) none is reported: leaving a strip in costs little,
cutting animals off does. All thresholds are ours, set on rendered pictures.
"""

from __future__ import annotations

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


def strip_height(luma: NDArray[np.uint8]) -> int:
    """Rows of info strip at the bottom of a brightness image, 0 when none is plain to see.

    luma : (rows, columns), 0 to 255; a scaled-down picture will do.
    """
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
