"""A kept placement worked out, for the planner and for a deployment that is made of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from trod.catalogue.models import Placement, Site
from trod.catalogue.rows.specs import spec_of
from trod.errors import WrongInput
from trod.planning.equipment.camera import CameraSpec
from trod.telling.measures import to_step
from trod.web.shared import placing
from trod.web.shared.placing import Asked, Place

UNKNOWN_CAMERA = CameraSpec(maker="Any", model="camera")


def winter_offset_min(zone: ZoneInfo) -> int:
    """A zone's offset from UTC without summer time, as of now. [min]"""
    year = timezone.now().year
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7)]
    return int(min(offsets).total_seconds() // 60)


def place_of(site: Site) -> Place:
    """Where a site lies, and its winter clock."""
    return Place(site.latitude, site.longitude, site.sensitive, winter_offset_min(site.reserve.zone_info))


def question_of(row: Placement, *, system: str, year: int) -> Asked:
    """What a kept placement asks. Raises WrongInput."""
    spec = spec_of(row.camera_model) if row.camera_model else UNKNOWN_CAMERA
    inputs = row.inputs if isinstance(row.inputs, dict) else {}
    return placing.asked(spec, row.animal, inputs, place_of(row.site), system=system, year=year)


def deployment_start(row: Placement, *, year: int) -> dict[str, Any]:
    """What a new deployment made of a kept placement begins with. Empty when it cannot be worked out."""
    try:
        done = placing.work(question_of(row, system="metric", year=year))
    except WrongInput:
        return {}
    advice, inputs = done.advice, done.settings.inputs
    return {
        "height_m": round(advice.height_m, 2),
        "tilt_deg": round(advice.tilt_deg, 1),
        "heading_deg": None if advice.heading_deg is None else to_step(advice.heading_deg, 5) % 360,
        "aim_distance_m": round(advice.aim_distance_m, 1),
        "mode": inputs.mode,
        "burst": inputs.burst,
        "delay_s": inputs.delay_s,
        "sensitivity": inputs.sensitivity,
        "time_lapse_h": inputs.time_lapse_h,
    }
