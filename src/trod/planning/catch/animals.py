"""Animals for planning: how tall, how long, how they go.

Planning sizes are ranges, not constants. Each figure says where it comes from: a published one with its
source; one "from memory"; or one "assumed". Nothing here is meant to be cited; a reserve's own species table
goes before it.

Sources:
  Nelson, Mech & Frame (2004) J. Mammal. 85:505–510: migrating white-tailed deer, steps of an hour.
  Boy Scouts of America (1911) Handbook: wapiti at the shoulder.
  Encyclopædia Britannica, moose: shoulder.
  Alaska Department of Fish and Game, species notes: red fox, snowshoe hare.
  Palencia et al. (2019) J. Zool.: day range of wild boar.
  Coyotes followed in Chicago every 15 minutes (PMC6562302, table 3): speeds over a quarter of an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from trod.errors import WrongInput, positive
from trod.planning.catch.passers import Body, Gait, Passer

Status = Literal["published", "secondary", "from memory", "assumed"]
Build = Literal["deer", "boar", "bear", "dog", "cat", "hare", "marten", "person"]

# Proportions of a hoofed animal's trunk by its shoulder. Assumed: they turn a 1.40 m elk into the round
# figures of the herd model (2.1 × 0.6 × 0.75 m, its middle 1.05 m up).
TRUNK_LENGTH, TRUNK_WIDTH, TRUNK_HEIGHT, TRUNK_CENTRE = 1.5, 0.6 / 1.4, 0.75 / 1.4, 0.75
# Top of the head of a walking animal by its shoulder, by build. Assumed.
_HEAD: dict[Build, float] = {
    "deer": 1.45, "boar": 1.0, "bear": 1.05, "dog": 1.2, "cat": 1.15, "hare": 1.5, "marten": 1.3,
    "person": 1.0,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Animal:
    """One kind of animal as planning needs it.

    shoulder_m : (from, to) of grown animals at the shoulder (a person's whole height). shoulder_from : where
    it comes from. trunk_length_m : head and tail left out; by proportion when None. gaits : lognormal speeds
    as it passes a camera. herds : comes in groups in which one hides another. fleet : often trots or runs.
    """

    key: str
    name: str
    scientific: str
    build: Build
    shoulder_m: tuple[float, float]
    shoulder_from: Status
    source: str = ""
    trunk_length_m: float | None = None
    gaits: tuple[Gait, ...]
    gaits_from: Status = "assumed"
    herds: bool = False

    def __post_init__(self) -> None:
        low, high = self.shoulder_m
        positive("shoulder_m", low)
        if not high >= low:
            raise WrongInput("shoulder_m", got=self.shoulder_m, needed="(from, to) in metres")
        if self.build not in get_args(Build):
            raise WrongInput("build", got=self.build, needed="one of " + ", ".join(get_args(Build)))

    @property
    def shoulder_mid_m(self) -> float:
        """The middle of the range. [m]"""
        return sum(self.shoulder_m) / 2

    @property
    def body(self) -> Body:
        """The trunk as a box."""
        tall = self.shoulder_mid_m
        if self.build == "person":
            return Body(length_m=0.35, width_m=0.5, height_m=tall)
        return Body(
            length_m=self.trunk_length_m or TRUNK_LENGTH * tall,
            width_m=TRUNK_WIDTH * tall,
            height_m=TRUNK_HEIGHT * tall,
        )

    @property
    def trunk_centre_m(self) -> float:
        """Middle of the trunk above the map: where to aim. [m]"""
        return (0.6 if self.build == "person" else TRUNK_CENTRE) * self.shoulder_mid_m

    @property
    def back_m(self) -> float:
        """The back of the tallest: for the whole body to be in the picture. [m]"""
        return self.shoulder_m[1]

    @property
    def head_m(self) -> float:
        """The top of the head of the tallest, walking; antlers left out. [m]"""
        return self.shoulder_m[1] * _HEAD[self.build]

    @property
    def passer(self) -> Passer:
        """For the simulation of walk-bys."""
        return Passer(name=self.name, body=self.body, gaits=self.gaits)

    def said(self) -> str:
        """Its size and where that comes from, in a sentence."""
        low, high = self.shoulder_m
        span = f"{low:.2f} m" if high == low else f"{low:.2f} to {high:.2f} m"
        where = f" ({self.source})" if self.source else ""
        what = "tall" if self.build == "person" else "at the shoulder"
        return f"{self.name}: {span} {what}, {self.shoulder_from}{where}; speeds {self.gaits_from}"


def _gaits(walk: tuple[float, float], trot: tuple[float, float], run: tuple[float, float]) -> tuple[Gait, ...]:
    """(share, median m/s) of three gaits; spreads as in the walk-by model. Assumed."""
    return (
        Gait(share=walk[0], median_mps=walk[1], sigma_ln=0.30),
        Gait(share=trot[0], median_mps=trot[1], sigma_ln=0.25),
        Gait(share=run[0], median_mps=run[1], sigma_ln=0.20),
    )


_DEER = _gaits((0.80, 1.2), (0.15, 3.5), (0.05, 7.0))
_WOLF = _gaits((0.35, 1.4), (0.60, 2.4), (0.05, 7.0))
_HARE = _gaits((0.70, 0.7), (0.15, 2.5), (0.15, 8.0))

ANIMALS: tuple[Animal, ...] = (
    Animal(
        key="white_tailed_deer", name="White-tailed deer", scientific="Odocoileus virginianus", build="deer",
        shoulder_m=(0.90, 1.07), shoulder_from="secondary", gaits=_DEER, herds=True,
    ),
    Animal(
        key="elk", name="Elk (wapiti)", scientific="Cervus canadensis", build="deer",
        shoulder_m=(1.20, 1.50), shoulder_from="published", source="Boy Scouts of America 1911",
        gaits=_DEER, herds=True,
    ),
    Animal(
        key="red_deer", name="Red deer", scientific="Cervus elaphus", build="deer",
        shoulder_m=(0.95, 1.30), shoulder_from="from memory", gaits=_DEER, herds=True,
    ),
    Animal(
        key="moose", name="Moose", scientific="Alces alces", build="deer",
        shoulder_m=(1.60, 2.00), shoulder_from="secondary",
        source="Encyclopædia Britannica for the upper end; lower end from memory", gaits=_DEER,
    ),
    Animal(
        key="roe_deer", name="Roe deer", scientific="Capreolus capreolus", build="deer",
        shoulder_m=(0.65, 0.75), shoulder_from="from memory",
        gaits=_gaits((0.85, 1.1), (0.10, 3.0), (0.05, 7.0)),
    ),
    Animal(
        key="wild_boar", name="Wild boar", scientific="Sus scrofa", build="boar",
        shoulder_m=(0.55, 1.10), shoulder_from="from memory",
        gaits=_gaits((0.75, 1.1), (0.20, 3.0), (0.05, 6.0)), herds=True,
    ),
    Animal(
        key="black_bear", name="American black bear", scientific="Ursus americanus", build="bear",
        shoulder_m=(0.70, 1.05), shoulder_from="from memory", trunk_length_m=1.2,
        gaits=_gaits((0.93, 1.2), (0.05, 3.0), (0.02, 8.0)),
    ),
    Animal(
        key="coyote", name="Coyote", scientific="Canis latrans", build="dog",
        shoulder_m=(0.58, 0.60), shoulder_from="secondary",
        gaits=_gaits((0.50, 1.2), (0.45, 2.6), (0.05, 8.0)),
    ),
    Animal(
        key="red_fox", name="Red fox", scientific="Vulpes vulpes", build="dog",
        shoulder_m=(0.35, 0.45), shoulder_from="secondary",
        source="Alaska Department of Fish and Game: about 40 cm, head and body 56 to 82 cm",
        trunk_length_m=0.55, gaits=_gaits((0.50, 1.0), (0.45, 2.6), (0.05, 6.0)),
    ),
    Animal(
        key="grey_wolf", name="Grey wolf", scientific="Canis lupus", build="dog",
        shoulder_m=(0.65, 0.85), shoulder_from="from memory", gaits=_WOLF,
    ),
    Animal(
        key="lynx", name="Eurasian lynx", scientific="Lynx lynx", build="cat",
        shoulder_m=(0.55, 0.70), shoulder_from="from memory",
        gaits=_gaits((0.92, 1.1), (0.06, 2.5), (0.02, 6.0)),
    ),
    Animal(
        key="badger", name="European badger", scientific="Meles meles", build="marten",
        shoulder_m=(0.25, 0.30), shoulder_from="from memory", trunk_length_m=0.60,
        gaits=_gaits((0.80, 0.9), (0.20, 2.0), (0.0, 4.0)),
    ),
    Animal(
        key="pine_marten", name="Pine marten", scientific="Martes martes", build="marten",
        shoulder_m=(0.15, 0.20), shoulder_from="from memory", trunk_length_m=0.40,
        gaits=_gaits((0.45, 0.9), (0.40, 2.4), (0.15, 4.5)),
    ),
    Animal(
        key="brown_hare", name="Brown hare", scientific="Lepus europaeus", build="hare",
        shoulder_m=(0.25, 0.32), shoulder_from="from memory", trunk_length_m=0.48, gaits=_HARE,
    ),
    Animal(
        key="snowshoe_hare", name="Snowshoe hare", scientific="Lepus americanus", build="hare",
        shoulder_m=(0.20, 0.25), shoulder_from="from memory", trunk_length_m=0.38, gaits=_HARE,
    ),
    Animal(
        key="person", name="Person on foot", scientific="Homo sapiens", build="person",
        shoulder_m=(1.50, 1.90), shoulder_from="assumed",
        gaits=(Gait(share=0.9, median_mps=1.3, sigma_ln=0.2), Gait(share=0.1, median_mps=3.0, sigma_ln=0.25)),
    ),
)  # fmt: skip
BY_KEY = {animal.key: animal for animal in ANIMALS}


def animal(key: str) -> Animal:
    """An animal of the table. Raises WrongInput that lists them."""
    if key not in BY_KEY:
        raise WrongInput("animal", got=key[:60], needed="one of " + ", ".join(BY_KEY))
    return BY_KEY[key]
