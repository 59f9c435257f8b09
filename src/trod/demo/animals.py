"""Animals, people and a vehicle as jointed bodies at true scale.

A body is a set of limbs: each limb joins two ellipsoids, and its outline is the hull of their two projected
ellipses. So one description serves every heading, distance and height of the lens, and a red deer's withers
stand 1.20 m above its hooves in the picture's own geometry. Builds are ours, drawn by eye in units of the
shoulder height: x forward from the middle of the trunk, y up from the ground, w to the animal's left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from trod.demo.reserve import SPECIES_BY_KEY

Colour = tuple[int, int, int]
Points = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Actor:
    """One animal, person or vehicle at one moment.

    kind : a species' key, "person" or "vehicle". sex : female, male, unknown. age_class : adult, subadult,
    juvenile, unknown. x_m, z_m : where it stands (see `trod.demo.view`). facing_deg : 0 walks to the right,
    90 away from the lens, 180 to the left, 270 at the lens. phase : place in the stride, 0..1.
    pose : stand, walk, trot, run, feed, alert, sit, fly. scale : own size by the species' adult male.
    month : for coat and antlers. variant : a small number that tells individuals apart.
    """

    kind: str
    x_m: float
    z_m: float
    facing_deg: float = 0.0
    pose: str = "walk"
    phase: float = 0.0
    sex: str = "unknown"
    age_class: str = "adult"
    scale: float = 1.0
    month: int = 7
    speed_mps: float = 0.0
    variant: int = 0
    lift_m: float = 0.0

    @property
    def shoulder_m(self) -> float:
        """Height of its withers (a person's whole height; a vehicle's roof). [m]"""
        if self.kind == "person":
            return 1.76 * self.scale
        if self.kind == "vehicle":
            return 1.85 * self.scale
        return SPECIES_BY_KEY[self.kind].shoulder_m * self.scale

    def moved(self, *, seconds: float) -> Actor:
        """The same animal a moment later: farther along its way and in its stride."""
        if self.speed_mps <= 0:
            return replace(self, phase=(self.phase + 0.13 * seconds) % 1.0)
        along = self.speed_mps * seconds
        a = math.radians(self.facing_deg)
        stride = self.shoulder_m * {"walk": 1.15, "trot": 1.7, "run": 2.8}.get(self.pose, 1.2)
        return replace(
            self,
            x_m=self.x_m + along * math.cos(a),
            z_m=self.z_m + along * math.sin(a),
            phase=(self.phase + along / stride) % 1.0,
        )


@dataclass(frozen=True)
class Limb:
    """A piece of the body between two ellipsoids.

    a, b : centres (x, y, w). ra, rb : vertical radii. wide : lateral radius as a share of the vertical one.
    shade : the colour. tone : multiplies the shade (far legs are darker). round : how strongly it is
    modelled. group : limbs of one group are painted as one mass. order : metres it is painted before its own
    depth. square : a box between two upright rectangles instead of a hull of ellipses (for a vehicle).
    """

    a: tuple[float, float, float]
    b: tuple[float, float, float]
    ra: float
    rb: float
    shade: Colour
    wide: float = 1.0
    tone: float = 1.0
    round: float = 1.0
    group: int = 0
    order: float = 0.0
    square: bool = False


@dataclass(frozen=True)
class Body:
    """A posed body in metres: limbs, the eyes (for eye-shine) and where the withers are."""

    limbs: tuple[Limb, ...]
    eyes: tuple[tuple[float, float, float], ...]
    withers: tuple[float, float, float]
    hair: float
    shine: Colour
    stripes: str = ""


@dataclass(frozen=True)
class Build:
    """A four-legged species' shape in units of the shoulder height."""

    spine: tuple[tuple[float, float, float], ...]
    """(x, y of the centre, vertical radius) from rump to chest; the one marked by `withers` tops at y = 1."""
    withers: int
    width: float
    hip: tuple[float, float]
    shoulder: tuple[float, float]
    track: float
    thigh_r: float
    leg_r: float
    hoof_r: float
    hind_cannon: float
    fore_upper: float
    neck: tuple[float, float]
    """radius at the base and at the head"""
    neck_up: dict[str, tuple[float, float]]
    """where the head joins, by pose: offset from the chest's end"""
    head: tuple[float, float, float, float]
    """skull radius, muzzle length, muzzle radius, droop of the muzzle"""
    ear: tuple[float, float, float]
    """length, radius, backward lean"""
    tail: tuple[tuple[float, float, float], ...]
    """offsets from the rump's end with radii"""
    coat: dict[str, tuple[Colour, Colour, Colour, Colour, Colour]]
    """season -> back, belly, legs, head, tail"""
    hair: float = 0.10
    shine: Colour = (235, 245, 240)
    stripes: str = ""
    crouch: float = 0.0
    tail_tip: Colour | None = None
    ear_tip: Colour | None = None
    muzzle_tint: Colour | None = None
    throat: Colour | None = None
    rump: Colour | None = None


