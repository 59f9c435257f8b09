"""Which settings to set: pictures or clips, burst, delay, sensitivity, hours, size; and at what price.

A set of rules, each with its reason, laid open (`trod.telling.settings` words them): no score is learned. Most are
common practice or come out of our own simulation; what is published says so. The price in energy and card is
reckoned from the camera's own figures (`energy.burst_energy_j`), for the passes a day that the caller expects.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal, get_args

from trod.errors import WrongInput, positive
from trod.planning.catch.animals import Animal
from trod.planning.equipment.camera import CameraSpec
from trod.planning.equipment.energy import burst_energy_j
from trod.planning.ground.site import Cover, Feature
from trod.planning.place.advice import PASSED, STAYED
from trod.planning.place.facts import Basis

Aim = Literal["species", "herd", "composition", "hours", "individuals", "behaviour", "people"]
Mode = Literal["picture", "clip", "both"]
Sensitivity = Literal["low", "medium", "high", "auto"]

# A file of a picture and a second of a clip, until the first card tells; assumed, as in the endurance models.
DAY_MB, NIGHT_MB, CLIP_MB_S = 3.6, 2.0, 1.5
CLIP_DAY_W, CLIP_NIGHT_W = 1.6, 8.0
# Side of a trunk that counts as small (fox and below) or large (red deer and above) for the sensor.
SMALL_SIDE_M2, LARGE_SIDE_M2 = 0.3, 0.6


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What the camera is for and where.

    triggers : a day, as far as one can guess. night_share : of them by night. days : until
    the next visit. card_gb : SI gigabytes. air_c : usual warmest air.
    """

    aim: Aim
    feature: Feature
    animal: Animal
    cover: Cover = "open"
    herd: int = 1
    triggers: float = 10.0
    night_share: float = 0.5
    days: float = 60.0
    card_gb: float = 32.0
    air_c: float = 20.0

    def __post_init__(self) -> None:
        for what, value, words in (
            ("aim", self.aim, get_args(Aim)),
            ("feature", self.feature, get_args(Feature)),
            ("cover", self.cover, get_args(Cover)),
        ):
            if value not in words:
                raise WrongInput(what, got=value, needed="one of " + ", ".join(words))
        if not 0 <= self.night_share <= 1:
            raise WrongInput("night_share", got=self.night_share, needed="a share from 0 to 1")
        positive("triggers", self.triggers, needed="triggers a day, 0 or more", zero=True)
        positive("days", self.days)
        positive("card_gb", self.card_gb)
        if not 1 <= self.herd <= 1000:
            raise WrongInput("herd", got=self.herd, needed="1 to 1000 animals")


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """The settings as entered; names as a deployment carries them.

    burst : pictures a trigger. clip_s : length of a clip; 0 without. delay_s : between triggers.
    time_lapse_h : hours between time-lapse frames; None without. hours : (from, to) of the clock when the
    camera watches, (0, 24) all day. megapixels : None for the sensor's own.
    """

    mode: Mode = "picture"
    burst: int = 1
    clip_s: float = 0.0
    delay_s: float = 0.0
    sensitivity: Sensitivity = "high"
    time_lapse_h: float | None = 24.0
    hours: tuple[float, float] = (0.0, 24.0)
    megapixels: float | None = None


@dataclass(frozen=True, kw_only=True)
class Price:
    """What settings cost. wh_a_day : from the batteries. mb_a_day : on the card. card_days : until it is full."""

    wh_a_day: float
    mb_a_day: float
    card_days: float


SettingKey = Literal["mode", "burst", "delay", "sensitivity", "time_lapse", "hours", "size"]
# Why a setting is advised; each is one sentence in `trod.telling.settings`.
Reason = Literal[
    "motion shows", "sharp pictures", "pictures answer",
    "clips instead", "later frames catch", "three chances", "one a trigger",
    "herd stays", "animals stay", "next may follow",
    "weak signal", "plants sway", "high is usual",
    "count by the clock", "proves it worked",
    "says nothing asleep",
    "enlarged above", "own pixels", "may be enlarged",
]  # fmt: skip
Mind = Literal[
    "", "flash in clips", "two cameras", "burst limit", "shy visits", "swaying plants", "small missed", "sun and wind",
    "people",
]  # fmt: skip
Priced = Literal["priced", "nothing extra", "unknown", "only a card tells"]


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One input: what it sets, why, what to mind, and what it adds to the price against `instead`.

    change, instead : inputs by name, advised and plainest. wanted : pictures a burst, where the camera takes fewer.
    extra_wh, extra_mb : a day, more than with the plainest value of this input; None when there is no price for it, and
    then `priced` says why.
    """

    key: SettingKey
    reason: Reason
    change: Mapping[str, object]
    instead: Mapping[str, object] = field(default_factory=dict)
    mind: Mind = ""
    wanted: int = 0
    basis: Basis = "common practice"
    extra_wh: float | None = None
    extra_mb: float | None = None
    priced: Priced = "unknown"


@dataclass(frozen=True, kw_only=True)
class SettingsAdvice:
    """Settings for one wish. price : of them all; None when the caller's pricing could not tell."""

    wish: Wish
    inputs: Inputs
    settings: tuple[Setting, ...]
    price: Price | None

    @property
    def full_too_soon(self) -> bool:
        """Whether the card is full before the next visit."""
        return self.price is not None and self.price.card_days < self.wish.days

    def setting(self, key: str) -> Setting:
        """One input by its key. Raises WrongInput."""
        for setting in self.settings:
            if setting.key == key:
                return setting
        raise WrongInput("key", got=key, needed="one of " + ", ".join(s.key for s in self.settings))


