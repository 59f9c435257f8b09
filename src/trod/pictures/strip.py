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
# Share of a row that must be ground: rows with writing; the bare rows at the band's two edges.
WRITING_ROW, BARE_ROW = 0.35, 0.85
# Above the edge at most this share may look like the band, and this share of columns must step by more than
# STEP.
ABOVE_ROW, EDGE_COLUMNS, STEP = 0.30, 0.60, 12


def strip_height(luma: NDArray[np.uint8]) -> int:
    """Rows of info strip at the bottom of a brightness image, 0 when none is plain to see.

    luma : (rows, columns), 0 to 255; a scaled-down picture will do.
    """
    rows, columns = luma.shape
    most = int(rows * MOST_SHARE)
    least = max(3, round(rows * LEAST_SHARE))
    if columns < 16 or most <= least:
        return 0
    # From the bottom row upwards, three rows past the tallest strip.
    up = luma[: -(most + 4) : -1].astype(np.int16)
    ground = int(np.median(up[:2]))
    near = np.abs(up - ground) <= NEAR
    share = near.mean(axis=1)
    if share[:2].min() < BARE_ROW:
        return 0
    past = share < WRITING_ROW
    if not past.any():
        return 0
    height = int(np.argmax(past))
    # Where the edge falls inside a scaled-down row, that row is half and half: it goes to the picture.
    if not least <= height <= most or height + 3 > share.size:
        return 0
    if share[max(0, height - 2) : height].max() < BARE_ROW or share[height : height + 3].mean() > ABOVE_ROW:
        return 0
    step = np.abs(up[height + 1] - up[height - 2])
    if (step > STEP).mean() < EDGE_COLUMNS:
        return 0
    # The half row belongs to the strip's edge for whoever cuts the strip off.
    return height + 1
