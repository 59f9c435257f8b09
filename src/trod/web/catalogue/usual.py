"""What a person most likely means at a site: camera, animal, question, herd. Bench and settings begin with it."""

from __future__ import annotations

from typing import Any, get_args

from django.db.models import Count, Max, Sum

from trod.planning import animals, season
from trod.planning.adviser import Aim
from trod.planning.site import Feature
from trod.web.models import Camera, CameraModel, Deployment, Event, Sighting, Site, Species

HERD = 10  # where herds gather and nobody has counted yet; assumed


def model(site: Site) -> str:
    """Slug of the model of the camera that stands here, else of one at home, else of any; "" without one."""
    cameras = Camera.objects.filter(model__isnull=False).select_related("model")
    standing = Deployment.objects.filter(site=site, end__isnull=True).order_by("-start").values("camera")[:1]
    for rows in (cameras.filter(pk__in=standing), cameras.filter(state=Camera.State.READY), cameras):
        if (camera := rows.first()) is not None and camera.model is not None:
            return str(camera.model.slug)
    first = CameraModel.objects.first()
    return str(first.slug) if first else ""


def reserve_animals() -> list[str]:
    """Keys of the animals that the reserve's own list of species names, in its order; all of them when none is."""
    by_name = _by_name()
    names = Species.objects.filter(active=True).values_list("scientific_name", flat=True)
    found = [by_name[name.strip().casefold()] for name in names if name.strip().casefold() in by_name]
    return found or [one.key for one in animals.ANIMALS]


def animal(site: Site) -> str:
    """Key of the animal that people saw most at a site, else of the reserve's first hoofed one."""
    seen = (
        Sighting.objects.filter(word__event__deployment__site=site, species__isnull=False)
        .values_list("species__scientific_name")
        .annotate(n=Count("id"))
        .order_by("-n", "species__scientific_name")[:12]
    )
    by_name = _by_name()
    for name, _ in seen:
        if (key := by_name.get(name.strip().casefold())) is not None:
            return key
    known = reserve_animals()
    return next((key for key in known if animals.animal(key).build == "deer"), known[0])


def _by_name() -> dict[str, str]:
    return {one.scientific.casefold(): one.key for one in animals.ANIMALS}


def feature(site: Site) -> Feature:
    """A site's feature as the planning room knows it; other for a word it does not know."""
    return site.feature if site.feature in get_args(Feature) else "other"  # type: ignore[return-value]


def aim(site: Site) -> Aim:
    """What such a site tells best."""
    told = season.ANSWERS[feature(site)]
    return max(told, key=lambda name: told[name][0], default="species")


def herd(site: Site) -> int:
    """How many may come at once: the most that were counted here, else ten where herds gather, else one."""
    standing = Event.objects.filter(deployment__site=site, word__isnull=False).order_by().values("word")
    most = (
        Sighting.objects.filter(word__in=standing, what="animal")
        .order_by()
        .values("word", "species")
        .annotate(n=Sum("count"))
        .aggregate(most=Max("n"))["most"]
    )
    if most:
        return min(int(most), 1000)
    return HERD if aim(site) in ("herd", "composition") else 1


def dials(site: Site) -> dict[str, Any]:
    """Dials that a fresh bench begins with, beside what is known of the place."""
    said = aim(site)
    return {"aim": said, "herd": herd(site)} if said in ("herd", "composition") else {"aim": said}
