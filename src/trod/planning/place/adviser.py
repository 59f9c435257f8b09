"""Which settings to set: pictures or clips, burst, delay, sensitivity, hours, size; and at what price.

A set of rules, each with its reason, laid open: no score is learned. Most are common practice or come out of
our own simulation; what is published says so. The price in energy and card is reckoned from the camera's
own figures (`energy.burst_energy_j`), for the passes a day that the caller expects.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal, get_args

from trod.errors import WrongInput, positive
from trod.planning.catch.animals import Animal
from trod.planning.equipment.camera import CameraSpec
from trod.planning.equipment.energy import burst_energy_j
from trod.planning.ground.site import Cover, Feature
from trod.planning.place.placement import GUIDELINES, PASSED, STAYED, Basis
from trod.planning.said import figure

Aim = Literal["species", "herd", "composition", "hours", "individuals", "behaviour", "people"]
AIMS: dict[Aim, str] = {
    "species": "which species come",
    "herd": "how many come at once",
    "composition": "juveniles or males to a hundred females",
    "hours": "when they come",
    "individuals": "which individuals come",
    "behaviour": "what they do",
    "people": "people where they should not be",
}
Mode = Literal["picture", "clip", "both"]
Sensitivity = Literal["low", "medium", "high", "auto"]

# A file of a picture and a second of a clip, until the first card tells; assumed, as in the endurance models.
DAY_MB, NIGHT_MB, CLIP_MB_S = 3.6, 2.0, 1.5
CLIP_DAY_W, CLIP_NIGHT_W = 1.6, 8.0
NO_PRICE = "not priced: nothing here reckons energy and card"
# Side of a trunk that counts as small (fox and below) or large (red deer and above) for the sensor.
SMALL_SIDE_M2, LARGE_SIDE_M2 = 0.3, 0.6


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What the camera is for and where.

    aim : see AIMS. triggers : a day, as far as one can guess. night_share : of them by night. days : until
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

    def __str__(self) -> str:
        return (
            f"about {_two(self.wh_a_day)} Wh and {_two(self.mb_a_day)} MB a day; the card is full in about "
            f"{_two(self.card_days)} days"
        )


def _days(value: float) -> str:
    if value < 0.95:
        return "less than a day"
    return "about a day" if figure(value) == "1" else f"about {figure(value)} days"


def _two(value: float) -> str:
    """Two figures."""
    return figure(value)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One input: its value as said, why, what to mind, and what it adds to the price against `instead`.

    extra_wh, extra_mb : a day, more than with the plainest value of this input; None when there is no price
    for it, and then `price` says why.
    """

    key: str
    label: str
    value: str
    reason: str
    caution: str = ""
    basis: Basis = "common practice"
    extra_wh: float | None = None
    extra_mb: float | None = None
    price: str = ""


@dataclass(frozen=True, kw_only=True)
class SettingsAdvice:
    """Settings for one wish. price : of them all; None when the caller's pricing could not tell."""

    inputs: Inputs
    settings: tuple[Setting, ...]
    price: Price | None
    cautions: tuple[str, ...]

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
    found: list[Setting] = []
    chosen = _choose(spec, wish)
    for one in chosen:
        inputs = replace(inputs, **one.change)  # type: ignore[arg-type]
        found.append(
            Setting(
                key=one.key,
                label=one.label,
                value=one.value,
                reason=one.reason,
                caution=one.caution,
                basis=one.basis,
            )
        )
    total = pricing(spec, inputs, wish) if pricing is not None else None
    priced = []
    for setting, one in zip(found, chosen, strict=True):
        if one.key == "size" and one.change:
            priced.append(replace(setting, price="not priced: only a card tells how large enlarged files are"))
        elif total is None:
            priced.append(replace(setting, price=NO_PRICE))
        elif not one.plain or one.plain == one.change:
            priced.append(replace(setting, extra_wh=0.0, extra_mb=0.0, price="costs nothing extra"))
        else:
            plainer = replace(inputs, **one.plain)  # type: ignore[arg-type]
            other = pricing(spec, plainer, wish) if pricing is not None else None
            if other is None:
                priced.append(replace(setting, price=NO_PRICE))
                continue
            wh, mb = total.wh_a_day - other.wh_a_day, total.mb_a_day - other.mb_a_day
            said = _extra(wh, mb, one.plain_said)
            priced.append(replace(setting, extra_wh=wh, extra_mb=mb, price=said))
    cautions = [s.caution for s in priced if s.caution]
    if total is not None and total.card_days < wish.days:
        cautions.insert(
            0,
            f"At this rate a card of {figure(wish.card_gb, 3)} GB is full in {_days(total.card_days)}, "
            f"before the next visit in {figure(wish.days, 3)}: take a larger card, a longer delay or fewer pictures a "
            "burst.",
        )
    return SettingsAdvice(inputs=inputs, settings=tuple(priced), price=total, cautions=tuple(dict.fromkeys(cautions)))