BUILDS: dict[str, Build] = {
    "red_deer": Build(
        spine=(
            (-0.56, 0.72, 0.19),
            (-0.42, 0.745, 0.235),
            (-0.12, 0.715, 0.235),
            (0.20, 0.715, 0.262),
            (0.42, 0.735, 0.265),
            (0.56, 0.73, 0.20),
        ),
        withers=4,
        width=0.62,
        hip=(-0.46, 0.72),
        shoulder=(0.42, 0.66),
        track=0.085,
        thigh_r=0.155,
        leg_r=0.058,
        hoof_r=0.030,
        hind_cannon=0.30,
        fore_upper=0.30,
        neck=(0.165, 0.085),
        neck_up={"walk": (0.30, 0.38), "alert": (0.20, 0.50), "feed": (0.40, -0.48), "run": (0.34, 0.34)},
        head=(0.088, 0.235, 0.043, 0.42),
        ear=(0.155, 0.040, -0.75),
        tail=((-0.05, 0.03, 0.035), (-0.09, -0.10, 0.028)),
        coat={
            "summer": ((134, 88, 56), (138, 108, 80), (112, 80, 56), (128, 90, 62), (180, 146, 104)),
            "winter": ((112, 92, 72), (92, 78, 64), (84, 68, 54), (112, 96, 78), (176, 150, 112)),
        },
        hair=0.10,
        muzzle_tint=(52, 44, 40),
        rump=(206, 176, 126),
    ),
    "roe_deer": Build(
        spine=(
            (-0.58, 0.76, 0.185),
            (-0.44, 0.795, 0.245),
            (-0.14, 0.745, 0.225),
            (0.16, 0.735, 0.235),
            (0.40, 0.765, 0.235),
            (0.54, 0.76, 0.175),
        ),
        withers=4,
        width=0.62,
        hip=(-0.47, 0.76),
        shoulder=(0.40, 0.68),
        track=0.085,
        thigh_r=0.150,
        leg_r=0.052,
        hoof_r=0.027,
        hind_cannon=0.33,
        fore_upper=0.30,
        neck=(0.125, 0.078),
        neck_up={"walk": (0.24, 0.40), "alert": (0.13, 0.50), "feed": (0.36, -0.50), "run": (0.28, 0.36)},
        head=(0.098, 0.185, 0.048, 0.46),
        ear=(0.20, 0.052, -0.45),
        tail=((-0.02, -0.01, 0.03), (-0.03, -0.05, 0.02)),
        coat={
            "summer": ((156, 94, 52), (166, 122, 82), (140, 88, 54), (140, 92, 60), (214, 192, 152)),
            "winter": ((112, 100, 86), (126, 114, 98), (98, 86, 72), (108, 94, 80), (240, 236, 226)),
        },
        hair=0.10,
        muzzle_tint=(30, 28, 28),
        rump=(238, 230, 214),
    ),
    "wild_boar": Build(
        spine=(
            (-0.72, 0.60, 0.24),
            (-0.54, 0.645, 0.29),
            (-0.18, 0.655, 0.315),
            (0.16, 0.665, 0.33),
            (0.42, 0.67, 0.33),
            (0.66, 0.63, 0.27),
        ),
        withers=4,
        width=0.66,
        hip=(-0.58, 0.56),
        shoulder=(0.46, 0.54),
        track=0.13,
        thigh_r=0.190,
        leg_r=0.072,
        hoof_r=0.044,
        hind_cannon=0.20,
        fore_upper=0.22,
        neck=(0.275, 0.185),
        neck_up={"walk": (0.27, -0.055), "alert": (0.27, 0.03), "feed": (0.25, -0.20), "run": (0.30, 0.02)},
        head=(0.165, 0.42, 0.062, 0.46),
        ear=(0.15, 0.055, -0.30),
        tail=((-0.06, 0.02, 0.03), (-0.10, -0.14, 0.018), (-0.09, -0.30, 0.026)),
        coat={
            "summer": ((66, 56, 48), (58, 50, 44), (36, 31, 28), (62, 53, 46), (40, 34, 30)),
            "winter": ((52, 46, 41), (46, 41, 37), (28, 25, 23), (54, 47, 42), (30, 27, 25)),
        },
        hair=0.22,
        shine=(225, 225, 215),
        muzzle_tint=(92, 76, 70),
    ),
    "red_fox": Build(
        spine=(
            (-0.66, 0.69, 0.165),
            (-0.50, 0.715, 0.20),
            (-0.14, 0.715, 0.195),
            (0.20, 0.735, 0.215),
            (0.44, 0.775, 0.225),
            (0.60, 0.785, 0.185),
        ),
        withers=4,
        width=0.66,
        hip=(-0.52, 0.66),
        shoulder=(0.44, 0.64),
        track=0.10,
        thigh_r=0.145,
        leg_r=0.062,
        hoof_r=0.042,
        hind_cannon=0.26,
        fore_upper=0.28,
        neck=(0.185, 0.130),
        neck_up={"walk": (0.21, 0.17), "alert": (0.14, 0.30), "feed": (0.26, -0.40), "run": (0.24, 0.12)},
        head=(0.150, 0.275, 0.045, 0.28),
        ear=(0.215, 0.070, -0.12),
        tail=((-0.16, -0.04, 0.075), (-0.48, -0.18, 0.135), (-0.82, -0.30, 0.130), (-1.06, -0.34, 0.055)),
        coat={
            "summer": ((176, 92, 40), (196, 168, 140), (58, 42, 36), (182, 98, 44), (164, 92, 48)),
            "winter": ((184, 100, 46), (204, 184, 160), (60, 44, 38), (188, 104, 50), (172, 100, 56)),
        },
        hair=0.14,
        tail_tip=(238, 232, 222),
        ear_tip=(40, 32, 30),
        throat=(232, 222, 208),
        muzzle_tint=(40, 34, 32),
    ),
    "grey_wolf": Build(
        spine=(
            (-0.56, 0.70, 0.165),
            (-0.42, 0.735, 0.205),
            (-0.12, 0.725, 0.200),
            (0.18, 0.725, 0.235),
            (0.40, 0.745, 0.255),
            (0.54, 0.755, 0.205),
        ),
        withers=4,
        width=0.60,
        hip=(-0.45, 0.68),
        shoulder=(0.40, 0.64),
        track=0.085,
        thigh_r=0.155,
        leg_r=0.068,
        hoof_r=0.048,
        hind_cannon=0.27,
        fore_upper=0.28,
        neck=(0.215, 0.150),
        neck_up={"walk": (0.27, 0.10), "alert": (0.18, 0.26), "feed": (0.30, -0.40), "run": (0.30, 0.06)},
        head=(0.150, 0.255, 0.065, 0.22),
        ear=(0.145, 0.055, -0.15),
        tail=((-0.08, -0.04, 0.06), (-0.22, -0.24, 0.085), (-0.30, -0.48, 0.06)),
        coat={
            "summer": ((116, 106, 92), (162, 150, 132), (150, 134, 112), (126, 112, 94), (96, 86, 76)),
            "winter": ((122, 116, 106), (176, 168, 154), (162, 148, 128), (134, 124, 110), (92, 86, 80)),
        },
        hair=0.18,
        throat=(206, 198, 184),
        ear_tip=(72, 64, 58),
        muzzle_tint=(38, 36, 36),
        tail_tip=(36, 34, 34),
    ),
    "lynx": Build(
        spine=(
            (-0.54, 0.76, 0.185),
            (-0.40, 0.795, 0.225),
            (-0.12, 0.745, 0.200),
            (0.18, 0.735, 0.215),
            (0.40, 0.765, 0.235),
            (0.54, 0.775, 0.190),
        ),
        withers=4,
        width=0.62,
        hip=(-0.44, 0.74),
        shoulder=(0.40, 0.66),
        track=0.095,
        thigh_r=0.175,
        leg_r=0.082,
        hoof_r=0.064,
        hind_cannon=0.27,
        fore_upper=0.28,
        neck=(0.185, 0.155),
        neck_up={"walk": (0.21, 0.10), "alert": (0.15, 0.24), "feed": (0.26, -0.36), "run": (0.25, 0.06)},
        head=(0.158, 0.105, 0.082, 0.30),
        ear=(0.150, 0.052, 0.02),
        tail=((-0.07, -0.04, 0.05), (-0.17, -0.14, 0.048)),
        coat={
            "summer": ((168, 128, 86), (214, 196, 168), (178, 146, 108), (170, 132, 92), (150, 112, 76)),
            "winter": ((166, 146, 120), (216, 206, 188), (176, 158, 132), (168, 148, 122), (150, 130, 106)),
        },
        hair=0.13,
        ear_tip=(28, 26, 26),
        throat=(224, 214, 196),
        tail_tip=(28, 26, 26),
        stripes="spots",
        shine=(255, 245, 205),
    ),
    "badger": Build(
        spine=(
            (-1.02, 0.56, 0.24),
            (-0.76, 0.62, 0.31),
            (-0.28, 0.655, 0.335),
            (0.20, 0.655, 0.335),
            (0.56, 0.665, 0.335),
            (0.86, 0.58, 0.24),
        ),
        withers=4,
        width=0.86,
        hip=(-0.78, 0.46),
        shoulder=(0.58, 0.46),
        track=0.22,
        thigh_r=0.180,
        leg_r=0.110,
        hoof_r=0.085,
        hind_cannon=0.14,
        fore_upper=0.16,
        neck=(0.235, 0.175),
        neck_up={"walk": (0.26, -0.10), "alert": (0.24, 0.04), "feed": (0.22, -0.22), "run": (0.28, -0.06)},
        head=(0.185, 0.36, 0.060, 0.34),
        ear=(0.085, 0.050, -0.35),
        tail=((-0.14, 0.0, 0.09), (-0.36, -0.08, 0.055)),
        coat={
            "summer": ((134, 130, 122), (44, 40, 38), (30, 28, 27), (232, 228, 218), (170, 164, 150)),
            "winter": ((140, 136, 128), (46, 42, 40), (30, 28, 27), (234, 230, 220), (176, 170, 156)),
        },
        hair=0.22,
        stripes="badger",
        ear_tip=(236, 232, 224),
        muzzle_tint=(40, 36, 34),
    ),
    "pine_marten": Build(
        spine=(
            (-1.06, 0.66, 0.20),
            (-0.84, 0.72, 0.245),
            (-0.30, 0.66, 0.225),
            (0.24, 0.665, 0.235),
            (0.72, 0.755, 0.245),
            (1.00, 0.755, 0.20),
        ),
        withers=4,
        width=0.80,
        hip=(-0.86, 0.58),
        shoulder=(0.72, 0.58),
        track=0.16,
        thigh_r=0.200,
        leg_r=0.100,
        hoof_r=0.078,
        hind_cannon=0.18,
        fore_upper=0.22,
        neck=(0.205, 0.165),
        neck_up={"walk": (0.36, 0.24), "alert": (0.24, 0.50), "feed": (0.36, -0.20), "run": (0.40, 0.14)},
        head=(0.190, 0.27, 0.070, 0.24),
        ear=(0.150, 0.095, -0.10),
        tail=((-0.22, 0.02, 0.11), (-0.80, -0.14, 0.165), (-1.36, -0.26, 0.14), (-1.56, -0.26, 0.06)),
        coat={
            "summer": ((92, 60, 40), (104, 74, 54), (58, 40, 30), (104, 70, 48), (72, 48, 34)),
            "winter": ((104, 72, 50), (120, 92, 70), (64, 46, 36), (118, 84, 60), (80, 56, 40)),
        },
        hair=0.16,
        throat=(230, 206, 146),
        ear_tip=(214, 196, 160),
        muzzle_tint=(40, 30, 28),
    ),
    "brown_hare": Build(
        spine=(
            (-0.72, 0.50, 0.25),
            (-0.52, 0.64, 0.34),
            (-0.18, 0.72, 0.305),
            (0.16, 0.70, 0.265),
            (0.42, 0.735, 0.265),
            (0.56, 0.76, 0.20),
        ),
        withers=4,
        width=0.72,
        hip=(-0.48, 0.56),
        shoulder=(0.42, 0.56),
        track=0.13,
        thigh_r=0.250,
        leg_r=0.068,
        hoof_r=0.055,
        hind_cannon=0.36,
        fore_upper=0.26,
        neck=(0.185, 0.150),
        neck_up={"walk": (0.20, 0.26), "alert": (0.14, 0.46), "feed": (0.26, -0.26), "run": (0.26, 0.16)},
        head=(0.165, 0.19, 0.092, 0.40),
        ear=(0.50, 0.056, -0.34),
        tail=((-0.06, 0.08, 0.08), (-0.14, 0.12, 0.07)),
        coat={
            "summer": ((146, 112, 74), (216, 204, 184), (164, 124, 80), (150, 118, 80), (228, 222, 212)),
            "winter": ((142, 118, 90), (220, 212, 196), (158, 128, 92), (148, 124, 94), (232, 228, 220)),
        },
        hair=0.18,
        ear_tip=(30, 27, 25),
        shine=(255, 214, 190),
        crouch=0.0,
        throat=(206, 184, 150),
    ),
}


