"""A setup in words: what to set, what it gives, how to try it, what to mind, what it supposes."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

from trod.planning.catch.animals import Animal
from trod.planning.catch.walkby import Chances, Estimate, in_words
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place import mounting
from trod.planning.place.advice import PASSED, PlacementAdvice
from trod.planning.place.facts import Minded, WedgeFact
from trod.planning.place.inputs import PACES, Read
from trod.planning.place.setup import Light, Outcome, Setup, usual_air_c, work_out_setup
from trod.planning.place.steps import WalkStep
from trod.telling import measures, placement, settings
from trod.telling.measures import figure, length, to_step
from trod.telling.ranking import NAMES
from trod.units import System

LIGHTS: dict[Light, str] = {"day": "By day", "night": "By night"}


@dataclass(frozen=True, kw_only=True)
class CameraSetting:
    """One value to set or to hang by. hint : how, "" when there is nothing to say."""

    key: str
    label: str
    value: str
    hint: str = ""


@dataclass(frozen=True, kw_only=True)
class SetupTold:
    """A setup as it is told. sentence : what to do, and what it gives. advice : what to do alone.

    camera_settings, walk_test : in order. cautions : of this placement and its settings; usual_cautions : of such
    places. assumed : what nobody told and was taken. pieces, settings : with their reasons. price : of all, a clause.
    """

    sentence: str
    advice: str
    day: str
    night: str
    camera_settings: tuple[CameraSetting, ...]
    walk_test: tuple[str, ...]
    cautions: tuple[str, ...]
    usual_cautions: tuple[str, ...]
    assumed: tuple[str, ...]
    pieces: tuple[placement.Piece, ...]
    settings: tuple[settings.SettingTold, ...]
    price: str


@dataclass(frozen=True, kw_only=True)
class ToldSetup(Setup):
    """A setup with its words. system : the reader's units."""

    system: System

    @cached_property
    def told(self) -> SetupTold:
        """All of it in words."""
        return told(self, self.system)


def work_out(spec: CameraSpec, read: Read, *, system: System, **how: Any) -> ToldSetup:
    """Work a setup out, with its words. how : as of `work_out_setup`. Raises WrongInput."""
    done = work_out_setup(spec, read, **how)
    return ToldSetup(**{one.name: getattr(done, one.name) for one in fields(done)}, system=system)


def told(setup: Setup, system: System) -> SetupTold:
    """All of a setup in the reader's units."""
    advice = placement.sentence(setup.advice, system)
    day = comes(setup.day)
    price = setup.settings.price
    return SetupTold(
        sentence=f"{advice} {day}",
        advice=advice,
        day=day,
        night=comes(setup.night),
        camera_settings=camera_settings(setup, system),
        walk_test=tuple(step(one, setup, system) for one in setup.walk_test),
        cautions=cautions(setup, system),
        usual_cautions=tuple(minded(key, battery=setup.spec.battery) for key in setup.minded),
        assumed=assumed(setup, system),
        pieces=placement.pieces(setup.advice, system),
        settings=settings.settings(setup.settings, system),
        price="" if price is None else settings.price(price),
    )


# --- what comes of it -----------------------------------------------------------------------------


def rows(outcome: Outcome) -> tuple[tuple[str, Estimate | None, str], ...]:
    """(label, estimate, kind) for a table; kind is "share", "pixels" or "number"."""
    if outcome.chances is not None:
        c = outcome.chances
        return (
            ("sets the camera off", c.triggered, "share"),
            ("in a picture", c.middle, "share"),
            ("whole in a picture", c.whole, "share"),
            ("empty, of its pictures", c.empty, "share"),
            ("cut off, of its pictures", c.cut, "share"),
            ("pixels along its body", c.pixels, "pixels"),
            ("triggers each time", c.triggers, "number"),
        )
    if outcome.visits is not None:
        v = outcome.visits
        return (
            ("in a picture, of the visits", v.seen, "share"),
            ("in view, of the pictures", v.in_view, "share"),
            ("triggers a visit", v.triggers, "number"),
            ("pictures a visit with it in them", v.pictures, "number"),
        )
    return ()


