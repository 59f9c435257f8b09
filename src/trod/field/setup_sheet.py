"""The set-up sheet: one page to take along.

What to set, how to try it, what to mind, and blanks for what was really done. Set by typst from our own template, with
no font and no network of the machine's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from trod.drawing import placement as drawing
from trod.errors import WrongInput
from trod.field import setup_code
from trod.field.setup_code import SetupCode
from trod.leaving.setups import FitSetup
from trod.planning.catch.walkby import Estimate
from trod.planning.place.setup import Outcome, patch_told
from trod.report.setting import set_pdf
from trod.telling import measures, setups

PAPERS = {"a4": "A4", "us-letter": "Letter"}
LONGEST_NOTE = 320  # characters of a site's own notes that find room on one page

Tile = tuple[str, str, str]


@dataclass(frozen=True, kw_only=True)
class SetupSheetData:
    """A set-up sheet before it is printed.

    setup : what was worked out. code : what the QR code carries. site, reserve, placement, camera : names as
    people say them; "" when there is none. access, safety, closed : the site's own notes. with_place : whether
    position and way may stand on it; never without asking where the site is sensitive. made : the version.
    made_on : a date in words. paper : a key of `PAPERS`. invented : the reserve is a demo.
    """

    setup: FitSetup
    code: SetupCode | None = None
    site: str = ""
    reserve: str = ""
    placement: str = ""
    camera: str = ""
    access: str = ""
    safety: str = ""
    closed: str = ""
    with_place: bool = True
    made: str = ""
    made_on: str = ""
    paper: str = "a4"
    invented: bool = False

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise WrongInput("paper", got=self.paper, needed="one of " + ", ".join(PAPERS))
        if self.setup.hidden and self.with_place:
            raise WrongInput("with_place", got="a hidden place", needed="a setup worked out for the true place")


def tiles(setup: FitSetup) -> tuple[Tile, ...]:
    """The values to hang the camera by: (label, the value large, what is to be said beside it)."""
    advice, system = setup.advice, setup.system

    def say(metres: float) -> str:
        return measures.length(metres, system)

    tilt = advice.tilt_deg
    tilted = ("level", "") if abs(tilt) < 0.5 else (f"{abs(tilt):.0f}° {'down' if tilt > 0 else 'up'}", "")
    wedge = advice.wedge
    wedged = ("none", "the case lies flat")
    if wedge.behind != "none":
        wedged = (measures.thickness(wedge.thickness_mm, system), f"behind the {wedge.behind} of the case")
    faced = ("not known", setups.heading(setup).hint)
    if advice.heading_deg is not None:
        true = measures.to_step(advice.heading_deg, 5) % 360
        faced = (f"{true:03.0f}°", f"true, {measures.wind(advice.heading_deg)}")
    found = [
        ("Lens height", say(advice.height_m), "from the ground"),
        ("Tilt", *tilted),
        ("Wedge", *wedged),
        ("Heading", *faced),
        ("Aim at a mark", f"{say(advice.aim_distance_m)} off", f"{say(advice.aim_height_m)} above the ground"),
    ]
    if setup.path is not None:
        angle = min(setup.path.angle_deg, 180 - setup.path.angle_deg)
        found.append(("Path", f"{measures.to_step(angle, 5):.0f}°", f"to the axis, {say(setup.path.offset_m)} off"))
    return tuple(found)


def settings_rows(setup: FitSetup) -> tuple[tuple[str, str], ...]:
    """The camera's settings: (label, value)."""
    return tuple((setting.label, setting.value) for setting in setup.told.settings)


BLANKS = (
    "Lens height", "Tilt", "Wedge", "Heading",
    "Aim mark", "Camera", "Card", "Batteries",
    "Clock set at", "Fired from left / right", "Lock or key", "Day, time, by",
)  # fmt: skip


def compass_hint(setup: FitSetup) -> str:
    """What a compass shows for the heading, in a sentence; "" where there is no heading."""
    if setup.advice.heading_deg is None:
        return ""
    return f"Heading: {setups.heading(setup).hint}."


def keep_quiet(data: SetupSheetData) -> str:
    """What is said of the place on a set-up sheet of a sensitive site; "" elsewhere."""
    if not data.setup.read.ground.sensitive:
        return ""
    if data.with_place:
        return "A sensitive place stands on this set-up sheet: show it to nobody who need not know, and do not leave it behind."  # noqa: E501
    return "A sensitive site: its position and the way to it are left out of this set-up sheet and its code."


def setup_sheet_pdf(data: SetupSheetData) -> bytes:
    """The set-up sheet as PDF, one page."""
    return set_pdf("trod.field", "setup_sheet.typ", _printed(data))


def drawings(setup: FitSetup, *, theme: drawing.Theme = "paper") -> tuple[str, str]:
    """Plan and side view as they stand on the set-up sheet. SVG."""
    read, advice = setup.read, setup.advice
    plan = drawing.plan_svg(
        advice, read.ground, read.animal, patch=patch_told(advice, read), system=setup.system, theme=theme,
        key="setup-plan", across=420, legend=False,
    )  # fmt: skip
    side = drawing.side_svg(
        advice, read.ground, read.animal, case_height_mm=read.mount.case_height_mm, system=setup.system,
        theme=theme, key="setup-side", across=520,
    )  # fmt: skip
    return plan, side


