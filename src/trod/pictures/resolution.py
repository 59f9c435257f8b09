"""What a camera really resolves, from photographs of the printed target: one record for page and command.

Saved pixels say little: a camera may enlarge its pictures before it saves them, and a lens may be softer than
the sensor. What counts is at which fineness contrast is gone. Here that is where the response falls to 10 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from trod import wording
from trod.errors import NotEnoughEvidence, WrongInput
from trod.limits import TARGET_PIXELS
from trod.pictures import edge, light, target_finding, target_layout
from trod.pictures.edge import EdgeResponse
from trod.pictures.target_finding import SheetFound, SquareEdges

DISTANCES_M = (5.0, 10.0, 20.0)
FORMATS = ("JPEG", "PNG")
# Line pairs across the smaller side of a thing for half of all observers to recognise it: J. Johnson (1958)
# Analysis of Image Forming Systems, Proc. Image Intensifier Symposium, Fort Belvoir (AD 220160): 4.0 ± 0.8.
# It speaks of vehicles and people on a display; for tracks it is a scale, no more.
RECOGNISED_LINE_PAIRS = 4.0
# Two-sided 90 % points of Student's t by degrees of freedom; 1.645 past the last.
_T90 = (6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812, 1.796, 1.782, 1.771, 1.761, 1.753)
# How much the half-response of black and grey edges may differ before the grey ones alone are believed. Ours.
_MOST_DISAGREEMENT = 0.15
_SHARPENED = 0.06
_AS_CAMERAS_DO = f"at most {TARGET_PIXELS // 1_000_000} megapixels, as a camera writes them"
_ONE_SIZE = "at least one, all of the same size"


@dataclass(frozen=True, kw_only=True)
class SmallestDetail:
    """The smallest things told apart at a distance, at full contrast, standing still, in focus.

    line_pair_mm : one dark and one light stripe that are just still two. tine_mm : the thinnest antler tine, with
    a gap as wide beside it, that is still told from the next: half a line pair. hoofprint_mm : the narrowest
    hoofprint that half of all people would recognise: four line pairs across it (Johnson 1958).
    """

    distance_m: float
    line_pair_mm: float
    tine_mm: float
    hoofprint_mm: float


@dataclass(frozen=True, kw_only=True)
class Resolution:
    """What was measured on one or several pictures of the target.

    width, height : of the saved picture. pictures : in which the target was measured. infrared : grey pictures.
    distance_m : from lens to sheet, as typed. columns, rows : the responses for detail from left to right and
    from top to bottom. effective_megapixels : (low, middle, high); low and high are the 90 % interval of the mean
    over the edges, which says how well it was measured, not how it depends on the lens. pixels_per_m : saved ones
    at the sheet's distance. view_deg : horizontal angle of view that follows from it. found : where the sheet was
    in the first picture. smallest : by distance. cautions : in plain words.
    """

    width: int
    height: int
    pictures: int
    infrared: bool
    distance_m: float
    columns: EdgeResponse
    rows: EdgeResponse
    edges: int
    effective_megapixels: tuple[float, float, float]
    pixels_per_m: float
    view_deg: float
    found: SheetFound
    smallest: tuple[SmallestDetail, ...]
    cautions: tuple[str, ...]

    @property
    def saved_megapixels(self) -> float:
        """Pixels of the saved picture, in millions."""
        return self.width * self.height / 1e6

    @property
    def pixels_per_deg(self) -> float:
        """Saved pixels to a degree, near the picture's middle."""
        return self.pixels_per_m * self.distance_m * math.radians(1)

    @property
    def mtf50_cpp(self) -> float:
        """Half response of the worse direction. [cycles per saved pixel]"""
        return min(_limit(self.columns, 0.5), _limit(self.rows, 0.5))

    @property
    def mtf50_cycles_per_deg(self) -> float:
        """The same to a degree of view, which two cameras can be compared by."""
        return self.mtf50_cpp * self.pixels_per_deg

    @property
    def mtf50_cycles_per_m(self) -> float:
        """The same to a metre at the sheet's distance."""
        return self.mtf50_cpp * self.pixels_per_m

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        low, middle, high = self.effective_megapixels
        by = "by infrared" if self.infrared else "by day"
        return (
            f"Of the {self.saved_megapixels:.3g} megapixels saved, about {middle:.2g} carry detail {by} "
            f"(90 % interval over {self.edges} edges {low:.2g} to {high:.2g})."
        )