def coat_season(month: int) -> str:
    """Which coat a month shows: winter from October to April (round, ours)."""
    return "winter" if month >= 10 or month <= 4 else "summer"


def antler_state(kind: str, *, month: int, sex: str, age_class: str) -> float:
    """Share of a full head of antlers a male carries, 0 when none.

    Round months from memory: red deer cast in about March and are hard again by August; roe cast in about
    November and are hard by April.
    """
    if sex != "male" or age_class == "juvenile" or kind not in ("red_deer", "roe_deer"):
        return 0.0
    grown = (
        (1, 1, 0.7, 0.08, 0.35, 0.65, 0.95, 1, 1, 1, 1, 1)
        if kind == "red_deer"
        else (0.5, 0.75, 0.95, 1, 1, 1, 1, 1, 1, 0.9, 0.1, 0.2)
    )[month - 1]
    return grown * (0.45 if age_class == "subadult" else 1.0)


def _reach(
    top: tuple[float, float], foot: tuple[float, float], upper: float, lower: float, bend: int
) -> tuple[float, float]:
    """The middle joint of two bones between two points; `bend` +1 puts it forward, -1 backward."""
    dx, dy = foot[0] - top[0], foot[1] - top[1]
    d = math.hypot(dx, dy)
    d = min(max(d, abs(upper - lower) + 1e-6), upper + lower - 1e-6)
    along = (upper * upper - lower * lower + d * d) / (2 * d)
    off = math.sqrt(max(upper * upper - along * along, 0.0))
    length = math.hypot(dx, dy) or 1.0
    ux, uy = dx / length, dy / length
    # The leg hangs down (uy < 0), so "forward" is to the left of the way down.
    return top[0] + along * ux - bend * off * uy, top[1] + along * uy + bend * off * ux


_STRIDE = {
    # pose: (offsets of hind left, fore left, hind right, fore right; swing share; half stride; lift)
    "walk": ((0.0, 0.22, 0.5, 0.72), 0.36, 0.27, 0.10),
    "trot": ((0.0, 0.5, 0.5, 0.0), 0.50, 0.34, 0.17),
    "run": ((0.0, 0.52, 0.10, 0.62), 0.66, 0.52, 0.26),
}


def _foot(pose: str, phase: float, leg: int, *, variant: int) -> tuple[float, float]:
    """Offset of a foot from below its joint, forward and up, in shoulder heights."""
    if pose not in _STRIDE:
        still = math.sin(variant * 2.3 + leg * 1.7) * 0.055
        return (still + (0.045 if leg in (0, 1) else -0.03), 0.0)
    offsets, swing, half, lift = _STRIDE[pose]
    p = (phase + offsets[leg]) % 1.0
    stance = 1 - swing
    if p < stance:
        return half * (1 - 2 * p / stance), 0.0
    q = (p - stance) / swing
    return half * (2 * (0.5 - 0.5 * math.cos(math.pi * q)) - 1), lift * math.sin(math.pi * q)


