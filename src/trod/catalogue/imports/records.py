"""The fewest records that an import needs, made from what a person names and the pictures say."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from django.db import IntegrityError, transaction

from trod import wording
from trod.catalogue.imports import facts
from trod.catalogue.imports.propose import Marks
from trod.catalogue.models import Camera, Deployment, Reserve, Site
from trod.catalogue.slugs import free_slug, slug_from
from trod.errors import WrongInput

PLACE_UNKNOWN = "Its place is not entered yet; set it on the Ground page."


def machine_zone() -> str:
    """The time zone this machine is set to, as far as it tells; else UTC."""
    for name in (os.environ.get("TZ", ""), str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]):
        if name in available_timezones():
            return name
    return "UTC"


def find_camera(serial: str) -> Camera | None:
    """A camera by its serial, or by the name people gave it."""
    exact = Camera.objects.filter(serial=serial).first()
    if exact:
        return exact
    for camera in Camera.objects.all():
        if facts.same_serial(camera.serial, serial) or (camera.name and camera.name.casefold() == serial.casefold()):
            return camera
    return None


def find_site(name: str) -> Site | None:
    """A site by its name or slug."""
    return Site.objects.filter(name__iexact=name).first() or Site.objects.filter(slug=slug_from(name, "site")).first()


def make(*, serial: str, site_name: str, marks: Marks, now: datetime, by: str = "") -> tuple[Deployment, list[str]]:
    """A deployment of this camera at this site that begins with the pictures, and whatever it needs.

    Returns it and what was made, in sentences. Raises WrongInput when the camera was elsewhere at that time.
    """
    told = []
    with transaction.atomic():
        reserve = Reserve.objects.order_by("id").first()
        place = marks.places[0] if marks.places else None
        if reserve is None:
            zone = machine_zone()
            lat, lon = place or (0.0, 0.0)
            reserve = Reserve.objects.create(
                name="My reserve",
                slug="my-reserve",
                latitude=lat,
                longitude=lon,
                zone=zone,
                note="" if place else PLACE_UNKNOWN,
            )
            told.append(f"Made a reserve, “My reserve”, in this machine's time zone, {zone}.")
        site = find_site(site_name)
        if site is None:
            lat, lon = place or (reserve.latitude, reserve.longitude)
            site = Site.objects.create(
                reserve=reserve,
                name=site_name[:120],
                slug=free_slug(Site, slug_from(site_name, "site")),
                latitude=lat,
                longitude=lon,
                note="Placed by the position in its pictures." if place else PLACE_UNKNOWN,
            )
            where = "where its pictures say" if place else "with no place of its own yet"
            told.append(f"Made the site {site.name}, {where}.")
        camera = find_camera(serial)
        if camera is None:
            camera = Camera.objects.create(serial=serial[:64], state=Camera.State.OUT)
            told.append(f"Made the camera {camera.serial}.")
        start, offset_min = _beginning(marks, site.reserve, now)
        slug = free_slug(
            Deployment, slug_from(f"{site.slug[:45]}-{start.astimezone(site.reserve.zone_info):%Y-%m-%d}", "deployment")
        )
        try:
            with transaction.atomic():
                deployment = Deployment.objects.create(
                    slug=slug,
                    camera=camera,
                    site=site,
                    start=start,
                    utc_offset_min=offset_min,
                    set_by=by[:80],
                    note="Begun with its first pictures; mend the times if you know them.",
                )
        except IntegrityError as problem:
            other = camera.deployments.order_by("-start").first()
            raise WrongInput(
                "camera",
                got=f"{camera.serial}, which stands at {other.site if other else 'another site'} "
                f"since {wording.day(other.start)}"
                if other
                else camera.serial,
                needed="a camera that is free then; end its other deployment first, or name that site",
            ) from problem
        told.append(
            f"Made a deployment of {camera} at {site.name} from "
            f"{wording.day(start.astimezone(site.reserve.zone_info))} on."
        )
    return deployment, told


def _beginning(marks: Marks, reserve: Reserve, now: datetime) -> tuple[datetime, int]:
    """When the deployment begins and the offset its clock keeps: the zone's own at its first picture."""
    zone = ZoneInfo(reserve.zone)
    if marks.first is None:
        here = now.astimezone(zone)
        return here.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC), _minutes(here)
    local = marks.first.replace(tzinfo=zone)
    offset_min = _minutes(local)
    return (marks.first - timedelta(minutes=offset_min)).replace(tzinfo=UTC), offset_min


def _minutes(local: datetime) -> int:
    offset = local.utcoffset() or timedelta()
    return round(offset.total_seconds() / 60)