def read_levels(path: Path) -> NDArray[np.uint8]:
    """The pixels of a picture, upright: (rows, columns, 3), or (rows, columns) when it is stored grey.

    Raises WrongInput when it is no picture or too large to be opened safely; OSError when the disk fails.
    """
    try:
        with Image.open(path, formats=FORMATS) as image:
            # Looked at in the header, before anything is unpacked.
            if image.width * image.height > TARGET_PIXELS:
                raise WrongInput(
                    "picture",
                    got=f"{image.width} × {image.height} pixels",
                    needed=_AS_CAMERAS_DO,
                )
            ImageOps.exif_transpose(image, in_place=True)
            wanted = "L" if image.mode in ("L", "1") else "RGB"
            return np.asarray(image if image.mode == wanted else image.convert(wanted))
    except OSError as error:
        if error.errno is not None:
            raise
        raise WrongInput("picture", got=path.name, needed="a JPEG as the camera wrote it, whole") from error
    except Image.DecompressionBombError as error:  # Pillow's own look at the header, for what is larger still
        raise WrongInput("picture", got="far more pixels", needed=_AS_CAMERAS_DO) from error
    except (SyntaxError, ValueError, EOFError) as error:
        if isinstance(error, WrongInput):
            raise
        raise WrongInput("picture", got=path.name, needed="a JPEG as the camera wrote it, whole") from error