def _dim(c: Colour, k: float) -> Colour:
    return (min(255, int(c[0] * k)), min(255, int(c[1] * k)), min(255, int(c[2] * k)))


def body_of(actor: Actor) -> Body:
    """The posed body of an animal, person or vehicle, in metres, in its own axes."""
    if actor.kind == "person":
        return _person(actor)
    if actor.kind == "vehicle":
        return _vehicle(actor)
    if actor.kind == "jay":
        return _jay(actor)
    return _quadruped(actor)


def _quadruped(actor: Actor) -> Body:
    b = BUILDS[actor.kind]
    pose = actor.pose if actor.pose in ("walk", "trot", "run", "feed", "alert") else "alert"
    back, belly, leg_c, head_c, tail_c = b.coat[coat_season(actor.month)]
    tint = 1 + 0.07 * math.sin(actor.variant * 12.9)
    if actor.kind == "red_deer" and actor.sex == "male" and actor.age_class == "adult":
        tint *= 0.92
    young = actor.age_class == "juvenile"
    stripes = b.stripes
    if young and actor.kind == "wild_boar" and 4 <= actor.month <= 9:
        back, belly, leg_c, head_c, tail_c = (
            (150, 106, 66),
            (156, 120, 84),
            (110, 82, 58),
            (134, 98, 66),
            (120, 90, 60),
        )
        stripes = "piglet"
    if young and actor.kind in ("red_deer", "roe_deer") and 5 <= actor.month <= 8:
        stripes = "fawn"
    back, belly, leg_c, head_c, tail_c = (_dim(c, tint) for c in (back, belly, leg_c, head_c, tail_c))
    u = actor.shoulder_m
    limbs: list[Limb] = []
    # The trunk moves a little with the stride; a run folds and stretches it.
    sway = 0.0 if pose not in _STRIDE else 0.012 * math.sin(4 * math.pi * actor.phase)
    arch = 0.06 * math.sin(2 * math.pi * actor.phase) if pose == "run" else 0.0
    hop = 0.10 * max(0.0, math.sin(2 * math.pi * (actor.phase + 0.15))) if pose == "run" else 0.0
    still = pose in ("feed", "alert")
    top_fix = 1.0 - (b.spine[b.withers][1] + b.spine[b.withers][2])
    spine = [
        (x, y + top_fix + hop + (sway if not still else 0) + arch * (1 - (x / 0.5) ** 2) * 0.5, r)
        for x, y, r in b.spine
    ]
    if actor.kind == "brown_hare" and still:
        spine = [(x * 0.86, y - 0.07, r) for x, y, r in spine]
    neckless = 0.92 if young else 1.0
    for (x0, y0, r0), (x1, y1, r1) in pairwise(spine):
        limbs.append(
            Limb((x0, y0, 0), (x1, y1, 0), r0 * neckless, r1 * neckless, back, wide=b.width, group=1)
        )
    # A belly of its own tone under the trunk, kept inside its outline.
    for (x0, y0, r0), (x1, y1, r1) in pairwise(spine[1:5]):
        limbs.append(
            Limb(
                (x0, y0 - r0 * 0.40, 0),
                (x1, y1 - r1 * 0.40, 0),
                r0 * 0.55,
                r1 * 0.55,
                belly,
                wide=b.width * 1.3,
                group=2,
                round=0.35,
                order=0.06,
            )
        )
    rump_x, rump_y, rump_r = spine[0]
    if b.rump is not None:
        c = b.rump
        limbs.append(
            Limb(
                (rump_x - 0.045, rump_y + 0.02, 0),
                (rump_x - 0.03, rump_y - 0.10, 0),
                rump_r * 0.60,
                rump_r * 0.52,
                _dim(c, tint),
                wide=0.72,
                group=3,
                round=0.4,
                order=0.05,
            )
        )
    hip_y, sho_y = b.hip[1] + top_fix + hop, b.shoulder[1] + top_fix + hop
    for leg in range(4):
        hind, left = leg % 2 == 0, leg < 2
        w = b.track if left else -b.track
        fx, fy = _foot(pose, actor.phase, leg, variant=actor.variant)
        short = 1.0
        if hind:
            top = (b.hip[0], hip_y)
            foot = (b.hip[0] - 0.04 + fx, fy + b.hoof_r)
            lean = 0.30 + 0.55 * (fy / 0.2 if fy > 0 else 0) - 0.35 * fx
            hock = (foot[0] - b.hind_cannon * math.sin(lean), foot[1] + b.hind_cannon * math.cos(lean))
            span = (top[1] - hock[1]) * 0.56 + 0.03
            knee = _reach(top, hock, span, span * 1.02, +1)
            limbs += [
                Limb(
                    (*top, w * 0.8),
                    (*knee, w),
                    b.thigh_r,
                    b.leg_r * 1.55,
                    back,
                    wide=0.62,
                    group=4 + leg,
                ),
                Limb((*knee, w), (*hock, w), b.leg_r * 1.5, b.leg_r * 0.85, leg_c, wide=0.8, group=4 + leg),
                Limb((*hock, w), (*foot, w), b.leg_r * 0.80, b.hoof_r * 1.05, leg_c, group=4 + leg),
                Limb(
                    (foot[0], foot[1], w),
                    (foot[0] + b.hoof_r * 1.1, foot[1] - b.hoof_r * 0.30, w),
                    b.hoof_r,
                    b.hoof_r * 0.70,
                    _dim(leg_c, 0.6),
                    group=4 + leg,
                ),
            ]
        else:
            top = (b.shoulder[0], sho_y)
            foot = (b.shoulder[0] + 0.01 + fx, fy + b.hoof_r)
            upper = (top[1] - 0.02) * 0.52 * short
            knee = _reach(top, foot, upper, upper * 0.98, -1 if pose in ("feed", "alert") and fx == 0 else +1)
            limbs += [
                Limb(
                    (top[0] - 0.01, top[1] + 0.06, w * 0.75),
                    (*knee, w),
                    b.thigh_r * 0.80,
                    b.leg_r * 0.92,
                    back,
                    wide=0.6,
                    group=4 + leg,
                ),
                Limb((*knee, w), (*foot, w), b.leg_r * 0.88, b.hoof_r * 1.05, leg_c, group=4 + leg),
                Limb(
                    (foot[0], foot[1], w),
                    (foot[0] + b.hoof_r * 1.1, foot[1] - b.hoof_r * 0.30, w),
                    b.hoof_r,
                    b.hoof_r * 0.70,
                    _dim(leg_c, 0.6),
                    group=4 + leg,
                ),
            ]
    # Neck and head.
    chest_x, chest_y, _ = spine[-1]
    up = b.neck_up.get(pose, b.neck_up["walk"])
    if pose == "trot":
        up = b.neck_up["walk"]
    nod = (
        0.02 * math.sin(4 * math.pi * actor.phase)
        if pose in _STRIDE
        else 0.05 * math.sin(2 * math.pi * actor.phase)
    )
    hx, hy = chest_x + up[0], chest_y + up[1] + nod
    if pose == "feed":
        hy = max(hy, b.head[1] * 0.75 + 0.02)
    turn = 0.0
    if pose == "alert":
        turn = 0.32 * math.sin(actor.variant * 1.9) * b.head[1]
    n0, n1 = b.neck
    maned = (
        1.25
        if actor.kind == "red_deer"
        and actor.sex == "male"
        and actor.age_class == "adult"
        and actor.month >= 8
        else 1.0
    )
    base = (spine[-2][0] + 0.04, spine[-2][1] + 0.05 * (1 if up[1] > 0 else 0), 0.0)
    middle = ((base[0] + hx) / 2 + 0.02, (base[1] + hy) / 2 - 0.02 * (1 if up[1] > 0 else -1), 0.0)
    neck_c = _dim(head_c, 0.92 if maned > 1 else 1.0) if maned > 1 else back
    limbs += [
        Limb(base, middle, n0 * maned, (n0 + n1) / 2 * maned, neck_c, wide=0.62, group=9, order=0.02),
        Limb(
            middle,
            (hx, hy, 0),
            (n0 + n1) / 2 * maned,
            n1 * (1 + (maned - 1) * 0.5),
            neck_c,
            wide=0.66,
            group=9,
            order=0.02,
        ),
    ]
    if b.throat is not None:
        limbs.append(
            Limb(
                (chest_x + 0.02, chest_y - 0.05, 0),
                ((chest_x + hx) / 2 + 0.05, (chest_y + hy) / 2 - 0.06, 0),
                n0 * 0.55,
                n1 * 0.62,
                b.throat,
                wide=0.7,
                group=10,
                order=0.13,
                round=0.4,
            )
        )
    skull, muzzle, muzzle_r, droop = b.head
    big = 1.22 if young else 1.0
    skull, muzzle, muzzle_r = skull * big, muzzle * (0.92 if young else 1.0), muzzle_r * big
    pitch = droop + (1.05 if pose == "feed" else 0.0) - (0.1 if pose == "alert" else 0.0)
    if actor.kind == "wild_boar" and pose == "feed":
        pitch = 0.85
    nose = (hx + muzzle * math.cos(pitch), hy - muzzle * math.sin(pitch), turn)
    if nose[1] < muzzle_r:
        nose = (nose[0], muzzle_r, nose[2])
    limbs += [
        Limb(
            (hx, hy, 0),
            (hx + (nose[0] - hx) * 0.45, hy + (nose[1] - hy) * 0.45, turn * 0.45),
            skull,
            (skull + muzzle_r) / 2 * 0.98,
            head_c,
            wide=0.72,
            group=11,
            order=0.16,
        ),
        Limb(
            (hx + (nose[0] - hx) * 0.40, hy + (nose[1] - hy) * 0.40, turn * 0.4),
            nose,
            (skull + muzzle_r) / 2,
            muzzle_r,
            head_c,
            wide=0.72,
            group=11,
            order=0.16,
        ),
    ]
    if b.muzzle_tint is not None:
        k = 0.92
        limbs.append(
            Limb(
                (hx + (nose[0] - hx) * k, hy + (nose[1] - hy) * k, turn * k),
                (nose[0], nose[1] + muzzle_r * 0.25, turn),
                muzzle_r * 0.72,
                muzzle_r * 0.58,
                b.muzzle_tint,
                wide=0.8,
                group=12,
                order=0.20,
            )
        )
    if stripes == "badger":
        for side in (-1, 1):
            w = side * skull * 0.42
            limbs.append(
                Limb(
                    (hx - skull * 0.5, hy + skull * 0.42, w),
                    (hx + (nose[0] - hx) * 0.8, hy + (nose[1] - hy) * 0.8 + muzzle_r * 0.6, w * 0.3),
                    skull * 0.32,
                    muzzle_r * 0.5,
                    (26, 24, 24),
                    wide=0.8,
                    group=12,
                    order=0.20,
                )
            )
    if actor.kind == "lynx":
        for side in (-1, 1):
            limbs.append(
                Limb(
                    (hx + 0.03, hy - 0.09, side * 0.08),
                    (hx + 0.0, hy - 0.20, side * 0.10),
                    0.055,
                    0.018,
                    (206, 192, 166),
                    group=12,
                    order=0.18,
                )
            )
    for side in (-1, 1):  # the eye itself, dark by day
        e = (
            hx + (nose[0] - hx) * 0.24,
            hy + (nose[1] - hy) * 0.24 + skull * 0.28,
            side * skull * 0.66 + turn * 0.24,
        )
        r = max(0.016, skull * 0.14)
        limbs.append(
            Limb(
                e,
                (e[0] + r * 0.5, e[1], e[2]),
                r,
                r * 0.8,
                (18, 14, 12),
                group=20 + side,
                order=0.17,
                round=0.0,
            )
        )
    if actor.kind in ("red_fox", "grey_wolf"):  # pale cheeks
        for side in (-1, 1):
            limbs.append(
                Limb(
                    (hx + 0.02, hy - skull * 0.45, side * skull * 0.45),
                    (
                        hx + (nose[0] - hx) * 0.75,
                        hy + (nose[1] - hy) * 0.75 - muzzle_r * 0.6,
                        side * muzzle_r * 0.4,
                    ),
                    skull * 0.42,
                    muzzle_r * 0.55,
                    b.throat or head_c,
                    group=22 + side,
                    order=0.165,
                    round=0.2,
                )
            )
    ear_l, ear_r, ear_lean = b.ear
    ear_l *= 1.1 if young else 1.0
    if pose == "run" and actor.kind == "brown_hare":
        ear_lean = -1.1
    for side in (-1, 1):
        root = (hx - skull * 0.35, hy + skull * 0.62, side * skull * 0.52)
        spread = {"red_deer": 0.55, "roe_deer": 0.50}.get(actor.kind, 0.22)
        tip = (
            root[0] + ear_l * math.sin(ear_lean),
            root[1] + ear_l * math.cos(ear_lean),
            root[2] + side * ear_l * spread,
        )
        half = tuple((root[i] * 0.45 + tip[i] * 0.55) for i in range(3))
        mid = (half[0], half[1], half[2])
        limbs += [
            Limb(
                root,
                mid,
                ear_r * 0.85,
                ear_r,
                head_c if stripes != "badger" else (40, 36, 34),
                wide=0.8,
                group=13,
                order=0.15,
                tone=0.9,
            ),
            Limb(
                mid, tip, ear_r, ear_r * 0.28, b.ear_tip or head_c, wide=0.8, group=13, order=0.15, tone=0.9
            ),
        ]
        if actor.kind == "lynx":
            limbs.append(
                Limb(
                    tip,
                    (tip[0] - 0.01, tip[1] + 0.075, tip[2]),
                    0.014,
                    0.008,
                    (24, 22, 22),
                    group=13,
                    order=0.15,
                )
            )
    if actor.kind == "wild_boar" and not stripes:
        # Bristles along the back, and tusks on an old male.
        winter = coat_season(actor.month) == "winter"
        for k in range(26):
            x = -0.30 + k * 0.040
            y = float(np.interp(x, [s[0] for s in spine], [s[1] + s[2] for s in spine]))
            tall = (0.052 if winter else 0.028) * (0.7 + 0.3 * math.sin(k * 2.4))
            limbs.append(
                Limb(
                    (x, y - 0.02, 0),
                    (x - 0.03, y + tall, 0),
                    0.022,
                    0.006,
                    _dim(back, 0.8),
                    group=3,
                    order=0.02,
                )
            )
        if actor.sex == "male" and actor.age_class == "adult":
            t = (hx + (nose[0] - hx) * 0.78, hy + (nose[1] - hy) * 0.78 - muzzle_r * 0.2, 0.06)
            limbs.append(
                Limb(
                    t, (t[0] + 0.02, t[1] + 0.075, 0.07), 0.016, 0.006, (224, 214, 190), group=12, order=0.22
                )
            )
    horns = antler_state(actor.kind, month=actor.month, sex=actor.sex, age_class=actor.age_class)
    if horns > 0:
        velvet = (actor.kind == "red_deer" and 4 <= actor.month <= 7) or (
            actor.kind == "roe_deer" and actor.month in (12, 1, 2)
        )
        limbs += _antlers(actor.kind, hx - skull * 0.2, hy + skull * 0.75, horns, velvet=velvet)
    limbs += _markings(stripes, spine, b.width, actor.variant)
    # Tail.
    tail_lift = (
        {"run": 0.35, "trot": 0.12}.get(pose, 0.0)
        if actor.kind in ("red_fox", "grey_wolf", "pine_marten")
        else 0.0
    )
    prev = (rump_x - rump_r * 0.55, rump_y + rump_r * 0.35, 0.0)
    prev_r = b.tail[0][2]
    swing_w = 0.06 * math.sin(2 * math.pi * actor.phase + 1)
    for k, (dx, dy, r) in enumerate(b.tail):
        point = (rump_x - rump_r * 0.55 + dx, rump_y + rump_r * 0.35 + dy - tail_lift * dx, swing_w * k)
        last = k == len(b.tail) - 1
        colour = b.tail_tip if last and b.tail_tip is not None else tail_c
        limbs.append(Limb(prev, point, prev_r, r, colour, group=14, order=-0.02))
        prev, prev_r = point, r
    eyes = tuple(
        (
            hx + (nose[0] - hx) * 0.28,
            hy + (nose[1] - hy) * 0.28 + skull * 0.30,
            side * skull * 0.62 + turn * 0.28,
        )
        for side in (-1, 1)
    )
    wx, wy, wr = spine[b.withers]
    return _sized(Body(tuple(limbs), eyes, (wx, wy + wr, 0.0), b.hair, b.shine, stripes), u, actor.lift_m)


