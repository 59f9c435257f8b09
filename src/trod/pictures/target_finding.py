"""Finds the printed target in a photograph and cuts its edges out.

Dots are looked for at several reductions of the picture; four that lie as the drawing's do give a plane-to-plane
mapping (homography); the drawing itself, seen through that mapping, must then agree with the picture. Only the
finding uses the drawing: what an edge's response is, is measured in the picture's own pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from trod.errors import NotEnoughEvidence
from trod.pictures import edge, target_layout
from trod.pictures.edge import EdgeResponse
from trod.pictures.target_layout import DOT_DIAMETER_MM, DOTS_HIGH_MM, DOTS_WIDE_MM, SQUARE_SIDE_MM

Floats = NDArray[np.float64]

# Correlation of drawing and picture. Ours: the sheet gives .95 and more, forest scenes at most .6 (see the tests).
LEAST_LIKENESS = 0.80
SURE_LIKENESS = 0.92
MOST_DOTS = 60
MOST_EDGE_PIXELS = 4_000_000  # a sheet that fills 64 megapixels has 1.5 million beside an edge
# Levels (0 to 255) past which paper or ink tell nothing more.
BURNT_OUT, DROWNED = 252.0, 2.0
_NO_TARGET = (
    "the whole sheet must be in the picture, upright to within 45 degrees, its squares at least 45 pixels wide, "
    "in focus and not burnt out; or cut the picture down to the sheet and try again"
)


@dataclass(frozen=True, kw_only=True)
class SheetFound:
    """Where the sheet is. mapping : (3, 3), takes drawing millimetres (x, y, 1) to picture pixels (column, row).

    likeness : correlation of the drawing with the picture, at most 1. px_per_mm : at the sheet's middle, along
    its x and its y, in drawing millimetres. roll_deg : by which it hangs turned. slant : how much longer the
    longest of its sides is than the one opposite, as a ratio, 1 when it faces the lens.
    """

    mapping: Floats
    likeness: float
    px_per_mm: tuple[float, float]
    roll_deg: float
    slant: float

    def pixels(self, points_mm: Floats) -> Floats:
        """(n, 2) picture columns and rows of (n, 2) drawing millimetres."""
        return _apply(self.mapping, points_mm)


@dataclass(frozen=True, kw_only=True)
class SquareEdges:
    """The edges of one square. name : "black" or "grey". edges : those that could be measured. refused : why not.

    paper, ink : levels (0 to 255) beside and on the square.
    """

    name: str
    edges: tuple[EdgeResponse, ...]
    refused: tuple[str, ...]
    paper: float
    ink: float


def find_sheet(levels: NDArray[np.generic]) -> SheetFound:
    """Where the target is in a picture.

    levels : (rows, columns) 0 to 255, brightness.
    Raises NotEnoughEvidence when it is not found.
    """
    grey = np.asarray(levels, dtype=np.float32)
    if grey.ndim != 2 or min(grey.shape) < 60:
        raise NotEnoughEvidence("the picture is too small to hold the target", need=_NO_TARGET)
    best: tuple[float, Floats] | None = None
    for factor in _reductions(grey.shape):
        small = _reduced(grey, factor)
        found = _match(small)
        if found is None:
            continue
        likeness, quad = found
        full = (quad + 0.5) * factor - 0.5
        if best is None or likeness > best[0]:
            best = likeness, full
        if likeness >= SURE_LIKENESS:
            break
    if best is None or best[0] < LEAST_LIKENESS:
        raise NotEnoughEvidence("the printed target was not found in the picture", need=_NO_TARGET)
    quad = _refined(grey, best[1])
    mapping = homography(target_layout.dots_mm(), quad)
    return _described(grey, mapping, quad)


def square_edges(levels: NDArray[np.generic], found: SheetFound, *, which: int) -> SquareEdges:
    """The four edges of the black (0) or grey (1) square, measured.

    levels : as for `find_sheet`; undone to light by the sRGB curve here.
    """
    grey = np.asarray(levels)
    corners = target_layout.square_mm(which)
    middle = corners.mean(axis=0)
    side = SQUARE_SIDE_MM
    ink = _level_at(grey, found, middle + np.linspace(-0.2, 0.2, 5)[:, None] * np.array([[side, 0.0]]))
    normals = [(corners[i] + corners[(i + 1) % 4]) / 2 - middle for i in range(4)]
    paper = _level_at(grey, found, np.array([middle + n * 1.18 for n in normals]))
    edges: list[EdgeResponse] = []
    refused: list[str] = []
    for i in range(4):
        try:
            edges.append(_edge(grey, found, corners[i], corners[(i + 1) % 4]))
        except NotEnoughEvidence as why:
            refused.append(str(why))
    return SquareEdges(
        name="black" if which == 0 else "grey",
        edges=tuple(edges),
        refused=tuple(refused),
        paper=paper,
        ink=ink,
    )


def homography(from_points: Floats, to_points: Floats) -> Floats:
    """(3, 3) the plane-to-plane mapping through four pairs of points (n, 2), scaled so that its corner is 1."""
    rows = []
    wanted = []
    for (x, y), (u, v) in zip(from_points, to_points, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
        wanted += [u, v]
    solved = np.linalg.lstsq(np.asarray(rows, dtype=np.float64), np.asarray(wanted), rcond=None)[0]
    return np.append(solved, 1.0).reshape(3, 3)


# --- finding --------------------------------------------------------------------------------------


def _reductions(shape: tuple[int, ...]) -> list[int]:
    """Reductions to look at, the coarsest first: it is the quickest, and a large target is found there."""
    longest = max(shape)
    factors = [f for f in (1, 2, 3, 4, 6, 8, 12) if longest / f >= 120]
    return sorted([f for f in factors if longest / f <= 2800] or [math.ceil(longest / 2800)], reverse=True)


def _reduced(grey: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    if factor == 1:
        return grey
    rows, columns = grey.shape[0] // factor * factor, grey.shape[1] // factor * factor
    blocks = grey[:rows, :columns].reshape(rows // factor, factor, columns // factor, factor)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _match(small: NDArray[np.float32]) -> tuple[float, Floats] | None:
    """The four dots that agree best with the drawing: likeness and (4, 2) places."""
    places, diameters = _dots(small)
    n = len(places)
    if n < 4:
        return None
    best: tuple[float, Floats] | None = None
    shape = DOTS_HIGH_MM / DOTS_WIDE_MM
    for i in range(n):
        for j in range(n):
            if i == j or not 0.5 < diameters[j] / diameters[i] < 2.0:
                continue
            along = places[j] - places[i]
            length = float(np.hypot(*along))
            measured = length / ((diameters[i] + diameters[j]) / 2)
            # Which of the four leads is open (a sheet may hang on its side), but not mirrored.
            if along[0] <= 0 or abs(along[1]) > along[0] or not 0.55 < measured / (DOTS_WIDE_MM / DOT_DIAMETER_MM) < 1.5:
                continue
            down = np.array([-along[1], along[0]]) * shape
            below_j = _nearest(places, places[j] + down, 0.3 * length, (i, j))
            below_i = _nearest(places, places[i] + down, 0.3 * length, (i, j))
            if below_i is None or below_j is None or below_i == below_j:
                continue
            quad = places[[i, j, below_j, below_i]]
            for turn in (0, 2):
                turned = np.roll(quad, turn, axis=0)
                likeness = _likeness(small, homography(target_layout.dots_mm(), turned))
                if best is None or likeness > best[0]:
                    best = likeness, turned
    return best


def _nearest(places: Floats, at: Floats, within: float, taken: tuple[int, int]) -> int | None:
    away = np.hypot(*(places - at).T)
    away[list(taken)] = np.inf
    i = int(away.argmin())
    return i if away[i] <= within else None


def _dots(small: NDArray[np.float32]) -> tuple[Floats, Floats]:
    """(n, 2) middles and (n,) diameters of what looks like a dark dot of 5 to 30 pixels on a lighter ground."""
    local = ndimage.uniform_filter(small, 45, mode="nearest")
    dark = small < local - np.maximum(6.0, 0.10 * local)
    labels, count = ndimage.label(dark)
    if count == 0:
        return np.empty((0, 2)), np.empty(0)
    area = np.bincount(labels.ravel())
    rows, columns, diameters, contrasts = [], [], [], []
    for label, box in enumerate(ndimage.find_objects(labels), 1):
        high, wide = box[0].stop - box[0].start, box[1].stop - box[1].start
        if not (min(high, wide) >= 5 and max(high, wide) <= 34 and max(high, wide) <= 2 * min(high, wide) + 1):
            continue
        if area[label] < 0.45 * high * wide:
            continue
        mask = ndimage.binary_fill_holes(labels[box] == label)
        y, x = np.nonzero(mask)
        spread = np.cov(np.stack([y, x])) + np.eye(2) / 12
        # A filled ellipse covers 4π√det of its own scatter; a square 1.05 of that, thin things far less.
        if not 0.90 < mask.sum() / (4 * math.pi * math.sqrt(max(float(np.linalg.det(spread)), 1e-9))) < 1.08:
            continue
        grown = (slice(max(0, box[0].start - 3), box[0].stop + 3), slice(max(0, box[1].start - 3), box[1].stop + 3))
        piece = small[grown]
        inside = labels[grown] == label
        contrast = float(np.median(piece[~inside])) - float(np.median(piece[inside]))
        rows.append(box[0].start + float(y.mean()))
        columns.append(box[1].start + float(x.mean()))
        diameters.append(2 * math.sqrt(float(mask.sum()) / math.pi))
        contrasts.append(contrast)
    order = np.argsort(contrasts)[::-1][:MOST_DOTS]
    return np.stack([np.asarray(columns), np.asarray(rows)], axis=1)[order] if len(order) else np.empty((0, 2)), (
        np.asarray(diameters)[order] if len(order) else np.empty(0)
    )


_GRID_X, _GRID_Y = np.meshgrid(np.arange(-132.0, 133.0, 3.0), np.arange(-87.0, 88.0, 3.0))
_GRID = np.stack([_GRID_X.ravel(), _GRID_Y.ravel()], axis=1)
_DRAWN = 1 - target_layout.darkness(_GRID[:, 0], _GRID[:, 1])


def _likeness(grey: NDArray[np.float32], mapping: Floats) -> float:
    """Correlation of the drawing with the picture where the mapping puts it; -1 when it leaves the picture."""
    at = _apply(mapping, _GRID)
    if (
        not np.isfinite(at).all()
        or at.min() < -1
        or (at[:, 0] > grey.shape[1]).any()
        or (at[:, 1] > grey.shape[0]).any()
    ):
        return -1.0
    seen = ndimage.map_coordinates(grey, [at[:, 1], at[:, 0]], order=1, mode="nearest").astype(np.float64)
    if seen.std() < 1:
        return -1.0
    return float(np.corrcoef(seen, _DRAWN)[0, 1])


def _refined(grey: NDArray[np.float32], quad: Floats) -> Floats:
    """The dots' middles by the weight of their darkness, in the full picture."""
    mapping = homography(target_layout.dots_mm(), quad)
    made = []
    for dot in target_layout.dots_mm():
        ring = dot + DOT_DIAMETER_MM / 2 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
        at = _apply(mapping, np.vstack([dot, ring]))
        reach = 1.45 * float(np.hypot(*(at[1:] - at[0]).T).max())
        c0, r0 = max(0, int(at[0, 0] - reach)), max(0, int(at[0, 1] - reach))
        piece = grey[r0 : int(at[0, 1] + reach) + 2, c0 : int(at[0, 0] + reach) + 2].astype(np.float64)
        if piece.size == 0:
            made.append(at[0])
            continue
        paper, ink = np.percentile(piece, (85, 8))
        y, x = np.mgrid[r0 : r0 + piece.shape[0], c0 : c0 + piece.shape[1]]
        weight = np.clip((paper - 0.15 * (paper - ink) - piece) / max(paper - ink, 1e-6), 0, 1)
        weight[np.hypot(x - at[0, 0], y - at[0, 1]) > reach] = 0
        total = float(weight.sum())
        made.append(np.array([(weight * x).sum(), (weight * y).sum()]) / total if total > 0 else at[0])
    return np.asarray(made)