Pricing = Callable[[CameraSpec, Inputs, Wish], Price | None]


def price_of(spec: CameraSpec, inputs: Inputs, wish: Wish) -> Price:
    """Energy and card room of a day, from the camera's own energies and the triggers expected.

    Notes : idle power all day; each trigger wakes once, then takes its burst or its clip; the delay thins
    triggers that come close together (`thinned`). Sizes of files are assumed until a card tells. The batteries'
    own limits (cold, age) belong to the endurance forecast.
    """
    watched = ((inputs.hours[1] - inputs.hours[0]) % 24 or 24.0) / 24
    triggers = thinned(wish.triggers, inputs.delay_s, stays=wish.feature in STAYED) * watched
    night = wish.night_share
    wake, day_j, night_j = (spec.value(name) for name in ("wake_j", "day_frame_j", "night_frame_j"))
    shots = inputs.burst if inputs.mode != "clip" else 0
    if shots:
        energy = (1 - night) * burst_energy_j(frames=shots, wake_j=wake, frame_j=day_j)
        energy += night * burst_energy_j(frames=shots, wake_j=wake, frame_j=night_j)
    else:
        energy = wake
    clip = inputs.clip_s if inputs.mode != "picture" else 0.0
    energy += clip * ((1 - night) * CLIP_DAY_W + night * CLIP_NIGHT_W)
    picture_mb = (1 - night) * DAY_MB + night * NIGHT_MB
    lapses = 24 * watched / inputs.time_lapse_h if inputs.time_lapse_h else 0.0
    joules = 86.4 * spec.value("idle_mw") + triggers * energy + lapses * (wake + day_j)
    megabytes = triggers * (shots * picture_mb + clip * CLIP_MB_S) + lapses * DAY_MB
    full = wish.card_gb * 1000 * 0.995 / megabytes if megabytes > 0 else float("inf")
    return Price(wh_a_day=joules / 3600, mb_a_day=megabytes, card_days=full)


def thinned(triggers: float, delay_s: float, *, stays: bool) -> float:
    """Triggers a day that are left with a delay.

    Where animals pass, triggers come singly and a delay changes nothing here. Where they stay, a visit gives
    a train of them; our simulation of six-minute visits gave 13.2, 8.3, 4.3 and 1.7 triggers a visit for
    delays of 1, 10, 60 and 300 s. `triggers` is what comes with 10 s.
    """
    if not stays:
        return triggers
    steps = ((1.0, 13.2), (10.0, 8.3), (60.0, 4.3), (300.0, 1.7))
    if delay_s <= steps[0][0]:
        return triggers * steps[0][1] / 8.3
    for (d0, n0), (d1, n1) in pairwise(steps):
        if delay_s <= d1:
            return triggers * (n0 + (n1 - n0) * (delay_s - d0) / (d1 - d0)) / 8.3
    return triggers * max(1.0, steps[-1][1] * steps[-1][0] / delay_s) / 8.3


def advise(spec: CameraSpec, wish: Wish, *, pricing: Pricing | None = price_of) -> SettingsAdvice:
    """Settings for a wish, input by input.

    pricing : reckons the price; the endurance forecast may be handed in. With None, or where it returns
    None, prices stay None and each setting says so.
    """
    inputs = Inputs()
    chosen = _choose(spec, wish)
    for one in chosen:
        inputs = replace(inputs, **one.change)  # type: ignore[arg-type]
    total = pricing(spec, inputs, wish) if pricing is not None else None
    priced = []
    for one in chosen:
        if one.key == "size" and one.change:
            priced.append(replace(one, priced="only a card tells"))
        elif total is None or pricing is None:
            priced.append(one)
        elif not one.instead or one.instead == one.change:
            priced.append(replace(one, extra_wh=0.0, extra_mb=0.0, priced="nothing extra"))
        else:
            plainer = replace(inputs, **one.instead)  # type: ignore[arg-type]
            other = pricing(spec, plainer, wish)
            if other is None:
                priced.append(one)
                continue
            wh, mb = total.wh_a_day - other.wh_a_day, total.mb_a_day - other.mb_a_day
            priced.append(replace(one, extra_wh=wh, extra_mb=mb, priced="priced"))
    return SettingsAdvice(wish=wish, inputs=inputs, settings=tuple(priced), price=total)