def _markings(kind: str, spine: list[tuple[float, float, float]], width: float, variant: int) -> list[Limb]:
    """Spots of a lynx or a fawn and the long stripes of a piglet, on both flanks."""
    out: list[Limb] = []
    xs, ys, rs = ([s[i] for s in spine] for i in range(3))

    def flank(x: float, up: float, side: int) -> tuple[float, float, float]:
        y, r = float(np.interp(x, xs, ys)), float(np.interp(x, xs, rs))
        return x, y + r * up, side * r * width * math.sqrt(max(0.0, 1 - up * up)) * 1.02

    if kind == "piglet":
        for side in (-1, 1):
            for up in (0.62, 0.25, -0.12):
                points = [flank(x, up, side) for x in np.linspace(xs[1], xs[-2], 5)]
                for p, q in pairwise(points):
                    out.append(
                        Limb(p, q, 0.032, 0.032, (214, 184, 138), group=16 + side, order=0.01, round=0.1)
                    )
    elif kind in ("spots", "fawn"):
        rng = np.random.default_rng(variant + 5)
        colour: Colour = (74, 54, 40) if kind == "spots" else (236, 224, 200)
        size = 0.022 if kind == "spots" else 0.026
        for side in (-1, 1):
            for _ in range(46 if kind == "spots" else 30):
                x = float(rng.uniform(xs[0] + 0.05, xs[-1] - 0.02))
                up = float(rng.uniform(-0.55 if kind == "spots" else -0.05, 0.85))
                p = flank(x, up, side)
                out.append(
                    Limb(
                        p,
                        (p[0] + size * 0.8, p[1], p[2]),
                        size,
                        size * 0.8,
                        colour,
                        group=16 + side,
                        order=0.01,
                        round=0.0,
                    )
                )
    return out