def short(text: str, most: int = LONGEST_NOTE) -> str:
    """A note on one line, cut at a word where it is too long for the page."""
    line = " ".join(text.split())
    if len(line) <= most:
        return line
    cut = line[:most].rsplit(" ", 1)[0] + " …"
    return cut + " (more on the site's page)" if most >= LONGEST_NOTE else cut


def position_words(data: SetupSheetData) -> str:
    """The site's position, or "" where it must not stand here."""
    ground = data.setup.read.ground
    if not data.with_place:
        return ""
    north, east = ground.latitude_deg, ground.longitude_deg
    return f"{abs(north):.5f}° {'N' if north >= 0 else 'S'}, {abs(east):.5f}° {'E' if east >= 0 else 'W'}"


def where_to(data: SetupSheetData) -> tuple[tuple[str, str], ...]:
    """(label, text) of position, way, dangers and closed times, those that are known and may be told."""
    found = [("Where", position_words(data))]
    if data.with_place:
        found.append(("Way", data.access))
    found += [("Beware", data.safety), ("Closed", data.closed)]
    return tuple((label, text) for label, text in found if text.strip())


def estimate_words(estimate: Estimate | None, kind: str) -> str:
    """A simulated number with its standard error, no finer than it is worth; "–" where there is none."""
    if estimate is None:
        return "–"
    value, error = estimate.value, estimate.standard_error
    if kind == "share":
        return f"{100 * value:.0f} ± {max(100 * error, 0.1):.1f} in 100"
    if kind == "pixels":
        return f"{measures.to_step(value, 10 if value < 1000 else 100):.0f} ± {max(error, 1):.0f}"
    if value < 0.1:
        return f"{value:.2f} ± {max(error, 0.01):.2f}"
    return f"{measures.figure(value)} ± {measures.figure(max(error, 0.01), 1)}"


def outcome_table(day_comes: Outcome, night_comes: Outcome) -> tuple[tuple[str, str, str], ...]:
    """What comes of the animal: (label, by day, by night)."""
    night = {label: estimate_words(estimate, kind) for label, estimate, kind in setups.rows(night_comes)}
    day = {label: estimate_words(estimate, kind) for label, estimate, kind in setups.rows(day_comes)}
    return tuple((label, day.get(label, "–"), night.get(label, "nothing")) for label in (day or night))


def legend(setup: FitSetup) -> str:
    """What the lines of the plan mean."""
    advice = setup.advice
    low, high = advice.reach_warm.low_m, advice.reach_cold.high_m
    worst, best = (measures.length(reach_m, setup.system) for reach_m in (low, high))
    reach = f"{worst} in warm air at worst to {best} in cold at best"
    text = (
        f"From above: full line, the field of view ({advice.fov_deg:.0f}°); dashed, the detection zone "
        f"({advice.zone_deg:.0f}°), which for this animal reaches {reach}."
    )
    if setup.advice.flash is not None and math.isfinite(setup.advice.flash.to_m):
        text += f" The flash lights to {measures.length(setup.advice.flash.to_m, setup.system)}."
    return text


def _printed(data: SetupSheetData) -> dict[str, Any]:
    """What the template prints, every number already in words."""
    setup = data.setup
    plan, side = drawings(setup)
    for_whom = f"{setup.spec.name}, for {setup.animal.name.lower()}"
    camera = f"camera {short(data.camera, 60)}" if data.camera else ""
    under = [short(data.reserve, 60), camera, for_whom, short(data.placement, 60)]
    foot = f"Made with Trod {data.made}".strip() + (f" on {data.made_on}" if data.made_on else "")
    notes = [keep_quiet(data), compass_hint(setup)]
    if data.invented:
        notes.insert(0, "An invented reserve, for trying things: no such place, people or animals.")
    return {
        "paper": data.paper,
        "title": short(data.site, 90) or "A place without a name",
        "kicker": "Set-up sheet",
        "under": " · ".join(part for part in under if part),
        "code": setup_code.code_svg(data.code.text()) if data.code else "",
        "code_alt": data.code.text() if data.code else "",
        "tiles": [list(tile) for tile in tiles(setup)],
        "settings": [list(row) for row in settings_rows(setup)],
        "plan": plan,
        "side": side,
        "plan_alt": f"The placement from above. {legend(setup)}",
        "side_alt": "The placement from the side, to scale.",
        "legend": legend(setup),
        "gives": [setup.told.day, setup.told.night],
        "supposes": " ".join(setup.told.assumed[:2]),
        "notes": [note for note in notes if note],
        "steps_head": "Try it",
        "steps": list(setup.told.walk_test),
        "mind_head": "Mind",
        "mind": list(setup.told.cautions),
        "usual": " ".join(setup.told.usual_cautions),
        "law": "Local law, your permit and trained people go before anything here.",
        "place": [[label, short(text)] for label, text in where_to(data)],
        "done_head": "What was really done",
        "blanks": list(BLANKS),
        "foot": foot,
    }
