"""What is entered on the placement planner, as one flat dict of plain values; and the records that the models take.

An input that is missing or None is left to the advice or to what is usual. Nothing is guessed from a wrong
value: an unknown input, a text where a number belongs or a number beyond its limits is refused by its name.

The dict is what a page, a file and a saved placement carry (JSON). Numbers are in the units of their names.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast, get_args

from trod.errors import WrongInput
from trod.planning.catch.animals import Animal
from trod.planning.catch.passers import Gait, Passer
from trod.planning.ground.site import Branch, Cover, Feature, Horizon, Side, SiteGround, Trunk
from trod.planning.place.advice import Holder, Mount
from trod.planning.place.adviser import Aim, Wish

PACES: dict[str, str] = {
    "usual": "as it usually goes",
    "walk": "walking",
    "trot": "trotting",
    "run": "running",
}
# Its gaits stand in this order in the table of animals.
_PACE_ORDER = ("walk", "trot", "run")
BRANCH_LENGTH_M, BRANCH_DIAMETER_MM = 1.5, 25.0  # where only its height is told; assumed
SPEED_SIGMA_LN = 0.25  # of a speed that is entered; assumed
TREE_INPUTS = ("tree_height_m", "tree_lean_deg", "tree_dead", "post")
BRANCH_INPUTS = ("branch_length_m", "branch_diameter_mm", "branch_distance_m")


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A input that is a number. low, high, step : of its slider. least, most : what is accepted at all.

    unit : as in the input's name ("m", "°", "cm", …; "" without). label : as a person reads it.
    usual : what counts when the input is left alone; None where the advice says, or where nothing does.
    """

    low: float
    high: float
    step: float
    unit: str
    least: float
    most: float
    label: str
    usual: float | None = None
    whole: bool = False


def _limit(
    label: str,
    unit: str,
    slider: tuple[float, float, float],
    accepted: tuple[float, float] | None = None,
    usual: float | None = None,
    whole: bool = False,
) -> Limit:
    least, most = accepted or slider[:2]
    return Limit(
        low=slider[0], high=slider[1], step=slider[2], unit=unit, least=least, most=most,
        label=label, usual=usual, whole=whole,
    )  # fmt: skip


LIMITS: dict[str, Limit] = {
    # how it is hung
    "height_m": _limit("lens height", "m", (0.2, 6, 0.05), (0.05, 30)),
    "heading_deg": _limit("heading, true", "°", (0, 360, 5)),
    "aim_distance_m": _limit("distance of the aim point", "m", (1, 30, 0.5), (0.5, 200)),
    "highest_m": _limit("as high as you can work", "m", (1, 8, 0.1), (0.3, 30)),
    "case_height_mm": _limit("height of the case", "mm", (80, 250, 5), (30, 600), 130),
    "herd": _limit("animals at once", "", (1, 60, 1), (1, 1000), 1, whole=True),
    "patch_near_m": _limit("near edge of the ground watched", "m", (1, 30, 0.5), (0.5, 199)),
    "patch_far_m": _limit("far edge of the ground watched", "m", (2, 60, 0.5), (0.6, 200)),
    "patch_width_m": _limit("width of the ground watched", "m", (1, 60, 0.5), (0.5, 400)),
    "air_cold_c": _limit("coldest usual air", "°C", (-40, 30, 1), (-60, 60), -5),
    "air_warm_c": _limit("warmest usual air", "°C", (-20, 45, 1), (-60, 60), 25),
    # the place
    "slope_deg": _limit("slope away from the camera", "°", (-30, 30, 1), (-60, 60), 0),
    "path_bearing_deg": _limit("bearing of the path, true", "°", (0, 360, 5)),
    "declination_deg": _limit("declination, east positive", "°", (-30, 30, 0.5), (-180, 180)),
    "offset_m": _limit("from tree or post to the path", "m", (0.5, 20, 0.5), (0.3, 200), 4),
    "canopy_percent": _limit("canopy", "%", (0, 100, 5)),
    "tree_diameter_cm": _limit("thickness of tree or post", "cm", (5, 80, 1), (1, 500)),
    "tree_height_m": _limit("height of the tree", "m", (2, 40, 1), (0.5, 120)),
    "tree_lean_deg": _limit("lean of the tree", "°", (0, 30, 1), (0, 60), 0),
    "branch_height_m": _limit("lowest branch: height of its tip", "m", (0.5, 6, 0.1), (0.1, 30)),
    "branch_length_m": _limit("lowest branch: length", "m", (0.3, 5, 0.1), (0.1, 20), BRANCH_LENGTH_M),
    "branch_diameter_mm": _limit("lowest branch: thickness", "mm", (5, 120, 5), (2, 600), BRANCH_DIAMETER_MM),
    "branch_distance_m": _limit("lowest branch: from the lens", "m", (0.5, 10, 0.5), (0.2, 50), 2),
    # who comes
    "speed_mps": _limit("speed", "m/s", (0.3, 10, 0.1), (0.05, 30)),
    # what it is for
    "triggers": _limit("triggers a day", "", (0, 300, 1), (0, 5000), 10),
    "night_share": _limit("share of them by night", "", (0, 1, 0.05), None, 0.5),
    "days": _limit("days until the next visit", "", (1, 365, 1), (0.5, 1500), 60),
    "card_gb": _limit("card", "GB", (4, 256, 4), (0.1, 4000), 32),
}
SNOW_MOST_M = 20.0