def _antlers(kind: str, x: float, y: float, grown: float, *, velvet: bool) -> list[Limb]:
    bone: Colour = (116, 92, 70) if velvet else (150, 128, 98)
    r = 0.026 if velvet else 0.018
    out: list[Limb] = []
    for side in (-1, 1):
        if kind == "roe_deer":
            g = 0.30 * grown
            a, b, c = (
                (x, y, side * 0.04),
                (x + 0.01, y + g * 0.6, side * 0.075),
                (x - 0.03, y + g, side * 0.085),
            )
            out += [
                Limb(a, b, r * 1.3, r, bone, group=15, order=0.18),
                Limb(b, c, r, r * 0.5, bone, group=15, order=0.18),
            ]
            if grown > 0.6:
                out.append(
                    Limb(
                        b,
                        (x + 0.075, y + g * 0.78, side * 0.08),
                        r * 0.8,
                        r * 0.4,
                        bone,
                        group=15,
                        order=0.18,
                    )
                )
                out.append(
                    Limb(
                        (x - 0.01, y + g * 0.8, side * 0.08),
                        (x - 0.085, y + g * 0.86, side * 0.10),
                        r * 0.7,
                        r * 0.35,
                        bone,
                        group=15,
                        order=0.18,
                    )
                )
            continue
        g = grown * 0.78
        beam = [
            (x, y, side * 0.05),
            (x - 0.09 * g / 0.78, y + 0.22 * g, side * 0.17),
            (x - 0.16 * g / 0.78, y + 0.50 * g, side * 0.27),
            (x - 0.10 * g / 0.78, y + 0.78 * g, side * 0.29),
            (x - 0.0, y + 1.0 * g, side * 0.24),
        ]
        for i, (p, q) in enumerate(pairwise(beam)):
            out.append(Limb(p, q, r * (1.5 - 0.25 * i), r * (1.3 - 0.25 * i), bone, group=15, order=0.18))
        if grown > 0.3:
            for i, (dx, dy, dw) in (
                (0, (0.20, 0.13, 0.06)),
                (1, (0.19, 0.13, 0.06)),
                (2, (0.17, 0.14, 0.04)),
                (3, (-0.10, 0.16, 0.04)),
            ):
                p = beam[i] if i else (beam[0][0], beam[0][1] + 0.03, beam[0][2])
                k = min(1.0, grown)
                mid = (p[0] + dx * 0.6 * k, p[1] + dy * 0.25 * k, p[2] + side * dw * 0.6)
                out += [
                    Limb(p, mid, r, r * 0.85, bone, group=15, order=0.18),
                    Limb(
                        mid,
                        (p[0] + dx * k, p[1] + dy * k, p[2] + side * dw),
                        r * 0.85,
                        r * 0.4,
                        bone,
                        group=15,
                        order=0.18,
                    ),
                ]
    return out