def comes(outcome: Outcome) -> str:
    """What comes of the animal, with no more digits than the model deserves."""
    light = LIGHTS[outcome.light]
    if outcome.chances is not None:
        return f"{light}: {passes(outcome.chances)}"
    if outcome.visits is not None:
        seen, triggers = in_words(outcome.visits.seen.value), outcome.visits.triggers.value
        return f"{light}: of 100 visits {seen} are in a picture; a visit fires the camera about {_times(triggers)}."
    return f"{light}: this camera has no flash and takes no pictures."


def passes(chances: Chances) -> str:
    """What comes of a hundred that pass; begins small, for it stands behind a colon."""
    off, seen, whole = (in_words(one.value) for one in (chances.triggered, chances.middle, chances.whole))
    empty = "" if chances.empty is None else f"; of 100 pictures {in_words(chances.empty.value)} are empty"
    return f"of 100 that pass, {off} set the camera off, {seen} are in a picture, {whole} are in one whole{empty}."


def _times(number: float) -> str:
    if number < 0.95:
        return f"{number:.1f} times"
    return "once" if number < 1.5 else f"{number:.0f} times"


# --- what to set ----------------------------------------------------------------------------------


def camera_settings(setup: Setup, system: System) -> tuple[CameraSetting, ...]:
    """What to hang and to set by, in order."""
    advice = setup.advice
    lens, away = length(advice.height_m, system), length(advice.aim_distance_m, system)
    found = [
        CameraSetting(key="height", label="Lens height", value=lens, hint="from the ground to the middle of the lens")
    ]
    if setup.path is not None:
        angle = placement.degrees(min(setup.path.angle_deg, 180 - setup.path.angle_deg))
        off = length(setup.path.offset_m, system)
        found += [
            CameraSetting(key="offset", label="From tree or post to the path", value=off),
            CameraSetting(key="angle", label="Axis to the path", value=f"about {angle}", hint="0° along it"),
        ]
    wedge = advice.fact("wedge")
    return (
        *found,
        CameraSetting(key="tilt", label="Tilt", value=placement.tilt(advice.tilt_deg)),
        CameraSetting(
            key="wedge",
            label="Wedge",
            value=placement.wedge(advice.wedge, system),
            hint=placement.wedge_why(wedge, system) if isinstance(wedge, WedgeFact) else "",
        ),
        heading(setup),
        CameraSetting(
            key="aim",
            label="Aim at a mark",
            value=f"{away} off, {length(advice.aim_height_m, system)} above the ground",
            hint="it stands in the middle of the picture",
        ),
        *(
            CameraSetting(key=one.key, label=one.label, value=one.value, hint=one.caution)
            for one in settings.settings(setup.settings, system)
        ),
    )


def heading(setup: Setup) -> CameraSetting:
    """Where the camera looks, by map and by compass."""
    heading_deg, east_deg = setup.advice.heading_deg, setup.read.declination_deg
    if heading_deg is None:
        hint = "tell the path's bearing, or take it on the spot"
        return CameraSetting(key="heading", label="Heading", value="not known", hint=hint)
    true = to_step(heading_deg, 5) % 360
    if east_deg is None:
        hint = (
            "a compass shows this less the declination of place and year (east positive): look it up, or set it on the "
            "compass"
        )
    else:
        shown = to_step(heading_deg - east_deg, 5) % 360
        hint = f"about {shown:03.0f}° on the compass, with the declination told ({east_deg:+.3g}°)"
    value = f"{true:03.0f}° true ({measures.wind(heading_deg)})"
    return CameraSetting(key="heading", label="Heading", value=value, hint=hint)


# --- how to try it --------------------------------------------------------------------------------


def step(one: WalkStep, setup: Setup, system: System) -> str:
    """One step of the walk test, as it is done."""
    return walk_step(one, setup.advice, setup.animal, system)


