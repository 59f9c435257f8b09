"""Animals, people and a vehicle as jointed bodies at true scale.

A body is a set of limbs: each limb joins two ellipsoids, and its outline is the hull of their two projected
ellipses. So one description serves every heading, distance and height of the lens, and a red deer's withers
stand 1.20 m above its hooves in the picture's own geometry. Builds are ours, drawn by eye in units of the
shoulder height: x forward from the middle of the trunk, y up from the ground, w to the animal's left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from trod_demo.wildlife import SPECIES_BY_KEY

Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Actor:
    """One animal, person or vehicle at one moment.

    kind : a species' key, "person" or "vehicle". sex : female, male, unknown. life_stage : adult, subadult,
    juvenile, unknown. x_m, z_m : where it stands (see `trod_demo.view`). facing_deg : 0 walks to the right,
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
    life_stage: str = "adult"
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


def reach(
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


def dim(c: Colour, k: float) -> Colour:
    """A colour, k times as bright."""
    return (min(255, int(c[0] * k)), min(255, int(c[1] * k)), min(255, int(c[2] * k)))


def sized(body: Body, unit_m: float, lift_m: float) -> Body:
    """A body in metres: its units grown to `unit_m`, the whole lifted by `lift_m`."""

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
    return Body(limbs, tuple(grow(e) for e in body.eyes), grow(body.withers), body.hair, body.shine, body.stripes)
