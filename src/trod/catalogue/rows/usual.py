"""What a person most likely means at a site: camera, animal, question, herd.

Placement planner and settings begin with it.
"""

from __future__ import annotations

from typing import Any, get_args

from trod.catalogue.models import Camera, CameraModel, DaySum, Deployment, Site, Species
from trod.catalogue.rows import rollups
from trod.planning.catch import animals
from trod.planning.ground.site import Feature
from trod.planning.place import season
from trod.planning.place.adviser import Aim

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


def days(site: Site) -> list[DaySum]:
    """Every day of a site's cameras, as `animal` and `herd` want them."""
    return rollups.days(Deployment.objects.filter(site=site), site.reserve.zone)


def animal(site: Site, every: list[DaySum] | None = None) -> str:
    """Key of the animal that people saw most at a site, else of the reserve's first hoofed one."""
    seen = rollups.species(days(site) if every is None else every)
    by_name = _by_name()
    names = dict(Species.objects.filter(pk__in=seen).values_list("pk", "scientific_name"))
    for number in sorted(names, key=lambda of: (-seen[of][0], names[of])):
        if (key := by_name.get(names[number].strip().casefold())) is not None:
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
    return max(told, key=lambda name: told[name], default="species")


def herd(site: Site, every: list[DaySum] | None = None) -> int:
    """How many may come at once: the most that were counted here, else ten where herds gather, else one."""
    most = max((one.most for one in (days(site) if every is None else every)), default=0)
    if most:
        return min(int(most), 1000)
    return HERD if aim(site) in ("herd", "composition") else 1


def inputs(site: Site) -> dict[str, Any]:
    """Input that a fresh placement planner begins with, beside what is known of the place."""
    said = aim(site)
    return {"aim": said, "herd": herd(site)} if said in ("herd", "composition") else {"aim": said}