def _choose(spec: CameraSpec, wish: Wish) -> list[Setting]:
    return [
        _mode(wish),
        _burst(spec, wish),
        _delay(wish),
        _sensitivity(wish),
        _time_lapse(wish),
        _hours(wish),
        _size(spec),
    ]


def _mode(wish: Wish) -> Setting:
    pictures = {"mode": "picture"}
    if wish.aim == "behaviour":
        return Setting(
            key="mode",
            reason="motion shows",
            change={"mode": "clip", "clip_s": 15.0},
            instead={"mode": "picture", "clip_s": 0.0, "burst": 3},
            mind="flash in clips" if wish.night_share > 0.2 else "",
        )
    if wish.aim == "individuals":
        mind: Mind = "two cameras" if wish.feature in PASSED else ""
        return Setting(key="mode", reason="sharp pictures", change=pictures, mind=mind)
    return Setting(key="mode", reason="pictures answer", change=pictures)


def _burst(spec: CameraSpec, wish: Wish) -> Setting:
    if wish.aim == "behaviour":
        return Setting(key="burst", reason="clips instead", change={"burst": 1})
    basis: Basis
    reason: Reason
    if wish.feature in PASSED:
        wanted, basis, reason = 3, "our model", "later frames catch"
    elif wish.aim in ("composition", "individuals", "herd"):
        wanted, basis, reason = 3, "common practice", "three chances"
    else:
        wanted, basis, reason = 1, "published", "one a trigger"
    burst = min(wanted, int(spec.value("burst_max")))
    return Setting(
        key="burst",
        reason=reason,
        change={"burst": burst},
        instead={"burst": 1},
        mind="burst limit" if burst < wanted else "",
        wanted=wanted,
        basis=basis,
    )


def _delay(wish: Wish) -> Setting:
    ten = {"delay_s": 10.0}
    if wish.aim in ("herd", "composition") and wish.feature not in PASSED:
        return Setting(key="delay", reason="herd stays", change={"delay_s": 120.0}, instead=ten, basis="our model")
    if wish.feature in STAYED and wish.aim != "people":
        return Setting(
            key="delay",
            reason="animals stay",
            change={"delay_s": 60.0},
            instead=ten,
            mind="shy visits",
            basis="our model",
        )
    return Setting(key="delay", reason="next may follow", change={"delay_s": 0.0}, basis="published")


def _sensitivity(wish: Wish) -> Setting:
    side = wish.animal.body.side_area_m2
    swaying = wish.cover in ("tall grass", "scrub")
    mind: Mind = "swaying plants" if swaying else ""
    high = {"sensitivity": "high"}
    if side < SMALL_SIDE_M2:
        return Setting(key="sensitivity", reason="weak signal", change=high, mind=mind, basis="our model")
    if swaying and side > LARGE_SIDE_M2 and wish.air_c < 20 and wish.aim != "species":
        return Setting(
            key="sensitivity",
            reason="plants sway",
            change={"sensitivity": "medium"},
            mind="small missed",
            basis="our model",
        )
    mind = mind or ("sun and wind" if wish.air_c > 25 else "")
    return Setting(key="sensitivity", reason="high is usual", change=high, mind=mind, basis="published")


def _time_lapse(wish: Wish) -> Setting:
    if wish.aim in ("herd", "composition") and wish.feature in STAYED:
        hourly, daily = {"time_lapse_h": 1.0}, {"time_lapse_h": 24.0}
        return Setting(key="time_lapse", reason="count by the clock", change=hourly, instead=daily)
    return Setting(
        key="time_lapse",
        reason="proves it worked",
        change={"time_lapse_h": 24.0},
        instead={"time_lapse_h": None},
        basis="published",
    )


def _hours(wish: Wish) -> Setting:
    seen = wish.feature in ("trail", "road") or wish.aim == "people"
    return Setting(
        key="hours", reason="says nothing asleep", change={"hours": (0.0, 24.0)}, mind="people" if seen else ""
    )


def _size(spec: CameraSpec) -> Setting:
    own = spec.measured
    if not (own.columns and own.rows):
        return Setting(key="size", reason="may be enlarged", change={})
    if (spec.enlarged() or 1.0) > 1.1:
        mega = {"megapixels": own.columns * own.rows / 1e6}
        return Setting(key="size", reason="enlarged above", change=mega, basis="our model")
    return Setting(key="size", reason="own pixels", change={})