def _extra(wh: float, mb: float, plain: str) -> str:
    def one(value: float, unit: str) -> str:
        if abs(value) < 0.005:
            return f"hardly any {unit} more"
        return f"{_two(abs(value))} {unit} {'more' if value > 0 else 'less'}"

    return f"{one(wh, 'Wh')} and {one(mb, 'MB')} a day than with {plain}"


@dataclass(frozen=True, kw_only=True)
class _Choice:
    """A input before it is priced. change : what it sets; plain : its plainest value, for comparison."""

    key: str
    label: str
    value: str
    change: dict[str, object]
    reason: str
    plain: dict[str, object] = field(default_factory=dict)
    plain_said: str = ""
    caution: str = ""
    basis: Basis = "common practice"


def _choose(spec: CameraSpec, wish: Wish) -> list[_Choice]:
    return [
        _mode(wish),
        _burst(spec, wish),
        _delay(wish),
        _sensitivity(wish),
        _time_lapse(wish),
        _hours(wish),
        _size(spec),
    ]


def _mode(wish: Wish) -> _Choice:
    if wish.aim == "behaviour":
        return _Choice(
            key="mode",
            label="Pictures or clips",
            value="clips of 15 s",
            change={"mode": "clip", "clip_s": 15.0},
            plain={"mode": "picture", "clip_s": 0.0, "burst": 3},
            plain_said="a burst of three pictures",
            reason="What an animal does shows in motion.",
            caution="Clips by night draw the flash for their whole length." if wish.night_share > 0.2 else "",
        )
    if wish.aim == "individuals":
        return _Choice(
            key="mode",
            label="Pictures or clips",
            value="pictures",
            change={"mode": "picture"},
            reason="Marks and antlers are told on sharp single pictures; frames of a clip have fewer pixels.",
            caution="Two cameras that face each other show both flanks." if wish.feature in PASSED else "",
        )
    return _Choice(
        key="mode",
        label="Pictures or clips",
        value="pictures",
        change={"mode": "picture"},
        reason="Pictures answer this question, fill the card slowly and are quickly looked through.",
    )


def _burst(spec: CameraSpec, wish: Wish) -> _Choice:
    key, label = "burst", "Pictures a burst"
    if wish.aim == "behaviour":
        return _Choice(key=key, label=label, value="1", change={"burst": 1}, reason="Clips are taken instead.")
    basis: Basis
    if wish.feature in PASSED:
        wanted, basis = 3, "our model"
        reason = (
            "Where animals pass, a later picture of the burst catches the one that had not come in yet or "
            "shows "
            "the one behind it. One trigger with three pictures wakes the camera once, not three times."
        )
    elif wish.aim in ("composition", "individuals", "herd"):
        wanted, basis = 3, "common practice"
        reason = "Heads go up and animals step apart between pictures: three chances to see sex, age and number."
    else:
        wanted, basis = 1, "published"
        reason = f"The {GUIDELINES}, §7.2.3, take one picture a trigger."
    most = int(spec.value("burst_max"))
    burst = min(wanted, most)
    return _Choice(
        key=key,
        label=label,
        value=str(burst),
        change={"burst": burst},
        plain={"burst": 1},
        plain_said="one picture",
        reason=reason,
        caution=f"This camera takes {most} a burst at most; {wanted} would be better." if burst < wanted else "",
        basis=basis,
    )