def _jay(actor: Actor) -> Body:
    pink: Colour = (184, 142, 122)
    black: Colour = (30, 28, 32)
    limbs: list[Limb] = []
    flying = actor.pose in ("fly", "run", "trot")
    y0 = 0.62 if not flying else 0.60
    pitch = 0.45 if not flying else 0.08
    bob = 0.04 * math.sin(2 * math.pi * actor.phase)
    down = actor.pose == "feed"
    if down:
        pitch = -0.25
    c, s = math.cos(pitch), math.sin(pitch)

    def at(x: float, y: float, w: float = 0.0) -> tuple[float, float, float]:
        return (x * c - y * s, y0 + bob + x * s + y * c, w)

    limbs += [
        Limb(at(-0.45, 0.02), at(-1.05, 0.0), 0.14, 0.10, black, wide=0.8, group=14, order=-0.02),
        Limb(at(-0.50, 0.05), at(-0.30, 0.05), 0.17, 0.22, (236, 232, 226), group=3),
        Limb(at(-0.34, 0.0), at(0.05, 0.0), 0.24, 0.31, pink, group=1),
        Limb(at(0.05, 0.0), at(0.34, 0.12), 0.31, 0.24, pink, group=1),
        Limb(at(0.30, 0.16), at(0.50, 0.30), 0.22, 0.205, pink, group=9, order=0.03),
        Limb(at(0.52, 0.33), at(0.56, 0.33), 0.205, 0.17, pink, group=11, order=0.05),
        Limb(at(0.66, 0.32), at(0.94, 0.27), 0.085, 0.02, black, group=12, order=0.06),
        Limb(at(0.64, 0.23), at(0.56, 0.13), 0.055, 0.06, black, group=12, order=0.055),
    ]
    for side in (-1, 1):
        if flying:
            beat = math.sin(2 * math.pi * actor.phase) * 0.9
            w0, w1 = side * 0.25, side * 1.25
            limbs += [
                Limb(
                    at(0.15, 0.12, w0),
                    at(0.05, 0.12 + beat * 0.55, w0 + side * 0.55),
                    0.16,
                    0.17,
                    pink,
                    group=6,
                    order=0.02,
                ),
                Limb(
                    at(0.15, 0.14 + beat * 0.3, w0 + side * 0.3),
                    at(0.12, 0.14 + beat * 0.55, w0 + side * 0.6),
                    0.06,
                    0.06,
                    (92, 150, 210),
                    group=7,
                    order=0.03,
                ),
                Limb(
                    at(0.02, 0.12 + beat * 0.55, w0 + side * 0.55),
                    at(-0.12, 0.12 + beat, w1),
                    0.17,
                    0.06,
                    black,
                    group=6,
                    order=0.02,
                ),
            ]
        else:
            limbs += [
                Limb(
                    at(0.22, 0.10, side * 0.2),
                    at(-0.28, 0.04, side * 0.22),
                    0.17,
                    0.14,
                    (166, 128, 112),
                    wide=0.4,
                    group=6,
                    order=0.02,
                ),
                Limb(
                    at(-0.05, -0.01, side * 0.24),
                    at(-0.62, 0.02, side * 0.16),
                    0.12,
                    0.06,
                    black,
                    wide=0.4,
                    group=7,
                    order=0.03,
                ),
                Limb(
                    at(0.20, -0.03, side * 0.26),
                    at(0.02, -0.05, side * 0.26),
                    0.075,
                    0.07,
                    (96, 156, 216),
                    wide=0.4,
                    group=8,
                    order=0.04,
                ),
            ]
            step = (
                0.10 * math.sin(2 * math.pi * actor.phase + (0 if side > 0 else math.pi))
                if actor.pose == "walk"
                else 0.0
            )
            limbs += [
                Limb(
                    (0.02, 0.40, side * 0.12),
                    (-0.05 + step, 0.20, side * 0.13),
                    0.06,
                    0.030,
                    (120, 90, 76),
                    group=4,
                    order=-0.03,
                ),
                Limb(
                    (-0.05 + step, 0.20, side * 0.13),
                    (0.06 + step, 0.025, side * 0.13),
                    0.028,
                    0.025,
                    (120, 90, 76),
                    group=4,
                    order=-0.03,
                ),
            ]
    top = 0.0
    eye = at(0.60, 0.37)
    lift = actor.lift_m if actor.lift_m > 0 else (0.5 if flying else 0.0)
    return _sized(
        Body(
            tuple(limbs),
            ((eye[0], eye[1], 0.18), (eye[0], eye[1], -0.18)),
            (0.1, 1.0 + top, 0.0),
            0.05,
            (230, 230, 230),
        ),
        actor.shoulder_m,
        lift,
    )


_JACKETS: tuple[Colour, ...] = ((74, 86, 56), (150, 62, 44), (58, 74, 98), (96, 88, 72))