def _described(grey: NDArray[np.float32], mapping: Floats, quad: Floats) -> SheetFound:
    cross = _apply(mapping, np.array([[-20.0, 0], [20, 0], [0, -20], [0, 20]]))
    along_x, along_y = cross[1] - cross[0], cross[3] - cross[2]
    sides = [float(np.hypot(*(quad[(i + 1) % 4] - quad[i]))) for i in range(4)]
    return SheetFound(
        mapping=mapping,
        likeness=_likeness(grey, mapping),
        px_per_mm=(float(np.hypot(*along_x)) / 40, float(np.hypot(*along_y)) / 40),
        roll_deg=math.degrees(math.atan2(along_x[1], along_x[0])),
        slant=max(sides[0] / sides[2], sides[2] / sides[0], sides[1] / sides[3], sides[3] / sides[1]),
    )


def _apply(mapping: Floats, points: Floats) -> Floats:
    carried = np.column_stack([points, np.ones(len(points))]) @ mapping.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(carried[:, :2] / carried[:, 2:3])


# --- edges ----------------------------------------------------------------------------------------

# Of an edge's length, the middle part that is measured; the corners would blur it.
_MIDDLE_PART = 0.74
# How far on each side of an edge the paper and the square are plain. [mm]
_CLEAR_MM = 13.0