WORDS: dict[str, tuple[str, ...]] = {
    "holder": get_args(Holder),
    "feature": get_args(Feature),
    "side": get_args(Side),
    "cover": get_args(Cover),
    "aim": get_args(Aim),
    "pace": tuple(PACES),
}
YES_NO = ("tree_dead", "post", "branch_evergreen")
LISTS = ("months", "snow_m")
TEXTS = ("horizon",)
KEYS: tuple[str, ...] = (*LIMITS, *WORDS, *YES_NO, *LISTS, *TEXTS)

_WISH = ("triggers", "night_share", "days", "card_gb")
_GROUND = ("slope_deg", "path_bearing_deg", "offset_m", "canopy_percent")
_MOUNT = ("height_m", "heading_deg", "aim_distance_m", "highest_m", "case_height_mm", "patch_width_m")
_USUAL_AIR_C = Mount().air_c


@dataclass(frozen=True, kw_only=True)
class Read:
    """What inputs say, as the records that the models take. passer : the animal at the pace entered.

    pace : of `PACES`. speed_mps : the one speed entered, or None. declination_deg : how far magnetic north
    lies east of true north at the place; None where nobody looked it up.
    """

    ground: SiteGround
    mount: Mount
    wish: Wish
    passer: Passer
    pace: str = "usual"
    speed_mps: float | None = None
    declination_deg: float | None = None

    @property
    def animal(self) -> Animal:
        """The animal that is expected."""
        return self.wish.animal


