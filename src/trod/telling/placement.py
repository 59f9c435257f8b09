"""A placement in words: each fact with its value, its reason and its caution, and the sentence to act on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import singledispatch

from trod.planning.place import facts, mounting
from trod.planning.place.advice import GUIDELINES, PlacementAdvice
from trod.planning.place.facts import Basis, Fact
from trod.planning.place.mounting import SnowLimits, TrunkRank, Wedge
from trod.telling import glare, herds, measures
from trod.telling.measures import length, to_step
from trod.units import System

SHALLOW_M = 0.025  # of snow or of a branch that sinks; less is none


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One fact as it is told. value : large; reason : beside it; caution : "" when there is none.

    low, high : the span in `unit` when it is a number; equal when it is one value.
    """

    key: str
    label: str
    value: str
    reason: str
    caution: str = ""
    low: float | None = None
    high: float | None = None
    unit: str = ""
    basis: Basis = "geometry"


def pieces(advice: PlacementAdvice, system: System) -> tuple[Piece, ...]:
    """All facts of a placement, as they are told."""
    return tuple(piece(fact, system) for fact in advice.facts)


@singledispatch
def piece(fact: Fact, system: System) -> Piece:
    """One fact, as it is told."""
    raise TypeError(f"no words for {type(fact).__name__}")


# --- angle, distance, height ----------------------------------------------------------------------


def degrees(value_deg: float) -> str:
    """An angle to 5°, as it can be set."""
    return f"{to_step(value_deg, 5):.0f}°"


def angles(fact: facts.AngleFact) -> str:
    """The angles that serve."""
    low, high = degrees(fact.low_deg), degrees(fact.high_deg)
    return f"between about {low} and {high}" if low != high else f"about {degrees(fact.best_deg)}"


@piece.register
def _(fact: facts.AngleFact, system: System) -> Piece:
    if fact.chance is not None and fact.across is not None:
        gain = (
            f"In the simulation about {10 * fact.chance:.0f} in 10 that pass are caught whole at this angle, and "
            f"about {10 * fact.across:.0f} in 10 straight across."
        )
    else:
        gain = "A rule read off our own simulation, by the path's distance; run the simulation for this camera."
    asked = fact.asked_deg
    return Piece(
        key=fact.key,
        label="Angle to the path",
        value=angles(fact),
        reason=f"A slant keeps a moving animal longer in the picture than a view straight across. {gain} The "
        f"{GUIDELINES}, §7.4.4, aim straight across; keep to your survey's protocol if it says so.",
        caution=""
        if asked is None
        else f"The heading asked for makes about {degrees(asked)} with the path, outside what is advised.",
        low=fact.low_deg,
        high=fact.high_deg,
        unit="°",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.DistanceFact, system: System) -> Piece:
    away = length(fact.distance_m, system)
    if fact.why == "asked":
        reason = "As asked."
    elif fact.why == "path":
        reason = f"The path lies {length(fact.path_m, system)} off; at this angle the axis meets it about {away} away."
    elif fact.why == "patch" and fact.patch_m is not None:
        near, far = (length(edge_m, system) for edge_m in fact.patch_m)
        reason = f"Between the near edge ({near}) and the far edge ({far}) of the ground."
    else:
        reason = "Where the animals are expected to stand."
    caution = ""
    if fact.far_by_night:
        caution = (
            f"The {GUIDELINES}, §7.4.1 and 7.4.3, aim at {length(3.0, system)} to {length(5.0, system)} so that night "
            "animals are lit; hang the camera nearer to the path if it can be."
        )
    return Piece(
        key=fact.key,
        label="Aim point",
        value=f"about {away} away",
        reason=reason,
        caution=caution,
        low=fact.distance_m,
        high=fact.distance_m,
        unit="m",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.HeightFact, system: System) -> Piece:
    if fact.why == "asked":
        reason = "As asked."
    elif fact.why == "herd" and fact.pays is not None:
        reason = (
            f"Near animals hide far ones from a low lens. {herds.pays(fact.pays, system)} Common practice over a herd "
            f"is {length(2.5, system)} to {length(4.0, system)}."
        )
    elif fact.why == "trunk":
        reason = (
            f"At the height of its trunk (about {length(fact.trunk_m, system)}), within the {length(0.3, system)} to "
            f"{length(1.0, system)} of common practice."
        )
    else:
        reason = "As high as one can work, so that near animals hide fewer."
    clear = length(mounting.LENS_CLEAR_M, system)
    if fact.clear_of_snow:
        reason = f"{reason} Raised to stay {clear} clear of the usual snow."
    caution = ""
    if fact.beyond_m is not None:
        caution = (
            f"Higher than can be worked at here ({length(fact.beyond_m, system)}): take a ladder, or raise the camera "
            "on a later visit."
        )
    elif fact.snow_near_m is not None:
        caution = (
            f"The usual snow of {length(fact.snow_near_m, system)} comes within {clear} of the lens or over it: hang it "
            "higher or raise it before winter."
        )
    return Piece(
        key=fact.key,
        label="Lens height",
        value=f"about {length(fact.height_m, system)}",
        reason=reason,
        caution=caution,
        low=fact.height_m,
        high=fact.height_m,
        unit="m",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.HerdFact, system: System) -> Piece:
    label, basis = "Herd seen", fact.basis
    if fact.hidden is not None:
        why = herds.hidden(fact.hidden, system)
        return Piece(key=fact.key, label=label, value="too few to count", reason=why, caution=why, basis=basis)
    if fact.seen is None:
        why = f"The table of herds does not reach here ({fact.beyond_table})."
        return Piece(key=fact.key, label=label, value="not known", reason=why, basis=basis)
    share = fact.seen.share
    return Piece(
        key=fact.key,
        label=label,
        value=f"about {10 * share:.0f} in 10" if share < 0.95 else "nearly all",
        reason=f"{herds.seen(fact.seen, system)} Legs, fodder and bunching are not in the model.",
        low=share,
        high=share,
        basis=basis,
    )