def _person(actor: Actor) -> Body:
    jacket = _JACKETS[actor.variant % 4]
    trousers: Colour = ((62, 60, 58), (84, 76, 60), (52, 58, 70), (70, 62, 50))[(actor.variant // 4) % 4]
    skin: Colour = (206, 164, 136)
    limbs: list[Limb] = []
    p = 2 * math.pi * actor.phase
    walking = actor.pose in ("walk", "trot", "run")
    lean = 0.03 if walking else 0.0
    reaching = actor.pose == "feed"  # bent over the camera, hands forward
    hip = (0.0, 0.50)
    for side in (-1, 1):
        swing = math.sin(p + (0 if side > 0 else math.pi)) if walking else 0.15 * side
        foot = (
            0.16 * swing if walking else 0.03 * side,
            0.035 + (0.05 * max(0.0, math.cos(p + (0 if side > 0 else math.pi))) if walking else 0.0),
        )
        knee = _reach(hip, foot, 0.245, 0.245, +1)
        w = side * 0.052
        limbs += [
            Limb((*hip, w), (*knee, w), 0.060, 0.042, trousers, group=4 + side),
            Limb((*knee, w), (foot[0], foot[1] + 0.02, w), 0.042, 0.030, trousers, group=4 + side),
            Limb(
                (foot[0] - 0.01, 0.022 + foot[1] - 0.035, w),
                (foot[0] + 0.075, 0.018 + foot[1] - 0.035, w),
                0.024,
                0.018,
                (48, 38, 30),
                group=4 + side,
            ),
        ]
    top = (0.02 + lean, 0.80)
    limbs += [
        Limb((hip[0], hip[1] + 0.01, 0), (top[0] - 0.01, 0.66, 0), 0.082, 0.088, jacket, wide=1.2, group=1),
        Limb((top[0] - 0.01, 0.66, 0), (*top, 0), 0.088, 0.066, jacket, wide=1.45, group=1),
    ]
    if actor.variant % 2:
        limbs.append(
            Limb(
                (-0.085 + lean, 0.78, 0),
                (-0.10, 0.60, 0),
                0.055,
                0.075,
                (88, 66, 44),
                wide=1.5,
                group=3,
                order=-0.02,
            )
        )
    for side in (-1, 1):
        swing = -math.sin(p + (0 if side > 0 else math.pi)) if walking else 0.0
        shoulder = (top[0], 0.80, side * 0.115)
        hand = (0.02 + 0.15 * swing, 0.47, side * 0.15) if not reaching else (0.27, 0.68, side * 0.07)
        elbow = (
            (shoulder[0] + hand[0]) / 2 - 0.03,
            (shoulder[1] + hand[1]) / 2 - (0.05 if reaching else 0.0),
            side * 0.145,
        )
        limbs += [
            Limb(shoulder, elbow, 0.042, 0.034, jacket, group=7 + side, order=0.02 * side),
            Limb(elbow, hand, 0.034, 0.024, jacket, group=7 + side, order=0.02 * side),
            Limb(
                hand,
                (hand[0] + 0.015, hand[1] - 0.03, hand[2]),
                0.022,
                0.018,
                skin,
                group=7 + side,
                order=0.02 * side,
            ),
        ]
    hat: Colour = ((70, 66, 50), (60, 46, 38), (40, 52, 70))[actor.variant % 3]
    limbs += [
        Limb((top[0], 0.84, 0), (top[0] + 0.01, 0.88, 0), 0.034, 0.034, skin, group=9),
        Limb(
            (top[0] + 0.015, 0.915, 0),
            (top[0] + 0.02, 0.945, 0),
            0.050,
            0.050,
            skin,
            wide=0.85,
            group=11,
            order=0.02,
        ),
        Limb((top[0] + 0.005, 0.955, 0), (top[0] + 0.01, 0.962, 0), 0.052, 0.040, hat, group=12, order=0.03),
        Limb(
            (top[0] - 0.045, 0.948, 0),
            (top[0] + 0.085, 0.945, 0),
            0.013,
            0.010,
            hat,
            wide=4.0,
            group=12,
            order=0.03,
        ),
    ]
    eyes = ((top[0] + 0.06, 0.93, 0.02), (top[0] + 0.06, 0.93, -0.02))
    return _sized(Body(tuple(limbs), eyes, (0.0, 1.0, 0.0), 0.03, (120, 120, 120)), actor.shoulder_m, 0.0)


def _vehicle(actor: Actor) -> Body:
    """A small forestry four-by-four, 4.2 m long; its roof is the unit height."""
    paint: Colour = ((88, 100, 80), (150, 146, 138), (118, 66, 54))[actor.variant % 3]
    glass: Colour = (44, 52, 56)
    dark: Colour = (34, 34, 34)
    limbs: list[Limb] = []

    def box(
        x0: float,
        x1: float,
        y0: float,
        y1: float,
        half: float,
        shade: Colour,
        group: int,
        order: float = 0.0,
        w: float = 0.0,
        front: tuple[float, float] | None = None,
    ) -> None:
        """A box from x0 to x1; `front` gives other y's for its front end."""
        f0, f1 = front or (y0, y1)
        r = (y1 - y0) / 2
        limbs.append(
            Limb(
                (x0, (y0 + y1) / 2, w),
                (x1, (f0 + f1) / 2, w),
                r,
                max((f1 - f0) / 2, 0.004),
                shade,
                wide=half / r,
                group=group,
                order=order,
                round=0.0,
                square=True,
            )
        )

    box(-1.13, 1.13, 0.22, 0.56, 0.44, paint, 1)
    box(-1.13, 1.15, 0.20, 0.27, 0.45, dark, 2, 0.005)
    box(0.50, 1.12, 0.56, 0.62, 0.41, _dim(paint, 1.12), 3, 0.01, front=(0.56, 0.59))
    box(-1.12, 0.40, 0.56, 0.97, 0.40, _dim(paint, 0.94), 4, 0.01)
    box(-1.08, 0.36, 0.965, 1.0, 0.39, _dim(paint, 1.18), 5, 0.02)
    box(0.40, 0.62, 0.58, 0.95, 0.37, glass, 6, 0.04, front=(0.57, 0.61))
    for side in (-1, 1):
        box(-1.02, -0.50, 0.63, 0.90, 0.008, glass, 8 + side, 0.02, w=side * 0.402)
        box(-0.42, 0.30, 0.63, 0.90, 0.008, glass, 8 + side, 0.02, w=side * 0.402)
        box(1.13, 1.15, 0.42, 0.52, 0.07, (240, 236, 218), 11 + side, 0.03, w=side * 0.32)
        box(-1.15, -1.13, 0.42, 0.52, 0.05, (150, 40, 34), 14 + side, 0.03, w=side * 0.36)
        for n, x in enumerate((-0.70, 0.72)):
            limbs.append(
                Limb(
                    (x - 0.005, 0.19, side * 0.37),
                    (x + 0.005, 0.19, side * 0.37),
                    0.19,
                    0.19,
                    dark,
                    wide=0.40,
                    group=17 + 4 * n + side,
                    order=0.10,
                    round=0.4,
                )
            )
            limbs.append(
                Limb(
                    (x, 0.19, side * 0.45),
                    (x + 0.001, 0.19, side * 0.45),
                    0.09,
                    0.09,
                    (126, 126, 122),
                    wide=0.2,
                    group=25 + 4 * n + side,
                    order=0.12,
                    round=0.3,
                )
            )
    box(1.13, 1.145, 0.36, 0.50, 0.20, (52, 54, 54), 33, 0.03)
    return _sized(
        Body(tuple(limbs), ((1.15, 0.46, 0.28), (1.15, 0.46, -0.28)), (0.0, 1.0, 0.0), 0.0, (255, 250, 235)),
        actor.shoulder_m,
        0.0,
    )


def _sized(body: Body, unit_m: float, lift_m: float) -> Body:
    def grow(p: tuple[float, float, float]) -> tuple[float, float, float]:
        return (p[0] * unit_m, p[1] * unit_m + lift_m, p[2] * unit_m)

    limbs = tuple(
        Limb(
            grow(k.a),
            grow(k.b),
            k.ra * unit_m,
            k.rb * unit_m,
            k.shade,
            k.wide,
            k.tone,
            k.round,
            k.group,
            k.order * unit_m,
            k.square,
        )
        for k in body.limbs
    )
    return Body(
        limbs, tuple(grow(e) for e in body.eyes), grow(body.withers), body.hair, body.shine, body.stripes
    )