def checked(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Only the inputs that are set, each of its type and within its limits.

    Raises WrongInput that names the input.
    """
    if not isinstance(inputs, Mapping):
        raise WrongInput("inputs", got=type(inputs).__name__, needed='names with values, as {"height_m": 0.8}')
    good: dict[str, Any] = {}
    for key, value in inputs.items():
        if key not in KEYS:
            name = str(key)[:40]
            name = name if name and name.isprintable() else repr(name)
            raise WrongInput(name, got="a input that there is not", needed="one of " + ", ".join(KEYS))
        if value is None:
            continue
        if key in LIMITS:
            good[key] = _number(key, value)
        elif key in WORDS:
            if not isinstance(value, str) or value not in WORDS[key]:
                raise WrongInput(key, got=_short(value), needed="one of " + ", ".join(WORDS[key]))
            good[key] = value
        elif key in YES_NO:
            if not isinstance(value, bool):
                raise WrongInput(key, got=_short(value), needed="true or false")
            good[key] = value
        elif key == "months":
            good[key] = _months(value)
        elif key == "snow_m":
            good[key] = _snow(value)
        else:
            if not isinstance(value, str) or len(value) > 10_000:
                raise WrongInput(key, got=_short(value), needed="text: bearing and height in pairs, as 90 12, 120 18")
            good[key] = value
    return good


def _short(value: object) -> object:
    """A wrong value, short enough for a message."""
    if isinstance(value, int | float):
        if not abs(value) < 1e15:
            return "no fitting number"
        return float(f"{value:.6g}") if isinstance(value, float) else value
    return value[:60] if isinstance(value, str) else type(value).__name__


def _number(key: str, value: object) -> float:
    limit = LIMITS[key]
    kind = "a whole number" if limit.whole else "a number"
    needed = f"{kind} from {limit.least:g} to {limit.most:g}" + (f" {limit.unit}" if limit.unit else "")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongInput(key, got=_short(value), needed=needed)
    # Whole numbers of any length compare with floats exactly; only a fitting one is made a float.
    if (isinstance(value, float) and not math.isfinite(value)) or not limit.least <= value <= limit.most:
        raise WrongInput(key, got=_short(value), needed=needed)
    if limit.whole and value != int(value):
        raise WrongInput(key, got=value, needed=needed)
    return int(value) if limit.whole else float(value)


def _months(value: object) -> list[int]:
    needed = "a list of months from 1 to 12, at least one"
    if not isinstance(value, list | tuple) or not value or len(value) > 24:
        raise WrongInput("months", got=_short(value), needed=needed)
    for month in value:
        if isinstance(month, bool) or not isinstance(month, int) or not 1 <= month <= 12:
            raise WrongInput("months", got=_short(month), needed=needed)
    return sorted(set(value))


def _snow(value: object) -> list[float]:
    needed = f"twelve depths in metres, January first, 0 to {SNOW_MOST_M:g}; or an empty list"
    if not isinstance(value, list | tuple) or len(value) not in (0, 12):
        raise WrongInput("snow_m", got=_short(value), needed=needed)
    for depth in value:
        if isinstance(depth, bool) or not isinstance(depth, int | float) or not 0 <= depth <= SNOW_MOST_M:
            raise WrongInput("snow_m", got=_short(depth), needed=needed)
    return [float(depth) for depth in value]


def read(
    inputs: Mapping[str, Any],
    *,
    latitude_deg: float,
    longitude_deg: float,
    animal: Animal,
    sensitive: bool = False,
) -> Read:
    """The records that inputs stand for, at a place and for an animal.

    sensitive : whether the place is to be kept quiet. Raises WrongInput that names the input.
    """
    given = checked(inputs)
    numbers = {key: value for key, value in given.items() if key in LIMITS}
    near, far = numbers.get("patch_near_m"), numbers.get("patch_far_m")
    if (near is None) != (far is None):
        missing = "patch_near_m" if near is None else "patch_far_m"
        raise WrongInput(missing, got="nothing", needed="both edges of the ground watched, or neither")
    if near is not None and far is not None and not near < far:
        raise WrongInput("patch_far_m", got=far, needed=f"a distance beyond the near edge ({near:g} m)")
    cold = numbers.get("air_cold_c", min(_USUAL_AIR_C[0], numbers.get("air_warm_c", _USUAL_AIR_C[0])))
    warm = numbers.get("air_warm_c", max(_USUAL_AIR_C[1], cold))
    if cold > warm:
        raise WrongInput("air_warm_c", got=warm, needed=f"at least the coldest air ({cold:g} °C)")
    mount = Mount(
        **{key: numbers[key] for key in _MOUNT if key in numbers},
        holder=cast(Holder, given.get("holder", "trunk")),
        herd=int(numbers.get("herd", 1)),
        months=tuple(given.get("months", range(1, 13))),
        patch_m=(near, far) if near is not None and far is not None else None,
        air_c=(cold, warm),
    )
    ground = SiteGround(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        **{key: numbers[key] for key in _GROUND if key in numbers},
        feature=cast(Feature, given.get("feature", "trail")),
        side=cast("Side | None", given.get("side")),
        cover=cast(Cover, given.get("cover", "open")),
        trunk=_trunk(given),
        branch=_branch(given),
        horizon=Horizon.typed(given.get("horizon", "")),
        snow_m=tuple(given.get("snow_m", ())),
        sensitive=sensitive,
    )
    wish = Wish(
        **{key: numbers[key] for key in _WISH if key in numbers},
        aim=cast(Aim, given.get("aim", "species")),
        feature=ground.feature,
        animal=animal,
        cover=ground.cover,
        herd=mount.herd,
        air_c=warm,
    )
    pace, speed = given.get("pace", "usual"), numbers.get("speed_mps")
    if speed is not None and pace != "usual":
        raise WrongInput("pace", got=pace, needed="a pace or a speed, not both")
    return Read(
        ground=ground,
        mount=mount,
        wish=wish,
        passer=at_pace(animal, pace, speed),
        pace=pace,
        speed_mps=speed,
        declination_deg=numbers.get("declination_deg"),
    )


def at_pace(animal: Animal, pace: str = "usual", speed_mps: float | None = None) -> Passer:
    """An animal that only walks, trots or runs, or goes at one speed (with a usual spread about it)."""
    if pace not in PACES:
        raise WrongInput("pace", got=pace, needed="one of " + ", ".join(PACES))
    usual = animal.passer
    if speed_mps is not None:
        return replace(usual, gaits=(Gait(share=1.0, median_mps=speed_mps, sigma_ln=SPEED_SIGMA_LN),))
    if pace == "usual":
        return usual
    by_speed = sorted(usual.gaits, key=lambda gait: gait.median_mps)
    gait = by_speed[min(_PACE_ORDER.index(pace), len(by_speed) - 1)]
    return replace(usual, gaits=(replace(gait, share=1.0),))


def _trunk(given: Mapping[str, Any]) -> Trunk | None:
    post = given.get("post", given.get("holder") == "post")
    if "tree_diameter_cm" not in given:
        told = [key for key in TREE_INPUTS if given.get(key)]
        if told and told != ["post"]:
            raise WrongInput("tree_diameter_cm", got="nothing", needed=f"the thickness in cm, since {told[0]} is told")
        return None
    return Trunk(
        name="post" if post else "tree",
        diameter_cm=given["tree_diameter_cm"],
        height_m=given.get("tree_height_m"),
        lean_deg=given.get("tree_lean_deg", 0.0),
        dead=given.get("tree_dead", False),
        post=post,
    )


def _branch(given: Mapping[str, Any]) -> Branch | None:
    if "branch_height_m" not in given:
        told = [key for key in BRANCH_INPUTS if key in given]
        if told:
            raise WrongInput(
                "branch_height_m", got="nothing", needed=f"the height of its tip in m, since {told[0]} is told"
            )
        return None
    return Branch(
        height_m=given["branch_height_m"],
        length_m=given.get("branch_length_m", BRANCH_LENGTH_M),
        diameter_mm=given.get("branch_diameter_mm", BRANCH_DIAMETER_MM),
        distance_m=given.get("branch_distance_m", 2.0),
        evergreen=given.get("branch_evergreen", True),
    )


def plain(read: Read) -> dict[str, Any]:
    """The inputs that stand for these records, those at their usual value left out; fit for JSON.

    Reading them again, at the same place and for the same animal, gives the same records.
    """
    ground, mount, wish = read.ground, read.mount, read.wish
    found: dict[str, Any] = {
        "holder": mount.holder,
        "months": list(mount.months),
        "herd": mount.herd,
        "air_cold_c": mount.air_c[0],
        "air_warm_c": mount.air_c[1],
        "feature": ground.feature,
        "side": ground.side,
        "cover": ground.cover,
        "snow_m": list(ground.snow_m),
        "horizon": ground.horizon.text,
        "aim": wish.aim,
        "pace": read.pace,
        "speed_mps": read.speed_mps,
        "declination_deg": read.declination_deg,
    }
    found |= {key: getattr(mount, key) for key in _MOUNT}
    found |= {key: getattr(ground, key) for key in _GROUND}
    found |= {key: getattr(wish, key) for key in _WISH}
    if mount.patch_m is not None:
        found["patch_near_m"], found["patch_far_m"] = mount.patch_m
    if ground.trunk is not None:
        trunk = ground.trunk
        found["tree_diameter_cm"], found["tree_height_m"] = trunk.diameter_cm, trunk.height_m
        found["tree_lean_deg"], found["tree_dead"], found["post"] = trunk.lean_deg, trunk.dead, trunk.post
    if ground.branch is not None:
        branch = ground.branch
        found["branch_height_m"], found["branch_length_m"] = branch.height_m, branch.length_m
        found["branch_diameter_mm"], found["branch_distance_m"] = branch.diameter_mm, branch.distance_m
        found["branch_evergreen"] = branch.evergreen
    usual: dict[str, Any] = {key: limit.usual for key, limit in LIMITS.items()}
    usual |= {"holder": "trunk", "months": list(range(1, 13)), "feature": "trail", "cover": "open", "snow_m": []}
    usual |= {"horizon": "", "aim": "species", "pace": "usual", "tree_dead": False, "branch_evergreen": True}
    # A post that stands by itself in `holder` need not be told twice.
    usual["post"] = mount.holder == "post"
    return {key: value for key, value in found.items() if value is not None and value != usual.get(key)}