# --- tilt, wedge, ground --------------------------------------------------------------------------


def tilt(tilt_deg: float) -> str:
    """A tilt as it is set: "7° down"."""
    return f"{abs(tilt_deg):.0f}° {'down' if tilt_deg >= 0 else 'up'}" if abs(tilt_deg) >= 0.5 else "level"


def wedge(found: Wedge, system: System) -> str:
    """A wedge as it is set: "25 mm behind the top of the case"."""
    if found.behind == "none":
        return "none"
    return f"{measures.thickness(found.thickness_mm, system)} behind the {found.behind} of the case"


def wedge_why(fact: facts.WedgeFact, system: System) -> str:
    """What the wedge does."""
    return f"Tilts a case {measures.thickness(fact.case_height_mm, system)} high on an upright trunk by that much."


def about(value: str, *, unless: str) -> str:
    """A value as one that is not exact, but for the word that is."""
    return value if value == unless else f"about {value}"


@piece.register
def _(fact: facts.TiltFact, system: System) -> Piece:
    aim, away = length(fact.aim_height_m, system), length(fact.distance_m, system)
    if fact.why == "both edges":
        reason = "So that the near edge of the ground and the backs at its far edge are both in the picture."
    elif fact.why == "far edge":
        near = length(fact.near_m, system)
        reason = f"So that the backs at the far edge are in the picture; ground nearer than {near} is not."
    else:
        reason = f"So that a point {aim} above the ground about {away} away is in the middle."
    cautions = []
    if fact.lean_deg is not None:
        cautions.append(f"The trunk leans by {fact.lean_deg:.0f}°: add or take that off, and check with a level.")
    if fact.upward:
        cautions.append(
            f"The camera looks up the slope. The {GUIDELINES}, §7.4.2, never tilt up: check the first pictures for sky."
        )
    return Piece(
        key=fact.key,
        label="Tilt",
        value=about(tilt(fact.tilt_deg), unless="level"),
        reason=reason,
        caution=" ".join(cautions),
        low=fact.tilt_deg - fact.doubt_deg,
        high=fact.tilt_deg + fact.doubt_deg,
        unit="°",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.WedgeFact, system: System) -> Piece:
    return Piece(
        key=fact.key,
        label="Wedge",
        value=about(wedge(fact.wedge, system), unless="none"),
        reason=wedge_why(fact, system),
        low=fact.wedge.thickness_mm,
        high=fact.wedge.thickness_mm,
        unit="mm",
        basis=fact.basis,
    )


def begins(near_m: float, system: System = "metric") -> str:
    """Where the ground, or a body that fits, begins in the picture."""
    return "from close under the camera" if near_m < mounting.CLOSE_M else f"from about {length(near_m, system)}"


@piece.register
def _(fact: facts.GroundFact, system: System) -> Piece:
    seen, (first, last) = fact.seen, fact.whole_m
    if math.isinf(seen.near_m):
        value = "none: the picture looks over it"
    elif math.isinf(seen.far_m):
        value = f"{begins(seen.near_m, system)} to beyond sight"
    else:
        value = f"{begins(seen.near_m, system)} to about {length(seen.far_m, system)}"
    fits = "nowhere" if math.isinf(first) or first > last else f"{begins(first, system)} on"
    head = fact.head_from_m
    heads = f", a head held high {begins(head, system)}" if math.isfinite(head) and head > 0 else ""
    at = length(fact.distance_m, system)
    return Piece(
        key=fact.key,
        label="Ground in the picture",
        value=value,
        reason=f"The picture is about {fact.vertical_deg:.0f}° tall. Feet to back fit in {fits}{heads}.",
        caution="" if fact.fits else f"At {at} the animal does not fit into the picture from feet to back.",
        low=seen.near_m,
        high=seen.far_m,
        unit="m",
        basis=fact.basis,
    )