def walk_step(one: WalkStep, advice: PlacementAdvice, animal: Animal, system: System) -> str:
    """One step of the walk test of a placement for an animal."""
    pause = f"wait {_wait(one.wait_s)}"
    off = "" if one.offset_m is None else length(one.offset_m, system)
    run_up = length(one.run_up_m, system)
    if one.key == "clock":
        test = " For the test set the delay to none." if one.delayed else ""
        return (
            "Batteries and card in. Set the camera's clock to the second, by the time the reserve keeps for its cameras "
            f"(no change to summer time).{test}"
        )
    if one.key == "mark":
        towards = "" if advice.heading_deg is None else f" to the {measures.wind(advice.heading_deg)}"
        return (
            f"Put up a mark {length(advice.aim_distance_m, system)} off{towards}, its top "
            f"{length(advice.aim_height_m, system)} above the ground there. Turn and wedge the camera until the mark "
            "stands in the middle of its picture."
        )
    if one.key == "edge":
        beside = length(one.beside_m, system)
        reckoned = "hardly beside the axis"
        if one.beside_m >= mounting.CLOSE_M:
            reckoned = f"about {beside} to either side of the axis"
        return (
            f"At the mark's distance step slowly in from the left until it fires, {pause}, then from the right. "
            f"Reckoned: {reckoned}."
        )
    if one.key == "review":
        near_m = advice.ground.near_m
        ground = "" if math.isinf(near_m) else f"ground {placement.begins(near_m, system)} on, "
        return (
            f"Look at the pictures on the spot: the mark in the middle, {ground}the horizon level, no twig or grass "
            "near the lens, you in the picture each time it fired."
        )
    return {
        "board": "Hold a board with site and date, or a clock, before the lens until a picture is taken: it ties card, "
        "place and time together.",
        "along easy": f"Walk the path at an easy pace, from {run_up} before the mark to {run_up} past it. Note whether "
        f"it fired. Then {pause} and walk back.",
        "along brisk": "The same briskly, both ways: a second speed tells a slow trigger from a wide zone.",
        "near edge": _across("near", off, pause),
        "far edge": _across("far", off, pause),
        "low": f"Pass the mark on hands and knees: {_a(animal.name)} is lower than you and a weaker signal still.",
        "leave": f"{'Set the delay again, arm' if one.delayed else 'Arm'} the camera, see it go to sleep, lock it. Note "
        "what is different from this set-up sheet. Take the mark away.",
    }[one.key]


def _across(edge: str, off: str, pause: str) -> str:
    where = f"at the {edge} edge, {off} off"
    return f"Walk straight across the view {where}, at an easy pace. Note whether it fired, then {pause}."


def _wait(wait_s: float) -> str:
    if wait_s <= 90:
        return f"{max(5, math.ceil(wait_s / 5) * 5)} s"
    return f"{math.ceil(wait_s / 60)} min"


def _a(name: str) -> str:
    return ("an " if name[:1].lower() in "aeiou" else "a ") + name.lower()


# --- what to mind ---------------------------------------------------------------------------------

MINDED: dict[Minded, str] = {
    "ladder": "Ladder work: not alone, on firm ground, tied at the top, never against dead wood; your employer's rules "
    "and local law go before this.",
    "ladder footing": "Ladder: firm ground, footed or tied, three points of contact, nothing dead overhead, not in "
    "wind. Climbing is for people trained for it.",
    "den young": "At a den keep away while young are inside; many places forbid cameras there without a permit.",
    "den permit": "An occupied den or nest only with the permit that covers it.",
    "feeding permit": "Feeding, baiting and salt are forbidden or need a permit in many places: ask first.",
    "people": "People may be pictured: put up notice where the law asks for it and point away from public ways.",
    "sensitive": "A sensitive site: give its true place to nobody, and your own track too.",
    "tell somebody": "Tell somebody where you go and when you are back; keep to your employer's rule for working alone.",
    "look up": "Look up first: no dead or hanging branches over where you stand, and not in wind.",
    "road": "At the road: park off it, be seen, mind traffic and gates.",
    "water": "Water rises: hang the camera above the flood mark; wade nothing fast, deep or cold.",
    "ice": "Ice and snow: no table makes ice safe; in steep snow read the day's bulletin and do not go alone.",
    "animals": "Animals: look at the last pictures before you walk up, make a noise where no rule says otherwise, keep "
    "away from carcasses and young.",
    "hunting": "In hunting seasons ask first, wear a bright colour, do not walk in on a hunt.",
    "batteries": "Batteries{kind}: of one kind and age, as the maker says; a swollen, hot or leaking one is not used; "
    "take the dead ones home.",
    "privacy": "People who pass have a right to their pictures: notice where the law asks for it, no view of homes or "
    "public ways.",
}


