"""A kept placement as a set-up sheet: its row and its site's, handed to the planning room and to the printer."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from trod import __version__, clock, wording
from trod.catalogue.models import Deployment, Placement
from trod.catalogue.rows.specs import spec_of
from trod.field.setup_code import code_of
from trod.field.setup_sheet import SetupSheetData
from trod.leaving import fit_place, without_places
from trod.leaving.setups import FitSetup, fit_setup
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec
from trod.units import System

# Where no kind of camera is told: all of its figures are then the usual ones, and the set-up sheet says so.
NOBODYS = CameraSpec(maker="A camera", model="of no known kind")


def setup_of(row: Placement, *, system: System, year: int, true_places: bool = False) -> FitSetup:
    """A placement worked out anew, fit to leave. Raises WrongInput for inputs or an animal that cannot be."""
    site = row.site
    place = fit_place(
        latitude_deg=site.latitude, longitude_deg=site.longitude, sensitive=site.sensitive, true_places=true_places
    )
    spec = spec_of(row.camera_model) if row.camera_model else NOBODYS
    inputs = row.inputs if isinstance(row.inputs, dict) else {}
    return fit_setup(spec, inputs, place=place, animal=animal(row.animal), system=system, year=year)


def setup_sheet_of(
    row: Placement, *, system: System, now: datetime, paper: str = "", with_place: bool = False
) -> SetupSheetData:
    """The set-up sheet of a placement.

    with_place : only asked for a sensitive site; elsewhere the place stands on the set-up sheet. paper : a key of
    `setup_sheet.PAPERS`; by the units when empty.
    """
    site = row.site
    here = clock.local(now, site.reserve.zone)
    setup = setup_of(row, system=system, year=here.year, true_places=with_place)
    hung = row.deployments.select_related("camera").order_by("-start").first()
    may = not setup.hidden
    said = str if may else without_places
    code = code_of(
        setup, placement=str(row.uuid), site=site.slug, deployment=hung.slug if hung else "", with_position=may
    )
    return SetupSheetData(
        setup=setup,
        code=code,
        site=said(site.name),
        reserve=site.reserve.name,
        placement=said(row.name),
        camera=_camera(hung),
        access=site.access if may else "",
        safety=said(site.safety),
        closed=said(closed_words(site.closed)),
        with_place=may,
        made=__version__,
        made_on=wording.day(here.date()),
        paper=paper or ("us-letter" if system == "us" else "a4"),
        invented=site.reserve.invented,
    )


def _camera(hung: Deployment | None) -> str:
    if hung is None:
        return ""
    camera = hung.camera
    return f"{camera.name} ({camera.serial})" if camera.name else camera.serial


def closed_words(closed: Any) -> str:
    """Closed seasons in words, from what a site keeps of them: texts, or records with from, to and why."""
    if not isinstance(closed, Iterable) or isinstance(closed, str | dict):
        return closed if isinstance(closed, str) else ""
    told = []
    for one in closed:
        if isinstance(one, str):
            told.append(one)
        elif isinstance(one, dict):
            span = " to ".join(str(one[key]) for key in ("from", "to") if one.get(key))
            why = str(one.get("why") or "")
            told.append(f"{span} ({why})" if span and why else span or why)
    return "; ".join(part for part in told if part)