# --- heading, sensor, flash -----------------------------------------------------------------------


@piece.register
def _(fact: facts.HeadingFact, system: System) -> Piece:
    best = glare.best(fact.best)
    if fact.heading_deg is None:
        reason = f"The path's bearing is not given; without it the sun cannot be reckoned with. {best}"
        return Piece(key=fact.key, label="Heading", value="not known", reason=reason, basis=fact.basis)
    if fact.why == "asked":
        reason = "As asked."
    elif fact.why == "least sun of these":
        reason = f"Of the {fact.options} headings at this angle to the path, the one with least sun."
    else:
        reason = best
    hours = measures.hours(fact.sun_h)
    level = ", with a level horizon" if fact.level_horizon else ""
    caution = ""
    if fact.glare:
        caution = (
            f"The sun is in or near the picture about {hours} a year. {best} Glare also fires the sensor and warms what "
            "is in view."
        )
    true = to_step(fact.heading_deg, 5) % 360
    return Piece(
        key=fact.key,
        label="Heading",
        value=f"about {true:.0f}° true ({measures.wind(fact.heading_deg)})",
        reason=f"{reason} Sun in or near the picture: {hours} a year of clear days{level}.",
        caution=caution,
        low=(fact.heading_deg - fact.spread_deg) % 360,
        high=(fact.heading_deg + fact.spread_deg) % 360,
        unit="°",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.ReachFact, system: System) -> Piece:
    warm, cold = length(fact.warm.middle_m, system), length(fact.cold.middle_m, system)
    air, away = measures.air(fact.warmest_c, system), length(fact.distance_m, system)
    return Piece(
        key=fact.key,
        label="Sensor's reach",
        value=f"about {warm} in the warmest air to {cold} in the coldest",
        reason=f"For {fact.animal.name.lower()} by the range law, from a range of {length(fact.range_m, system)} "
        f"({fact.origin}). The weakest number here: a walk test tells more.",
        caution=f"In air of {air} the sensor may not reach {away}: hang the camera nearer, or set it to high."
        if fact.short
        else "",
        low=fact.warm.low_m,
        high=fact.cold.high_m,
        unit="m",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.FlashFact, system: System) -> Piece:
    if fact.band is None:
        why = (
            "This camera has no flash: no pictures at night."
            if fact.origin is None
            else f"Reach {fact.origin}: it lights nothing, so no pictures at night."
        )
        return Piece(key=fact.key, label="Flash", value="none", reason=why, basis=fact.basis)
    near, far = length(fact.band.from_m, system), length(fact.band.to_m, system)
    caution = {
        "": "",
        "dark": f"At night the flash lights to about {far}; the aim point lies farther. Night pictures will be dark.",
        "burnt out": f"Nearer than about {near} night pictures may be burnt out.",
    }[fact.mind]
    return Piece(
        key=fact.key,
        label="Flash",
        value=f"lights from about {near} to {far}",
        reason=f"Reach {fact.origin}; light falls with the square of the distance. Keep twigs and grass nearer than "
        f"{near} out of the picture: they burn out and darken the rest.",
        caution=caution,
        low=fact.band.from_m,
        high=fact.band.to_m,
        unit="m",
        basis=fact.basis,
    )


# --- snow, branch, trunk, pixels ------------------------------------------------------------------

SNOW_RULES = {"lens": "the lens", "middle": "the animal's middle"}


def snow_borne(limits: SnowLimits, system: System) -> str:
    """How much snow a placement bears, and by which rule."""
    borne = "none" if limits.deepest_m < SHALLOW_M else length(limits.deepest_m, system)
    return f"bears {borne}, by {SNOW_RULES[limits.rule]}"


