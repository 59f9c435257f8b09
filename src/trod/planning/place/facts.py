"""What a placement was found to be, piece by piece, as numbers and reasons. Words are made of them in `trod.telling`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from trod.planning.catch.animals import Animal
from trod.planning.catch.detection import ReachBand
from trod.planning.catch.herdview import HeightThatPays, HerdView
from trod.planning.equipment.camera import Origin
from trod.planning.place.glare import FlashBand, HeadingAdvice
from trod.planning.place.mounting import BranchSag, GroundSeen, SnowLimits, TrunkRank, Wedge

Basis = Literal["geometry", "our model", "published", "common practice", "assumed"]
# What is minded at such a place whatever the numbers say; each is one sentence.
Minded = Literal[
    "ladder", "ladder footing", "den young", "feeding permit", "people", "sensitive", "tell somebody", "look up",
    "road", "water", "ice", "den permit", "animals", "hunting", "batteries", "privacy",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class AngleFact:
    """Angles to the path that serve.

    chance, across : of the simulation, at the best angle and straight across; None where a rule stands in. asked_deg :
    the angle of the heading asked for, where it lies outside them.
    """

    key: ClassVar = "angle"
    basis: ClassVar[Basis] = "our model"
    low_deg: float
    best_deg: float
    high_deg: float
    chance: float | None = None
    across: float | None = None
    asked_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class DistanceFact:
    """How far off the aim point is. path_m : of the path. patch_m : edges of the ground that is watched.

    far_by_night : farther than the guidelines light.
    """

    key: ClassVar = "distance"
    basis: ClassVar[Basis] = "geometry"
    distance_m: float
    why: Literal["asked", "path", "patch", "where they stand"]
    path_m: float
    patch_m: tuple[float, float] | None
    far_by_night: bool


@dataclass(frozen=True, kw_only=True)
class HeightFact:
    """How high the lens is. pays : the height that pays for a herd. trunk_m : the middle of the animal's trunk.

    clear_of_snow : raised for it. snow_near_m : usual snow that comes too near to the lens that was asked for.
    beyond_m : as high as one can work, where the lens is higher.
    """

    key: ClassVar = "height"
    height_m: float
    why: Literal["asked", "herd", "as high as can be", "trunk"]
    trunk_m: float
    pays: HeightThatPays | None = None
    clear_of_snow: bool = False
    snow_near_m: float | None = None
    beyond_m: float | None = None

    @property
    def basis(self) -> Basis:
        """What it rests on."""
        return "our model" if self.why in ("herd", "as high as can be") else "common practice"


@dataclass(frozen=True, kw_only=True)
class TooHidden:
    """A herd that hides itself. share : of it that can be seen. higher_m : a height from which more is."""

    height_m: float
    herd: float
    share: float
    higher_m: float


@dataclass(frozen=True, kw_only=True)
class HerdFact:
    """How much of a herd is seen; or that too little is, or why the table does not reach."""

    key: ClassVar = "herd"
    basis: ClassVar[Basis] = "our model"
    seen: HerdView | None = None
    hidden: TooHidden | None = None
    beyond_table: str = ""


@dataclass(frozen=True, kw_only=True)
class TiltFact:
    """How far down the camera looks.

    doubt_deg : of a strap on bark. near_m : nearest ground in the picture where both edges do not fit. lean_deg : of a
    trunk that leans more than a little.
    """

    key: ClassVar = "tilt"
    basis: ClassVar[Basis] = "geometry"
    tilt_deg: float
    doubt_deg: float
    why: Literal["aim point", "both edges", "far edge"]
    aim_height_m: float
    distance_m: float
    near_m: float = 0.0
    lean_deg: float | None = None
    upward: bool = False


@dataclass(frozen=True, kw_only=True)
class WedgeFact:
    """The wedge behind the case."""

    key: ClassVar = "wedge"
    basis: ClassVar[Basis] = "geometry"
    wedge: Wedge
    case_height_mm: float


@dataclass(frozen=True, kw_only=True)
class GroundFact:
    """The ground in the picture.

    whole_m : between which distances the animal fits from feet to back (first > last: nowhere). head_from_m : from
    where on a head held high does. fits : the animal does at the aim point.
    """

    key: ClassVar = "ground"
    basis: ClassVar[Basis] = "geometry"
    seen: GroundSeen
    vertical_deg: float
    whole_m: tuple[float, float]
    head_from_m: float
    distance_m: float
    fits: bool


@dataclass(frozen=True, kw_only=True)
class HeadingFact:
    """Where the camera looks; None where the path's bearing is needed and not given. options : headings to choose from.

    sun_h : hours a year with the sun in or near the picture. glare : that it is much more than need be. spread_deg :
    to either side that serves as well.
    """

    key: ClassVar = "heading"
    basis: ClassVar[Basis] = "our model"
    heading_deg: float | None
    why: Literal["asked", "least sun of these", "least sun", "no bearing"]
    best: HeadingAdvice
    options: int = 0
    sun_h: float = 0.0
    spread_deg: float = 0.0
    level_horizon: bool = False
    glare: bool = False


@dataclass(frozen=True, kw_only=True)
class ReachFact:
    """How far the sensor feels this animal. short : in the warmest air it may not reach the aim point."""

    key: ClassVar = "reach"
    basis: ClassVar[Basis] = "our model"
    animal: Animal
    cold: ReachBand
    warm: ReachBand
    warmest_c: float
    range_m: float
    origin: Origin
    distance_m: float
    short: bool


@dataclass(frozen=True, kw_only=True)
class FlashFact:
    """What the flash lights. band : None without flash, or where it lights nothing."""

    key: ClassVar = "flash"
    basis: ClassVar[Basis] = "assumed"
    band: FlashBand | None
    origin: Origin | None
    mind: Literal["", "dark", "burnt out"] = ""


@dataclass(frozen=True, kw_only=True)
class SnowFact:
    """The deepest snow this bears. expected_m : usual there; too_deep : it is more."""

    key: ClassVar = "snow"
    basis: ClassVar[Basis] = "geometry"
    limits: SnowLimits
    expected_m: float
    too_deep: bool


@dataclass(frozen=True, kw_only=True)
class BranchFact:
    """The lowest branch under its load of snow."""

    key: ClassVar = "branch"
    basis: ClassVar[Basis] = "assumed"
    sag: BranchSag


@dataclass(frozen=True, kw_only=True)
class TrunkFact:
    """What the camera hangs on."""

    key: ClassVar = "trunk"
    basis: ClassVar[Basis] = "common practice"
    rank: TrunkRank


@dataclass(frozen=True, kw_only=True)
class PixelsFact:
    """Pixels along the animal's body. enough : to tell what it is. claimed : the camera's own are the maker's word."""

    key: ClassVar = "pixels"
    basis: ClassVar[Basis] = "published"
    pixels: float
    enough: bool
    claimed: bool


Fact = (
    AngleFact
    | DistanceFact
    | HeightFact
    | HerdFact
    | TiltFact
    | WedgeFact
    | GroundFact
    | HeadingFact
    | ReachFact
    | FlashFact
    | SnowFact
    | BranchFact
    | TrunkFact
    | PixelsFact
)
