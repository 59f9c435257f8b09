"""What the placement planner's pages show, as plain data."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count

from trod.catalogue.models import CameraModel, Placement, Site
from trod.catalogue.rows.specs import spec_of
from trod.errors import WrongInput
from trod.planning.catch.walkby import AngleAdvice, Estimate, in_words
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place.setup import Outcome, Setup
from trod.telling import setups
from trod.telling.measures import length, to_step
from trod.telling.settings import AIMS
from trod.telling.setups import ToldSetup
from trod.units import System
from trod.web.planner import tally
from trod.web.planner.forms import LABELS, LIMITS, SITE_COLUMNS, SITE_GROUND, WORDS, out_of_place
from trod.web.planner.units import shown
from trod.web.planner.units import text as in_units
from trod.web.shared import placing as answers
from trod.web.shared.placements import UNKNOWN_CAMERA, question_of
from trod.web.shared.placing import Asked, Pace

MOST_KEPT = 3
NAME_LONG = 80


# --- what the placement planner starts from -------------------------------------------------------------------


def models() -> list[tuple[str, str]]:
    """Camera models to choose from; those of which the reserve has cameras first."""
    rows = CameraModel.objects.annotate(n=Count("cameras"))
    found = sorted(rows, key=lambda row: (row.n == 0, str(row)))
    return [("", "any camera, by usual figures"), *((row.slug, str(row)) for row in found)]


def spec_for(slug: str) -> tuple[CameraSpec, CameraModel | None]:
    """The camera to reckon with, and its row; usual figures where none is chosen. Raises WrongInput."""
    if not slug:
        return UNKNOWN_CAMERA, None
    # PostgreSQL refuses a text with a NUL in it; no slug has one.
    row = None if "\0" in slug else CameraModel.objects.filter(slug=slug).first()
    if row is None:
        raise WrongInput("camera_model", got=slug[:60], needed="one of the list")
    return spec_of(row), row


def inputs_of(site: Site) -> dict[str, Any]:
    """What is known of a place, as inputs."""
    found = {name: getattr(site, name) for name in SITE_COLUMNS if getattr(site, name) is not None}
    kept = site.ground if isinstance(site.ground, dict) else {}
    return found | {name: kept[name] for name in SITE_GROUND if kept.get(name) not in (None, "", [])}


PLACE_COLUMNS = (*SITE_COLUMNS, "ground")  # what `tell_place` writes


def tell_place(site: Site, inputs: Mapping[str, Any]) -> None:
    """Write what was told of the place into a site's columns and its `ground`, without saving it.

    What says nothing at such a place (a path's bearing at a feeding ground) stays as it was; what was cleared
    is cleared.
    """
    feature = inputs.get("feature", site.feature)
    kept = set(out_of_place(feature))
    for name in SITE_COLUMNS:
        if name not in kept and name != "feature":
            setattr(site, name, inputs.get(name))
    site.feature = feature
    before = site.ground if isinstance(site.ground, dict) else {}
    after = {name: value for name, value in before.items() if name not in SITE_GROUND or name in kept}
    site.ground = after | {name: inputs[name] for name in SITE_GROUND if name in inputs and name not in kept}


# --- the answer -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """One number with its standard error, by day and by night."""

    label: str
    day: str
    night: str


@dataclass(frozen=True)
class Chances:
    """What comes of a hundred, for the page."""

    summary: str
    day: str
    night: str
    tally: str
    lots: list[tuple[str, str, int]]
    rows: list[Row]
    passes: str
    stays: bool


def number(estimate: Estimate | None, kind: str) -> str:
    """An estimate with its standard error: shares in a hundred, no digit finer than the error."""
    if estimate is None:
        return "–"
    value, error = estimate.value, estimate.standard_error
    if kind == "share":
        value, error = 100 * value, 100 * error
    digits = 0 if error >= 0.95 or (kind == "pixels" and value >= 30) else 1 if kind != "number" or error >= 0.095 else 2
    least = 10.0**-digits
    told = f"{error:.{digits}f}" if error >= least / 2 else f"under {least:.{digits}f}"
    return f"{value:.{digits}f} ± {told}"


def in_hundreds(passes: int) -> str:
    """A number of simulated passes in round words."""
    if passes >= 950_000:
        return f"{passes / 1e6:.2g} million"
    return f"{round(passes, -2):,}".replace(",", " ") if passes >= 1000 else str(passes)


def chances(day: Outcome, night: Outcome) -> Chances:
    """The chances of both lights as the page shows them."""
    stays = day.chances is None and day.visits is not None
    found = day.chances
    if found is not None:
        lots = tally.lots(triggered=found.triggered.value, middle=found.middle.value, whole=found.whole.value)
    else:
        lots = tally.visits(day.visits.seen.value) if day.visits else []
    night_rows = {label: number(estimate, kind) for label, estimate, kind in setups.rows(night)}
    rows = [
        Row(
            label.capitalize() + (", of 100" if kind == "share" else ""),
            number(estimate, kind),
            night_rows.get(label, "–"),
        )
        for label, estimate, kind in setups.rows(day)
    ]
    number_of = found.passes if found else day.visits.visits if day.visits else 0
    caught = day.chances.whole.value if day.chances else day.caught.value
    what = "of 100 whole in a picture by day" if day.chances else "of 100 visits in a picture by day"
    return Chances(
        summary=f"{100 * caught:.0f} {what}",
        day=setups.comes(day),
        night=setups.comes(night),
        tally=tally.tally_svg(lots) if lots else "",
        lots=[(tally.sample_svg(lot.key), lot.words, lot.count) for lot in lots],
        rows=rows,
        passes=f"{in_hundreds(number_of)} simulated {'visits' if stays else 'passes'}",
        stays=stays,
    )


def answer(done: ToldSetup) -> dict[str, Any]:
    """All that an answer shows at once."""
    advice = done.advice
    herd = answers.herd(done)
    path = done.path
    made = min(path.angle_deg, 180 - path.angle_deg) if path else None
    return {
        "setup": done,
        "chances": chances(done.day, done.night),
        "plan": answers.plan(done),
        "side": answers.side(done),
        "herd": herd,
        # What stands in a free box's stead, in inputs' units; the page turns it into the person's.
        "advised": {
            "height_m": round(advice.height_m, 2),
            "aim_distance_m": round(advice.aim_distance_m, 1),
            "heading_deg": None if advice.heading_deg is None else to_step(advice.heading_deg, 5) % 360,
            "angle_deg": None if made is None else to_step(made, 5),
        },
    }


def angles(found: AngleAdvice | None, done: Setup) -> dict[str, Any] | None:
    """What the simulation says of the angle, for the page; and whether the placement keeps to it."""
    if found is None or done.path is None:
        return None
    made = min(done.path.angle_deg, 180 - done.path.angle_deg)
    return {
        "low": f"{found.low_deg:.0f}°",
        "high": f"{found.high_deg:.0f}°",
        "best": f"{found.best_deg:.0f}°",
        "chance": in_words(found.chance),
        "across": in_words(found.across),
        "same": found.high_deg == found.low_deg,
        "made": f"{to_step(made, 5):.0f}°",
        "kept": found.low_deg - 2.5 <= made <= found.high_deg + 2.5,
    }


def paces(found: Sequence[Pace], question: Asked) -> list[dict[str, Any]]:
    """Other animals, a line each."""
    return [
        {
            "name": pace.animal.name,
            "here": pace.animal.key == question.animal,
            "caught": number(pace.outcome.caught, "share"),
            "whole": number(pace.outcome.chances.whole, "share") if pace.outcome.chances else "–",
            "empty": number(pace.outcome.chances.empty, "share") if pace.outcome.chances else "–",
        }
        for pace in found
    ]


# --- kept ways, side by side ----------------------------------------------------------------------


# How tall the legends are below the scenes of `trod.drawing.placement`, which small drawings leave out.
PLAN_LEGEND, SIDE_LEGEND = 70.0, 112.0


def scene(svg: str, legend: float) -> str:
    """A drawing without its legend: shown down to where that begins."""

    def shorter(found: re.Match[str]) -> str:
        return f'viewBox="0 0 {found[1]} {max(float(found[2]) - legend, 40):.0f}"'

    return re.sub(r'viewBox="0 0 (\d+) (\d+)"', shorter, svg, count=1)


@dataclass(frozen=True)
class Kept:
    """One kept placement worked out anew; `trouble` says why it could not be."""

    row: Placement
    setup: ToldSetup | None
    trouble: str = ""

    @property
    def name(self) -> str:
        """Its name, or its number."""
        return self.row.name or f"Way {self.row.turn}"

    @property
    def chances(self) -> Chances | None:
        """What comes of a hundred."""
        return chances(self.setup.day, self.setup.night) if self.setup else None

    @property
    def plan(self) -> str:
        """The view from above, small."""
        return scene(answers.plan(self.setup, key=f"plan-{self.row.turn}"), PLAN_LEGEND) if self.setup else ""

    @property
    def side(self) -> str:
        """The view from the side, small."""
        return scene(answers.side(self.setup, key=f"side-{self.row.turn}"), SIDE_LEGEND) if self.setup else ""

    @property
    def tally(self) -> str:
        """The hundred strokes."""
        return self.chances.tally if self.chances else ""


def kept_of(site: Site, *, system: str, year: int) -> list[Kept]:
    """The placements kept at a site, in their order."""
    found = []
    for row in site.placements.select_related("camera_model").order_by("turn"):
        row.site = site
        try:
            found.append(Kept(row, answers.work(question_of(row, system=system, year=year))))
        except WrongInput as trouble:
            found.append(Kept(row, None, str(trouble)))
    return found


def differences(kept: Sequence[Kept], *, units: str) -> list[tuple[str, list[str], bool]]:
    """A table of kept placements: (label, a cell each, whether they differ); what differs first, then what counts."""
    columns = [k for k in kept if k.setup is not None]
    rows: list[tuple[str, list[str], bool]] = []

    def add(label: str, cells: list[str]) -> None:
        rows.append((label, cells, len(set(cells)) > 1))

    system: System = "us" if units == "us" else "metric"
    add("Animal", [k.setup.animal.name for k in columns if k.setup])
    add("Camera", [k.setup.spec.name for k in columns if k.setup])
    add("For", [AIMS[k.setup.read.wish.aim] for k in columns if k.setup])
    for key in ("height", "offset", "angle", "tilt", "wedge", "heading", "aim", "burst", "delay"):
        labels = [one for k in columns if k.setup for one in k.setup.told.camera_settings if one.key == key]
        if labels:
            cells = [
                next((one.value for one in k.setup.told.camera_settings if one.key == key), "–")
                for k in columns
                if k.setup
            ]
            add(labels[0].label, cells)
    for light in ("day", "night"):
        for index, words in (("triggered", "set it off"), ("whole", "whole in a picture")):
            cells = []
            for k in columns:
                found = getattr(k.setup, light).chances
                visits = getattr(k.setup, light).visits
                if found is not None:
                    cells.append(number(getattr(found, index), "share"))
                elif visits is not None and index == "whole":
                    cells.append(number(visits.seen, "share") + " of the visits")
                else:
                    cells.append("–")
            if set(cells) != {"–"}:
                add(f"Of 100 by {light}, {words}", cells)
    empties = [number(k.setup.day.chances.empty, "share") if k.setup and k.setup.day.chances else "–" for k in columns]
    if set(empties) != {"–"}:
        add("Of 100 pictures by day, empty", empties)
    add(
        "Pixels along its body",
        [f"{to_step(k.setup.advice.pixels_on_body, 10):.0f}" for k in columns if k.setup],
    )
    add("Deepest snow", [length(max(k.setup.advice.snow.deepest_m, 0), system) for k in columns if k.setup])
    add("Cautions", [str(len(k.setup.told.cautions)) for k in columns if k.setup])
    rows += _inputs_that_differ(columns, units)
    return rows


def _inputs_that_differ(columns: Sequence[Kept], units: str) -> list[tuple[str, list[str], bool]]:
    """Input about the place and the animal's way that are told differently and show nowhere else."""
    told_above = {"height_m", "aim_distance_m", "heading_deg", "aim", "offset_m", "snow_m", "months"}
    keys = sorted({key for k in columns for key in k.row.inputs} - told_above)
    rows = []
    for key in keys:
        values = [k.row.inputs.get(key) for k in columns]
        if all(value == values[0] for value in values):
            continue
        rows.append((LABELS.get(key, key), [_said(key, value, units) for value in values], True))
    return rows


def _said(key: str, value: Any, units: str) -> str:
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if key in LIMITS:
        unit = shown(key, LIMITS[key], units)
        return f"{in_units(value, unit)} {unit.sign}".strip()
    return dict(WORDS.get(key, [])).get(value, str(value))


def free_turn(site: Site) -> int | None:
    """The first free place of three beside each other; None when all are taken."""
    taken = set(site.placements.values_list("turn", flat=True))
    return next((turn for turn in range(1, MOST_KEPT + 1) if turn not in taken), None)


def free_name(site: Site, name: str) -> str:
    """The name, with a number behind it where another option of the site has it already: low, low 2, low 3."""
    taken = set(site.placements.values_list("name", flat=True))
    names = (f"{name[: NAME_LONG - 3]} {n}" for n in range(2, MOST_KEPT + 2))
    return name if not name or name not in taken else next(one for one in names if one not in taken)


def save_way(row: Placement) -> bool:
    """Keep a way, a new one in the first free place; False when others took the last places meanwhile."""
    if row.pk is not None:
        row.save()
        return True
    name = row.name
    for _ in range(MOST_KEPT):
        turn = free_turn(row.site)
        if turn is None:
            break
        row.turn, row.name = turn, name or f"Way {turn}"
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError:  # two people at once: the database lets one have the place
            continue
        return True
    return False