@piece.register
def _(fact: facts.SnowFact, system: System) -> Piece:
    limits = fact.limits

    def deep(depth_m: float) -> str:
        return "none at all" if depth_m < SHALLOW_M else length(depth_m, system)

    caution = ""
    if fact.too_deep:
        caution = (
            f"The usual snow of {length(fact.expected_m, system)} is more than this placement bears "
            f"({snow_borne(limits, system)}): raise it before winter or visit in time."
        )
    return Piece(
        key=fact.key,
        label="Deepest snow",
        value="none" if limits.deepest_m < SHALLOW_M else f"about {length(limits.deepest_m, system)}",
        reason=f"Bound by {SNOW_RULES[limits.rule]}. Snow over which the lens stays clear: {deep(limits.lens_m)}; "
        f"standing on which an animal's middle stays in the picture: {deep(limits.middle_m)}, its back: "
        f"{deep(limits.whole_m)}.",
        caution=caution,
        low=limits.deepest_m,
        high=limits.deepest_m,
        unit="m",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.BranchFact, system: System) -> Piece:
    sag = fact.sag

    def at(height_m: float) -> str:
        return "at the ground" if height_m < SHALLOW_M else f"at about {length(height_m, system)}"

    return Piece(
        key=fact.key,
        label="Lowest branch",
        value="hardly sinks" if sag.sag_m < SHALLOW_M else f"may sink by about {length(sag.sag_m, system)}",
        reason=f"Under {measures.mass(sag.load_kg, system)} of fresh snow its tip hangs {at(sag.tip_m)}; the picture's "
        f"upper edge is there {at(sag.free_m)}. A scale, no more: the coefficients are partly from memory and "
        "branches differ.",
        caution="Laden with snow this branch may hang into the picture and fire the camera: tie it back or cut it, "
        "where you may."
        if sag.in_view
        else "",
        low=sag.sag_m,
        high=sag.sag_m,
        unit="m",
        basis=fact.basis,
    )


def trunk_reasons(rank: TrunkRank, system: System) -> tuple[str, ...]:
    """Why a trunk is fit or not, a clause each."""
    trunk, wanted_m = rank.trunk, rank.wanted_offset_m
    thick = measures.diameter(trunk.diameter_cm, system)
    ratio = mounting.relative_swing(diameter_cm=trunk.diameter_cm)
    times = f"{ratio:.1f} times" if ratio < 10 else "more than ten times"
    ten_inches = "25 cm" if system == "metric" else "10 in"
    off = "" if trunk.offset_m is None else length(trunk.offset_m, system)
    wanted = "" if wanted_m is None else length(wanted_m, system)
    clauses: dict[mounting.TrunkReason, str] = {
        "thin": f"{thick} thick: in wind it bends about {times} as much as one of {ten_inches} and fires the sensor",
        "dead": "dead wood: it may fall or shed bark, and it is no place for a ladder",
        "leaning": f"leans by {trunk.lean_deg:.0f}°: hard to aim from and unsafe to climb",
        "far off": f"{off} from the path where about {wanted} is wanted",
        "firm post": "a firm post",
        "sound": f"{thick} thick, sound and upright",
    }
    return tuple(clauses[reason] for reason in rank.why)


@piece.register
def _(fact: facts.TrunkFact, system: System) -> Piece:
    trunk = fact.rank.trunk
    why = "; ".join(trunk_reasons(fact.rank, system))
    return Piece(
        key=fact.key,
        label="Tree or post",
        value=f"{trunk.name}, {measures.diameter(trunk.diameter_cm, system)}",
        reason=f"{why}.",
        caution="" if fact.rank.fit else f"This tree is not fit: {why}. 25 cm (10 in) or more is common practice.",
        low=trunk.diameter_cm,
        high=trunk.diameter_cm,
        unit="cm",
        basis=fact.basis,
    )


@piece.register
def _(fact: facts.PixelsFact, system: System) -> Piece:
    enough = "Enough" if fact.enough else "Too few"
    return Piece(
        key=fact.key,
        label="Pixels on the animal",
        value=f"about {to_step(fact.pixels, 10 if fact.pixels < 1000 else 100):.0f} along its body",
        reason=f"{enough} to tell what it is for half of those who look (Johnson 1958: 8 pixels over the least "
        "dimension), if lens and light are good.",
        caution="The maker's pixels may be enlarged ones; measure the camera with the printed target."
        if fact.claimed
        else "",
        low=fact.pixels,
        high=fact.pixels,
        unit="pixels",
        basis=fact.basis,
    )


# --- the whole ------------------------------------------------------------------------------------


def sentence(advice: PlacementAdvice, system: System) -> str:
    """What to do, in two sentences."""
    parts = [f"Hang the camera about {length(advice.height_m, system)} up"]
    angle = next((fact for fact in advice.facts if isinstance(fact, facts.AngleFact)), None)
    if angle is not None:
        asked = advice.crossing_deg
        turned = angles(angle) if asked is None else f"about {degrees(asked)}"
        parts.append(f"about {length(advice.offset_m, system)} from the path")
        parts.append(f"at {turned} to it")
    if advice.heading_deg is not None:
        true = to_step(advice.heading_deg, 5) % 360
        parts.append(f"looking {measures.wind(advice.heading_deg)} (about {true:.0f}° true)")
    aim = f"{length(advice.aim_height_m, system)} above the ground about {length(advice.aim_distance_m, system)} away"
    if advice.wedge.behind == "none":
        return f"{', '.join(parts)}. Aim at a point {aim}; no wedge is needed."
    return f"{', '.join(parts)}. Aim at a point {aim}, with a wedge of about {wedge(advice.wedge, system)}."
