"""The chance that a hung camera catches an animal that passes, month by month, by day and by night, with its doubt.

The simulation of walk-bys gives the chance (`walkby`); this module turns it over the year by the air of each month and
asks how far it moves when what is put in is off by as much as it may well be: the camera's range, zone and trigger time,
how far off animals pass, how fast, how warm they look. It stays a modelled chance: no animal was counted for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from trod.planning.catch import walkby
from trod.planning.catch.animals import Animal
from trod.planning.catch.detection import CONTRAST_DOUBT_K, contrast_k
from trod.planning.catch.passers import Passer
from trod.planning.catch.walkby import Case
from trod.planning.equipment.camera import CameraSpec, Origin
from trod.planning.place import adviser, placement
from trod.planning.place.adviser import Inputs
from trod.planning.place.inputs import Read
from trod.planning.place.setup import LIGHTS, Light, case_for, path_of

Cause = Literal["range", "zone", "trigger", "path", "pace", "warmth", "model"]
PASSES = 4_096
# How far off a figure may well be, as a standard deviation of its logarithm, by where it comes from. All ours (assumed):
# a maker's range is of the best case, a walk test knows it to its grid's step.
DOUBT_LN: Mapping[Cause, Mapping[Origin, float]] = {
    "range": {"measured": 0.15, "claimed": 0.30, "assumed": 0.40},
    "zone": {"measured": 0.10, "claimed": 0.15, "assumed": 0.25},
    "trigger": {"measured": 0.10, "claimed": 0.30, "assumed": 0.50},
}
FIGURE_OF: Mapping[Cause, str] = {"range": "range_m", "zone": "zone_deg", "trigger": "trigger_s"}
PATH_LN = 0.25  # animals keep to no line; assumed
PACE_LN = 0.20  # of the medians of the table of animals, which are assumed
# What the model leaves out (cover, the bend of a path, an animal that stops short). Assumed: nothing here has been held
# against animals counted otherwise.
MODEL_LN = 0.15


@dataclass(frozen=True, kw_only=True)
class Caught:
    """The chance in one month by one light.

    month : 1 to 12. effects : by cause, how far one standard deviation of it moves ln(value), with its sign.
    """

    month: int
    light: Light
    value: float
    effects: Mapping[Cause, float]


def by_month(spec: CameraSpec, read: Read, animal: Animal, hung: Inputs | None = None) -> tuple[Caught, ...] | None:
    """The chance that an animal that passes is in some picture with its middle, for each month and light.

    hung : the settings as they are; as advised without them. None where animals stay rather than pass.
    Notes : the air goes as a cosine from the coldest usual in January (in the south July) to the warmest half a year
    later: common practice. Between three airs ln(chance) is drawn as a line, between both ends its effects.
    """
    settings = adviser.advise(spec, read.wish)
    if hung is not None:
        settings = replace(settings, inputs=hung)
    advice = placement.work_out(spec, read.ground, read.animal, read.mount)
    path = path_of(advice, read)
    if path is None:
        return None
    out = []
    for light in LIGHTS:
        case = case_for(spec, read, advice, settings, light=light, animal=animal, path=path)
        if case is None:  # without a flash nothing is caught by night
            out += [Caught(month=month, light=light, value=0.0, effects={}) for month in range(1, 13)]
            continue
        assert isinstance(case, Case)
        out += _year(case, spec, read, light)
    return tuple(out)


def _year(case: Case, spec: CameraSpec, read: Read, light: Light) -> list[Caught]:
    cold, warm = read.mount.air_c
    airs = (cold, (cold + warm) / 2, warm)
    logs = [math.log(max(_chance(replace(case, contrast_k=contrast_k(air))), 1e-6)) for air in airs]
    at_cold, at_warm = (_effects(case, spec, air) for air in (cold, warm))
    south = read.ground.latitude_deg < 0
    out = []
    for month in range(1, 13):
        turn = -math.cos(2 * math.pi * (month - 1) / 12) * (-1 if south else 1)  # -1 coldest, 1 warmest
        near = logs[2] if turn > 0 else logs[0]
        value = math.exp(logs[1] + abs(turn) * (near - logs[1]))
        share = (1 + turn) / 2
        effects = {cause: (1 - share) * at_cold[cause] + share * at_warm[cause] for cause in at_cold}
        out.append(Caught(month=month, light=light, value=min(value, 1.0), effects=effects))
    return out


def _effects(case: Case, spec: CameraSpec, air_c: float) -> dict[Cause, float]:
    """How far one deviation of each cause moves ln(chance): half of what lies between a step up and a step down."""
    usual = replace(case, contrast_k=contrast_k(air_c))
    sensor, timing, path = usual.sensor, usual.timing, usual.path

    def step(figure: Cause) -> float:
        return DOUBT_LN[figure][spec.figure(FIGURE_OF[figure]).origin]

    turned: dict[Cause, tuple[float, Callable[[float], Case]]] = {
        "range": (step("range"), lambda f: replace(usual, sensor=replace(sensor, range_m=sensor.range_m * f))),
        "zone": (
            step("zone"),
            lambda f: replace(usual, sensor=replace(sensor, zone_deg=min(max(sensor.zone_deg * f, 1.0), 170.0))),
        ),
        "trigger": (step("trigger"), lambda f: replace(usual, timing=replace(timing, trigger_s=timing.trigger_s * f))),
        "path": (PATH_LN, lambda f: replace(usual, path=replace(path, offset_m=max(path.offset_m * f, 0.31)))),
        "pace": (PACE_LN, lambda f: replace(usual, passer=_faster(usual.passer, f))),
        "warmth": (
            CONTRAST_DOUBT_K / usual.contrast_k,
            lambda f: replace(usual, contrast_k=usual.contrast_k * f),
        ),
    }
    effects: dict[Cause, float] = {"model": MODEL_LN}
    for cause, (far, make) in turned.items():
        more, less = _chance(make(math.exp(far))), _chance(make(math.exp(-far)))
        effects[cause] = (math.log(max(more, 1e-6)) - math.log(max(less, 1e-6))) / 2
    return effects


def _faster(passer: Passer, factor: float) -> Passer:
    return replace(
        passer, gaits=tuple(replace(gait, median_mps=gait.median_mps * factor) for gait in passer.gaits)
    )  # fmt: skip


@lru_cache(maxsize=16_384)
def _chance(case: Case) -> float:
    return walkby.first_answer(case, passes=PASSES).middle.value