def measure_target(
    pictures: Iterable[NDArray[np.uint8]],
    *,
    distance_m: float,
    paper: str = "a4",
    ruler_mm: float = target_layout.RULER_MM,
    distances_m: Sequence[float] = DISTANCES_M,
) -> Resolution:
    """Measure one or several pictures of the printed target, taken by one camera from one place.

    pictures : each (rows, columns, 3) or (rows, columns), 0 to 255, all of one size; looked at one after the other,
    so that a generator holds one at a time. distance_m : from the lens
    to the sheet. paper : that it was printed on. ruler_mm : the true length of its 100 mm ruler.
    Raises WrongInput; NotEnoughEvidence when the target is not found or too few edges can be measured.
    Notes : tones are undone by the sRGB curve. Effective pixels across are the saved ones × 2 f₁₀, at most all of
    them; f₁₀ is where the response is 10 % (cycles per pixel). Ours; it is tried in docs/models/resolution.md.
    """
    if not 0.2 <= distance_m <= 100:
        raise WrongInput("distance_m", got=distance_m, needed="metres from the lens to the sheet, 0.2 to 100")
    if not 50 <= ruler_mm <= 200:
        raise WrongInput("ruler_mm", got=ruler_mm, needed="the measured length of the 100 mm ruler, 50 to 200 mm")
    sheet = target_layout.sheet(paper)
    founds: list[SheetFound] = []
    squares: list[SquareEdges] = []
    missed: list[NotEnoughEvidence] = []
    greys: list[bool] = []
    size: tuple[int, ...] = ()
    asked = 0
    for pixels in pictures:
        asked += 1
        if size and pixels.shape[:2] != size:
            raise WrongInput("pictures", got=f"one of another size, number {asked}", needed=_ONE_SIZE)
        size = pixels.shape[:2]
        levels = light.luma_of(pixels)
        try:
            found = target_finding.find_sheet(levels)
        except NotEnoughEvidence as why:
            missed.append(why.with_traceback(None))  # its frames would hold the picture in memory
            continue
        founds.append(found)
        squares += [target_finding.square_edges(levels, found, which=which) for which in (0, 1)]
        step = max(1, min(pixels.shape[:2]) // 400)
        greys.append(light.measure(np.ascontiguousarray(pixels[::step, ::step])).infrared)
    if not asked:
        raise WrongInput("pictures", got=0, needed=_ONE_SIZE)
    if not founds:
        raise missed[0]
    cautions = _cautions(founds, squares, missed, asked)
    chosen = _chosen(squares, cautions)
    columns = _direction(chosen, "columns")
    rows = _direction(chosen, "rows")
    height, width = size
    per_mm = float(np.median([max(found.px_per_mm) for found in founds]))
    per_m = 1000 * per_mm / (sheet.scale * ruler_mm / target_layout.RULER_MM)
    per_rad = per_m * distance_m
    finest = min(_limit(columns[0], edge.VANISHING), _limit(rows[0], edge.VANISHING)) * per_rad
    return Resolution(
        width=width,
        height=height,
        pictures=len(founds),
        infrared=sum(greys) * 2 > len(greys),
        distance_m=distance_m,
        columns=columns[0],
        rows=rows[0],
        edges=columns[1].size + rows[1].size,
        effective_megapixels=_effective(width, height, columns, rows),
        pixels_per_m=per_m,
        view_deg=math.degrees(2 * math.atan(width / 2 / per_rad)),
        found=founds[0],
        smallest=tuple(smallest_detail(distance_m=d, cycles_per_rad=finest) for d in distances_m),
        cautions=tuple(cautions),
    )


def smallest_detail(*, distance_m: float, cycles_per_rad: float) -> SmallestDetail:
    """The smallest things told apart at a distance by a camera that resolves so many cycles to the radian."""
    if not (distance_m > 0 and cycles_per_rad > 0):
        raise WrongInput("distance_m", got=(distance_m, cycles_per_rad), needed="both above 0")
    pair = 1000 * distance_m / cycles_per_rad
    return SmallestDetail(
        distance_m=distance_m,
        line_pair_mm=pair,
        tine_mm=pair / 2,
        hoofprint_mm=pair * RECOGNISED_LINE_PAIRS,
    )


# --- inside ---------------------------------------------------------------------------------------


def _limit(response: EdgeResponse, level: float) -> float:
    """Where a response falls to a level, at most 0.5: beyond, the pixels fold detail back. [cycles/pixel]"""
    at = edge.crossing_cpp(response.frequency_cpp, response.mtf, level)
    return 0.5 if at is None else min(0.5, at)


def _chosen(squares: Sequence[SquareEdges], cautions: list[str]) -> list[EdgeResponse]:
    """The edges that count: those of both squares, or of the grey ones when the two kinds disagree."""
    usable = [s for s in squares if s.paper < target_finding.BURNT_OUT]
    if not usable:
        raise NotEnoughEvidence(
            "the paper is burnt out in the picture",
            need="go farther off, turn the sheet a little, or choose a weaker flash, and photograph it again",
        )
    black = [e for s in usable if s.name == "black" and s.ink > target_finding.DROWNED for e in s.edges]
    grey = [e for s in usable if s.name == "grey" for e in s.edges]
    if any(s.name == "black" and s.ink <= target_finding.DROWNED for s in usable):
        cautions.append("The black square is without any light in it; the grey one counts.")
    if black and grey:
        b = float(np.median([_limit(e, 0.5) for e in black]))
        g = float(np.median([_limit(e, 0.5) for e in grey]))
        if abs(b - g) > _MOST_DISAGREEMENT * g:
            cautions.append(
                f"Black and grey edges differ by {wording.share(abs(b / g - 1))}: "
                "the camera sharpens or bends its contrast. The grey edges count."
            )
            return grey
    if not black + grey:
        reasons = [why for s in squares for why in s.refused]
        raise NotEnoughEvidence(
            "the target was found, but none of its edges could be measured: " + (reasons[0] if reasons else "no edge"),
            need="photograph it larger and in better light",
        )
    return black + grey


def _direction(edges: Sequence[EdgeResponse], across: str) -> tuple[EdgeResponse, NDArray[np.float64]]:
    """The median response of a direction, and each edge's own 10 % limit."""
    some = [e for e in edges if e.across == across]
    if len(some) < 2:
        name = "left to right" if across == "columns" else "top to bottom"
        raise NotEnoughEvidence(
            f"only {len(some)} of the target's edges could be measured from {name}",
            need="2 are needed: hang the sheet level and facing the lens, nearer, and not burnt out",
        )
    return edge.median_response(some), np.array([_limit(e, edge.VANISHING) for e in some])


def _effective(
    width: int,
    height: int,
    columns: tuple[EdgeResponse, NDArray[np.float64]],
    rows: tuple[EdgeResponse, NDArray[np.float64]],
) -> tuple[float, float, float]:
    saved = width * height / 1e6
    ends = []
    for response, limits in (columns, rows):
        middle = _limit(response, edge.VANISHING)
        n = limits.size
        t = _T90[n - 2] if n - 2 < len(_T90) else 1.645
        ends.append((middle, t * float(limits.std(ddof=1)) / math.sqrt(n)))
    (fc, sc), (fr, sr) = ends
    share = math.hypot(sc / fc, sr / fr)
    middle = saved * 4 * fc * fr
    return max(0.0, middle * (1 - share)), middle, min(saved, middle * (1 + share))


def _cautions(
    founds: Sequence[SheetFound], squares: Sequence[SquareEdges], missed: Sequence[NotEnoughEvidence], asked: int
) -> list[str]:
    made = []
    if missed:
        made.append(f"The target was not found in {len(missed)} of {asked} pictures.")
    side = min(min(f.px_per_mm) for f in founds) * target_layout.SQUARE_SIDE_MM
    if side < 45:
        made.append(f"The squares are only {side:.0f} pixels wide: hang the sheet nearer for a surer number.")
    if max(f.slant for f in founds) > 1.06:
        made.append("The sheet does not face the lens; the distance is then not one distance.")
    burnt = [s for s in squares if s.paper >= target_finding.BURNT_OUT]
    if burnt:
        made.append("The paper is burnt out in some pictures; their edges were left out.")
    overs = [e.overshoot for s in squares for e in s.edges]
    if overs and float(np.median(overs)) > _SHARPENED:
        made.append(
            f"The camera sharpens (edges overshoot by {wording.share(float(np.median(overs)))}): "
            "the number is somewhat too high."
        )
    noisy = [e.noise for s in squares for e in s.edges]
    if noisy and float(np.median(noisy)) > 0.08:
        made.append("The picture is noisy; the fine end of the response is less sure.")
    return made