def minded(key: Minded, *, battery: str = "") -> str:
    """What is minded at such a place. battery : the batteries' designation, "" when not known."""
    return MINDED[key].format(kind=f" ({battery})" if battery else "")


def cautions(setup: Setup, system: System) -> tuple[str, ...]:
    """What to mind with this placement and its settings, each once."""
    lines = [piece.caution for piece in placement.pieces(setup.advice, system) if piece.caution]
    lines += [minded(key) for key in setup.advice.minded]
    told_already = frozenset({"people"} & set(setup.advice.minded))
    lines += settings.cautions(setup.settings, system, but=told_already)
    return tuple(dict.fromkeys(lines))


# --- what it supposes -----------------------------------------------------------------------------


def assumed(setup: Setup, system: System) -> tuple[str, ...]:
    """What nobody told and was taken."""
    spec, read, ground = setup.spec, setup.read, setup.read.ground
    used = ["zone_deg", "range_m", "fov_deg", "trigger_s", "rearm_s", "burst_max", "columns"]
    if spec.flash != "none":
        used.append("flash_reach_m")
    origins = {name: spec.figure(name).origin for name in used}
    guessed = ", ".join(NAMES[name] for name, origin in origins.items() if origin == "assumed")
    claimed = ", ".join(NAMES[name] for name, origin in origins.items() if origin == "claimed")
    lines = []
    if guessed:
        lines.append(f"Nobody says the camera's {guessed}: usual figures are taken.")
    if claimed:
        lines.append(f"The maker's word, not measured: {claimed}.")
    lines.append(size(read.animal, system))
    if read.speed_mps is not None:
        lines.append(f"It is reckoned at {measures.speed(read.speed_mps, system)}, as entered.")
    elif read.pace != "usual":
        lines.append(f"It is reckoned {PACES[read.pace]}, as entered.")
    lines.append(_air(read, system))
    if ground.feature in PASSED and ground.path_bearing_deg is None:
        lines.append("The path's bearing is not known.")
    if not ground.horizon.points:
        lines.append("A level horizon and clear days for the sun.")
    if not ground.snow_m:
        lines.append("No snow was told of.")
    if setup.angles is None and ground.feature in PASSED:
        lines.append("The angle to the path is a rule; the simulation was not asked for this camera.")
    inputs = setup.settings.inputs
    if inputs.mode == "clip":
        lines.append("A clip is reckoned as a picture a second.")
    if inputs.sensitivity in ("low", "medium"):
        lines.append(f"Sensitivity {inputs.sensitivity} is taken to need a stronger signal by a guess of ours.")
    lines.append(triggers(read.wish.triggers, read.wish.night_share))
    return tuple(lines)


def _air(read: Read, system: System) -> str:
    cold, warm = (measures.air(air_c, system) for air_c in read.mount.air_c)
    return (
        f"Air from {cold} to {warm}; the chances are for {measures.air(usual_air_c(read), system)}. The sensor inside "
        "the camera is its maker's secret: a model of ours stands for it."
    )


def size(animal: Animal, system: System) -> str:
    """An animal's size and where that comes from."""
    low, high = (length(metres, system) for metres in animal.shoulder_m)
    span = low if low == high else f"{low} to {high}"
    what = "tall" if animal.build == "person" else "at the shoulder"
    source = f" ({animal.source})" if animal.source else ""
    return f"{animal.name}: {span} {what}, {animal.shoulder_from}{source}; its speeds are {animal.gaits_from}."


def triggers(a_day: float, night_share: float) -> str:
    """How many triggers are expected, and how many by night."""
    if a_day <= 0:
        return "No triggers are expected."
    nights = round(100 * night_share)
    by_night = {0: "none of them", 100: "all of them"}.get(nights, f"{nights} in 100 of them")
    often = "one trigger" if figure(a_day, 3) == "1" else f"{figure(a_day, 3)} triggers"
    return f"About {often} a day, {by_night} by night."