def _delay(wish: Wish) -> _Choice:
    key, label = "delay", "Delay between triggers"
    ten = {"delay_s": 10.0}
    if wish.aim in ("herd", "composition") and wish.feature not in PASSED:
        return _Choice(
            key=key,
            label=label,
            value="about 2 min",
            change={"delay_s": 120.0},
            plain=dict(ten),
            plain_said="a delay of 10 s",
            reason="Animals stay. A picture every few minutes counts them as well as one every few "
            "seconds: more "
            "nights narrow the answer, more pictures of one night do not.",
            basis="our model",
        )
    if wish.feature in STAYED and wish.aim != "people":
        return _Choice(
            key=key,
            label=label,
            value="about 1 min",
            change={"delay_s": 60.0},
            plain=dict(ten),
            plain_said="a delay of 10 s",
            reason="Animals stay for minutes. In our simulation of six-minute visits even 300 s of delay "
            "loses "
            "about 2 visits in 100 and saves four pictures in five.",
            caution="Short visits of shy animals may be missed.",
            basis="our model",
        )
    return _Choice(
        key=key,
        label=label,
        value="none, or the shortest",
        change={"delay_s": 0.0},
        reason="The next animal may follow at once, and whoever passes is gone after a delay. "
        f"The {GUIDELINES}, §7.2.3, use no quiet period.",
        basis="published",
    )


def _sensitivity(wish: Wish) -> _Choice:
    key, label = "sensitivity", "Sensitivity"
    side = wish.animal.body.side_area_m2
    swaying = wish.cover in ("tall grass", "scrub")
    clear = "Swaying plants will fire the camera too: clear what you may." if swaying else ""
    if side < SMALL_SIDE_M2:
        return _Choice(
            key=key,
            label=label,
            value="high",
            change={"sensitivity": "high"},
            reason="A small body gives a weak signal. In our simulation a fox-sized animal 5 m off in air "
            "of about "
            "28 °C fires a camera on half sensitivity once in a hundred passes, on double nearly always.",
            caution=clear,
            basis="our model",
        )
    if swaying and side > LARGE_SIDE_M2 and wish.air_c < 20 and wish.aim != "species":
        return _Choice(
            key=key,
            label=label,
            value="medium",
            change={"sensitivity": "medium"},
            reason="A large warm body is sensed anyway, and plants that sway in the sun fire the camera less.",
            caution="Small animals will be missed: do not use these pictures to say which species come.",
            basis="our model",
        )
    return _Choice(
        key=key,
        label=label,
        value="high",
        change={"sensitivity": "high"},
        reason=f"The {GUIDELINES}, §7.2.3, usually use high. In warm air an animal hardly stands out.",
        caution=clear or ("In sun and wind expect pictures without an animal." if wish.air_c > 25 else ""),
        basis="published",
    )


def _time_lapse(wish: Wish) -> _Choice:
    if wish.aim in ("herd", "composition") and wish.feature in STAYED:
        return _Choice(
            key="time_lapse",
            label="Time lapse",
            value="a frame every hour",
            change={"time_lapse_h": 1.0},
            plain={"time_lapse_h": 24.0},
            plain_said="one frame a day",
            reason="Pictures at fixed times count without the sensor's choice, and show when nobody is there.",
        )
    return _Choice(
        key="time_lapse",
        label="Time lapse",
        value="one frame a day, at noon",
        change={"time_lapse_h": 24.0},
        plain={"time_lapse_h": None},
        plain_said="none",
        reason="Proves on each day that the camera worked; without it a silence cannot be told from no "
        "animals. "
        f"The {GUIDELINES}, §7.2.2, take at least one.",
        basis="published",
    )


def _hours(wish: Wish) -> _Choice:
    seen = wish.feature in ("trail", "road") or wish.aim == "people"
    return _Choice(
        key="hours",
        label="Hours of watch",
        value="all day and night",
        change={"hours": (0.0, 24.0)},
        reason="A camera that sleeps for part of the day says nothing of it, and animals change their hours.",
        caution="People may be pictured: put up notice where the law asks for it." if seen else "",
    )


def _size(spec: CameraSpec) -> _Choice:
    key, label, own = "size", "Picture size", spec.measured
    if own.columns and own.rows:
        mega = own.columns * own.rows / 1e6
        if (spec.enlarged() or 1.0) > 1.1:
            return _Choice(
                key=key,
                label=label,
                value=f"about {mega:.0f} megapixels, or the next step above",
                change={"megapixels": mega},
                reason="The sensor has no more of its own: a larger setting fills the card with pixels "
                "that show "
                "nothing.",
                basis="our model",
            )
        return _Choice(
            key=key,
            label=label,
            value="the largest",
            change={},
            reason="The sensor's own pixels, as measured.",
        )
    return _Choice(
        key=key,
        label=label,
        value="the sensor's own, not the largest on the box",
        change={},
        reason="Larger settings may be enlarged pictures. Measure the camera with the printed target to know.",
    )
