"""How to hold a camera: tilt, wedge, the ground it sees, snow, branch, trunk.

Side view. The slope s is positive where the ground falls away from the camera; heights of animal and aim
point are above the ground where they are:

      lens ●------------- level
       h   |`-._  δ = tilt
           |    `-._            × aim point, t above its ground
    ground ▔▔▔▔▔--..__ `-._
                 s     ▔▔--..__  d = horizontal distance

Closed forms, derived here unless a source stands beside them. Rules of the trade without a source say
"common practice". `placement` gathers them into advice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from trod.errors import WrongInput, positive
from trod.planning.ground.site import Branch, Trunk

CASE_HEIGHT_MM = 130.0  # of a usual case. Assumed.
LENS_CLEAR_M = 0.3  # of snow under the lens. Assumed.
LADDER_FROM_M = 1.9  # a lens higher than this is set from a ladder. Assumed.
LEAST_TRUNK_CM = 25.0  # ten inches, common practice
REFERENCE_TRUNK_CM = 25.4
CLOSE_M = 0.1  # nearer than this nothing is told in metres
STEEPEST_DEG = 89.999  # of a picture's edges; a wide lens on a steep tilt looks past its own foot
GREEN_WOOD_GPA = 8.0  # stiffness of a living branch; assumed


def _slope(slope_deg: float) -> float:
    if not -60 <= slope_deg <= 60:
        raise WrongInput("slope_deg", got=slope_deg, needed="degrees from -60 (rising) to 60 (falling away)")
    return math.tan(math.radians(slope_deg))


def _fall(down_deg: float) -> float:
    """The tangent of a line of sight; one past straight down or up counts as straight down or up."""
    return math.tan(math.radians(min(max(down_deg, -STEEPEST_DEG), STEEPEST_DEG)))


def _height(what: str, value_m: float) -> float:
    return positive(what, value_m, needed="metres above the ground, 0 or more", zero=True)


# --- tilt and wedge ---------------------------------------------------------------------------


def tilt_deg(*, height_m: float, distance_m: float, aim_height_m: float, slope_deg: float = 0.0) -> float:
    """How far down the camera must look to have the aim point in the middle; negative is up. [°]

    Notes : atan((h + d·tan s − t)/d).
    """
    positive("height_m", height_m)
    positive("distance_m", distance_m)
    _height("aim_height_m", aim_height_m)
    return math.degrees(math.atan2(height_m + distance_m * _slope(slope_deg) - aim_height_m, distance_m))


WedgeEdge = Literal["top", "bottom", "none"]


@dataclass(frozen=True, kw_only=True)
class Wedge:
    """What to push between case and trunk. behind : which edge of the case it holds off."""

    thickness_mm: float
    behind: WedgeEdge

    def turn_deg(self, *, case_height_mm: float) -> float:
        """The angle by which it turns a case of this height, 0 to 90°."""
        return math.degrees(math.asin(min(self.thickness_mm / case_height_mm, 1.0)))


def wedge(*, tilt_deg: float, case_height_mm: float = CASE_HEIGHT_MM, lean_deg: float = 0.0) -> Wedge:
    """The thickness that turns a case of this height by the tilt.

    lean_deg : of the trunk towards the animals (positive), which tilts the case down by itself.
    Notes : case height · sin(tilt); behind the top to look down, behind the bottom to look up. Under one
    millimetre is none. For a shim on a flat plate of length L it is L·tan(tilt); within 2 % below 11°.
    """
    positive("case_height_mm", case_height_mm)
    turn = tilt_deg - lean_deg
    if not -90 < turn < 90:
        raise WrongInput("tilt_deg", got=turn, needed="an angle between -90 and 90 degrees")
    thick = case_height_mm * math.sin(math.radians(turn))
    if abs(thick) < 1:
        return Wedge(thickness_mm=0.0, behind="none")
    return Wedge(thickness_mm=abs(thick), behind="top" if thick > 0 else "bottom")


# --- what of the ground and of a body is in the picture ---------------------------------------


def ground_hit_m(*, height_m: float, down_deg: float, slope_deg: float = 0.0) -> float:
    """Horizontal distance at which a line of sight meets the ground; infinite when it never does. [m]

    Notes : h/(tan down − tan s), s falling away positive.
    """
    positive("height_m", height_m)
    if not -90 < down_deg < 90:
        raise WrongInput("down_deg", got=down_deg, needed="an angle between -90 and 90 degrees")
    closing = math.tan(math.radians(down_deg)) - _slope(slope_deg)
    return height_m / closing if closing > 0 else math.inf


@dataclass(frozen=True, kw_only=True)
class GroundSeen:
    """The strip of ground in the picture. far_m is infinite when the upper edge looks over it all."""

    near_m: float
    far_m: float


def ground_seen(*, height_m: float, tilt_deg: float, vertical_deg: float, slope_deg: float = 0.0) -> GroundSeen:
    """Where the lower and the upper edge of the picture meet the ground. [m]"""
    half = vertical_deg / 2
    near = tilt_deg + half
    if near >= 90:
        near_m = 0.0
    else:
        near_m = ground_hit_m(height_m=height_m, down_deg=near, slope_deg=slope_deg)
    upper = max(tilt_deg - half, -STEEPEST_DEG)
    far_m = ground_hit_m(height_m=height_m, down_deg=upper, slope_deg=slope_deg)
    return GroundSeen(near_m=near_m, far_m=far_m)


def cut_off_nearer_than_m(
    *, height_m: float, tilt_deg: float, vertical_deg: float, top_m: float, slope_deg: float = 0.0
) -> float:
    """Nearer than this the top of an animal is cut off: 0 when never, infinite when always. [m]

    top_m : of its head above its own ground.
    Notes : (top − h)/(tan(V/2 − δ) + tan s).
    """
    positive("top_m", top_m)
    rise = _fall(vertical_deg / 2 - tilt_deg) + _slope(slope_deg)
    above = top_m - height_m
    if above <= 0:
        return 0.0
    return above / rise if rise > 0 else math.inf


def whole_body_span_m(
    *, height_m: float, tilt_deg: float, vertical_deg: float, top_m: float, slope_deg: float = 0.0
) -> tuple[float, float]:
    """Between which distances a body of this height is in the picture from feet to top. (from, to) [m]

    from > to when nowhere.
    """
    ground = ground_seen(height_m=height_m, tilt_deg=tilt_deg, vertical_deg=vertical_deg, slope_deg=slope_deg)
    near = max(
        ground.near_m,
        cut_off_nearer_than_m(
            height_m=height_m, tilt_deg=tilt_deg, vertical_deg=vertical_deg, top_m=top_m, slope_deg=slope_deg
        ),
    )
    rise = _fall(vertical_deg / 2 - tilt_deg) + _slope(slope_deg)
    # An upper edge that falls faster than the ground loses the top far away instead.
    far = (top_m - height_m) / rise if rise < 0 and top_m <= height_m else math.inf
    return near, far


# --- snow -------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class SnowLimits:
    """The deepest snow that still does, by three rules. [m] Below 0: not even without snow.

    middle_m : an animal's middle is in the picture, whole_m : its back is too, lens_m : the lens stays clear.
    """

    middle_m: float
    whole_m: float
    lens_m: float

    @property
    def deepest_m(self) -> float:
        """By the strictest of middle and lens."""
        return min(self.middle_m, self.lens_m)

    @property
    def rule(self) -> Literal["lens", "middle"]:
        """Which rule binds."""
        return "lens" if self.lens_m <= self.middle_m else "middle"


def snow_limits(
    *,
    height_m: float,
    distance_m: float,
    tilt_deg: float,
    vertical_deg: float,
    middle_m: float,
    back_m: float,
    slope_deg: float = 0.0,
) -> SnowLimits:
    """The deepest snow an animal may stand on at a distance and still be in the picture.

    Notes : h + d·tan s − T − d·tan(δ − V/2) for a point T up; the lens less 0.3 m. The animal is taken to
    stand on the snow; in soft snow it sinks, and the limits by body are deeper.
    """
    positive("distance_m", distance_m)
    edge = _fall(tilt_deg - vertical_deg / 2)
    room = height_m + distance_m * (_slope(slope_deg) - edge)
    return SnowLimits(
        middle_m=room - _height("middle_m", middle_m),
        whole_m=room - _height("back_m", back_m),
        lens_m=height_m - LENS_CLEAR_M,
    )


# --- ladder-high mounts -----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class HighMount:
    """A camera that looks down on a patch. fits : near and far edge both are in the picture.

    near_m : the nearest ground in it when it is tilted so that the far edge's animals are.
    """

    tilt_deg: float
    wedge: Wedge
    near_m: float
    far_m: float
    fits: bool


def high_mount(
    *,
    height_m: float,
    near_m: float,
    far_m: float,
    vertical_deg: float,
    back_m: float,
    slope_deg: float = 0.0,
    case_height_mm: float = CASE_HEIGHT_MM,
) -> HighMount:
    """The tilt for a lens over a feeding ground that begins and ends at these distances.

    Notes : the upper edge of the picture is laid on the backs of animals at the far end, or, when the
    picture is taller than needed, the surplus is shared above and below.
    """
    positive("near_m", near_m)
    if not far_m > near_m:
        raise WrongInput("far_m", got=far_m, needed="a distance beyond near_m")
    fall = _slope(slope_deg)
    lowest = math.degrees(math.atan2(height_m + near_m * fall, near_m))
    upmost = math.degrees(math.atan2(height_m + far_m * fall - back_m, far_m))
    fits = lowest - upmost <= vertical_deg
    tilt = (lowest + upmost) / 2 if fits else upmost + vertical_deg / 2
    seen = ground_seen(height_m=height_m, tilt_deg=tilt, vertical_deg=vertical_deg, slope_deg=slope_deg)
    return HighMount(
        tilt_deg=tilt,
        wedge=wedge(tilt_deg=tilt, case_height_mm=case_height_mm),
        near_m=seen.near_m,
        far_m=seen.far_m,
        fits=fits,
    )


# --- branches and snow on them ----------------------------------------------------------------


def fresh_snow_kg_m3(air_c: float) -> float:
    """Density of fresh snow: 67.92 + 51.25·exp(T/2.59), up to 0 °C. [kg/m³]

    References : N. R. Hedstrom, J. W. Pomeroy (1998) Hydrol. Process. 12:1611–1625; coefficients from memory.
    """
    if not -80 <= air_c <= 5:
        raise WrongInput("air_c", got=air_c, needed="an air temperature from -80 to 5 °C")
    return 67.92 + 51.25 * math.exp(min(air_c, 0.0) / 2.59)


# S_p of the same paper, seen: pine 6.6, spruce 5.9 kg/m² of leaf.
MOST_SNOW_PINE, MOST_SNOW_SPRUCE = 6.6, 5.9


def most_snow_kg_m2(*, air_c: float, leaf_area_index: float, species_kg_m2: float = MOST_SNOW_SPRUCE) -> float:
    """The most snow that a conifer's crown holds over a square metre of ground; 1 mm of water is 1 kg/m².

    Notes : S_p·(0.27 + 46/ρ)·LAI.
    References : Hedstrom & Pomeroy (1998), as above; 0.27 and 46 from memory.
    """
    positive("leaf_area_index", leaf_area_index, needed="a number, 0 or more", zero=True)
    return positive("species_kg_m2", species_kg_m2) * (0.27 + 46 / fresh_snow_kg_m3(air_c)) * leaf_area_index


def droop_m(*, load_kg: float, length_m: float, diameter_mm: float, stiffness_gpa: float = GREEN_WOOD_GPA) -> float:
    """How far the tip of a branch sinks under a load at its end: F·L³/(3·E·I), a round beam held at one end.

    Derived from beam theory; real branches taper and twist, so take it as a scale. [m]
    """
    positive("load_kg", load_kg, needed="kilograms, 0 or more", zero=True)
    positive("length_m", length_m)
    radius = positive("diameter_mm", diameter_mm) / 2000
    bending = positive("stiffness_gpa", stiffness_gpa) * 1e9 * math.pi * radius**4 / 4
    return load_kg * 9.80665 * length_m**3 / (3 * bending)


@dataclass(frozen=True, kw_only=True)
class BranchSag:
    """A snow-laden branch over the view. sag_m : how far its tip sinks; free_m : it must hang this high."""

    load_kg: float
    sag_m: float
    tip_m: float
    free_m: float

    @property
    def in_view(self) -> bool:
        """Whether the laden tip hangs into the picture."""
        return self.tip_m < self.free_m


def branch_sag(
    branch: Branch,
    *,
    height_m: float,
    tilt_deg: float,
    vertical_deg: float,
    air_c: float = -2.0,
    leaf_area_index: float | None = None,
) -> BranchSag:
    """Whether the lowest branch, laden with the snow it can hold, sinks into the picture.

    leaf_area_index : of the branch; 2 for an evergreen and 0.3 for a bare one when None (assumed).
    Notes : the load is spread along the branch: 3/8 of the droop of the same load at the tip. It cannot sink
    by more than 0.8 of its length. Level ground under the lens. Weak numbers: leave room.
    """
    leaves = leaf_area_index if leaf_area_index is not None else (2.0 if branch.evergreen else 0.3)
    load = most_snow_kg_m2(air_c=air_c, leaf_area_index=leaves) * branch.length_m * branch.spread_m
    sag = 3 / 8 * droop_m(load_kg=load, length_m=branch.length_m, diameter_mm=branch.diameter_mm)
    sag = min(sag, 0.8 * branch.length_m)
    upper = height_m + branch.distance_m * _fall(vertical_deg / 2 - tilt_deg)
    return BranchSag(load_kg=load, sag_m=sag, tip_m=branch.height_m - sag, free_m=upper)


# --- trunks -----------------------------------------------------------------------------------


def relative_swing(*, diameter_cm: float, reference_cm: float = REFERENCE_TRUNK_CM) -> float:
    """How much more a trunk bends than one of ten inches under the same wind load: (reference/diameter)⁴.

    Beam theory. Only for comparing.
    """
    return (positive("reference_cm", reference_cm) / positive("diameter_cm", diameter_cm)) ** 4


TrunkReason = Literal["thin", "dead", "leaning", "far off", "firm post", "sound"]
MOST_LEAN_DEG = 15.0


@dataclass(frozen=True, kw_only=True)
class TrunkRank:
    """A trunk, how steady it is beside the best (1), and why. Smaller `swing` is better. wanted_offset_m : as asked."""

    trunk: Trunk
    swing: float
    fit: bool
    why: tuple[TrunkReason, ...]
    wanted_offset_m: float | None = None


def rank_trunks(trunks: Sequence[Trunk], *, height_m: float, wanted_offset_m: float | None = None) -> list[TrunkRank]:
    """Trunks from the steadiest fit one down.

    Swing counts as height³/diameter⁴ at the lens (a beam held at its foot), doubled for each 10 m of tree
    above 10 m that catches wind (ours). Dead, thin, leaning or far-off trunks are not fit, but are listed.
    """
    positive("height_m", height_m)
    ranked = []
    for trunk in trunks:
        swing = height_m**3 / (trunk.diameter_cm / REFERENCE_TRUNK_CM) ** 4
        if trunk.height_m is not None and not trunk.post:
            swing *= 2 ** (max(trunk.height_m - 10.0, 0.0) / 10.0)
        against: list[TrunkReason] = []
        if trunk.diameter_cm < LEAST_TRUNK_CM and not trunk.post:
            against.append("thin")
        if trunk.dead:
            against.append("dead")
        if trunk.lean_deg > MOST_LEAN_DEG:
            against.append("leaning")
        if wanted_offset_m is not None and trunk.offset_m is not None:
            apart = abs(trunk.offset_m - wanted_offset_m)
            against += ["far off"] if apart > 0.5 * wanted_offset_m else []
        ranked.append((bool(against), swing, trunk, against))
    ranked.sort(key=lambda row: (row[0], row[1]))
    best = min((row[1] for row in ranked), default=1.0)
    return [
        TrunkRank(
            trunk=trunk,
            swing=swing / best,
            fit=not bad,
            why=tuple(against) or ("firm post" if trunk.post else "sound",),
            wanted_offset_m=wanted_offset_m,
        )
        for bad, swing, trunk, against in ranked
    ]