def _level_at(grey: NDArray[np.generic], found: SheetFound, points_mm: Floats) -> float:
    at = found.pixels(points_mm)
    seen = ndimage.map_coordinates(grey, [at[:, 1], at[:, 0]], output=np.float64, order=1, mode="nearest")
    return float(np.median(seen))


def _edge(grey: NDArray[np.generic], found: SheetFound, a_mm: Floats, b_mm: Floats) -> EdgeResponse:
    cut = (1 - _MIDDLE_PART) / 2
    ends = found.pixels(np.array([a_mm + (b_mm - a_mm) * cut, b_mm - (b_mm - a_mm) * cut]))
    half = _CLEAR_MM * min(found.px_per_mm)
    upright = abs(ends[1, 1] - ends[0, 1]) >= abs(ends[1, 0] - ends[0, 0])
    # Work in (along, across): rows and columns for an upright edge, the other way round for a level one.
    values = grey if upright else grey.T
    along, across = (ends[:, 1], ends[:, 0]) if upright else (ends[:, 0], ends[:, 1])
    if along[0] > along[1]:
        along, across = along[::-1], across[::-1]
    first, last = max(0, math.ceil(along[0])), min(values.shape[0], math.floor(along[1]) + 1)
    slope = (across[1] - across[0]) / max(along[1] - along[0], 1e-9)
    left, right = math.floor(across.min() - half) - 3, math.ceil(across.max() + half) + 4
    if first >= last or left < 0 or right > values.shape[1]:
        raise NotEnoughEvidence("an edge of the target lies outside the picture", need="the whole sheet in the picture")
    middle = (first + last - 1) / 2
    at_middle = across[0] + slope * (middle - along[0]) - left
    if (last - first) * (right - left) > MOST_EDGE_PIXELS:
        raise NotEnoughEvidence("an edge of the target fills the picture", need="the whole sheet, from farther off")
    piece = values[first:last, left:right]
    measured = edge.measure_edge(
        edge.linear_light(piece if upright else piece.T),
        line=(float(at_middle), float(slope)),
        half_width_px=half,
        bend=True,
    )
    return measured
