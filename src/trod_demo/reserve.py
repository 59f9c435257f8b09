"""Eskerwold, the invented reserve: its sites, species, cameras, and the year's deployments and visits.

There is no such place. Its point on the map lies at the foot of real mountains only so that the sun, the
snow and the seasons are likely; whoever lives there has nothing to do with it. The people, the makers and
their cameras are invented too. The species are real; their sizes are round figures from memory, and how
often and when they pass here is made up.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from typing import Any

from trod_demo.gear import (
    CAMERA_MODELS,
    CAMERAS,
    CAMERAS_BY_SERIAL,
    MODELS_BY_SLUG,
    Camera,
    CameraModel,
)
from trod_demo.past import (
    DEFAULT_NOW,
    JUST_PULLED,
    TECHNICIANS,
    TIME_LAPSE,
    YEAR_D,
    Card,
    ClockStep,
    Deployment,
    Sign,
    Spell,
    Visit,
    Year,
    year,
)
from trod_demo.places import RESERVE, SITES, SITES_BY_SLUG, Reserve, Site, sun_over
from trod_demo.wildlife import SPECIES, SPECIES_BY_KEY, Species

__all__ = [
    "CAMERAS",
    "CAMERAS_BY_SERIAL",
    "CAMERA_MODELS",
    "DEFAULT_NOW",
    "JUST_PULLED",
    "MODELS_BY_SLUG",
    "RESERVE",
    "SITES",
    "SITES_BY_SLUG",
    "SPECIES",
    "SPECIES_BY_KEY",
    "TECHNICIANS",
    "TIME_LAPSE",
    "YEAR_D",
    "Camera",
    "CameraModel",
    "Card",
    "ClockStep",
    "Deployment",
    "Reserve",
    "Sign",
    "Site",
    "Species",
    "Spell",
    "Visit",
    "Year",
    "ledger",
    "sun_over",
    "year",
]


def ledger(now: date = DEFAULT_NOW) -> dict[str, Any]:
    """Everything of the reserve as plain data (str, int, float, bool, None, list, dict), fit for JSON.

    Keys: reserve, people, species, camera_models, cameras, sites, signs, deployments, visits, cards. Times
    are ISO 8601 in UTC, dates ISO. What the demo alone knows (the troubles and the clocks' true errors) is
    left out: a person learns it from the visits and the pictures.
    """
    y = year(now)
    species = [
        {
            "key": s.key,
            "common": s.common,
            "scientific": s.scientific,
            "shoulder_m": s.shoulder_m,
            "length_m": s.length_m,
            "sensitive": s.sensitive,
        }
        for s in SPECIES
    ]
    sites = []
    for s in SITES:
        plain = asdict(s)
        for inner in ("look", "draw", "busy", "dwell", "range_m", "edge_m"):
            plain.pop(inner)
        sites.append(plain)
    deployments = []
    for d in y.deployments:
        plain = asdict(replace(d, clock=(), spells=()))
        plain.pop("clock")
        plain.pop("spells")
        plain["settings"] = dict(d.settings)
        deployments.append(plain)
    cards = []
    for c in y.cards:
        plain = asdict(c)
        cards.append(plain)
    data: dict[str, Any] = {
        "reserve": asdict(RESERVE),
        "people": list(TECHNICIANS),
        "species": species,
        "camera_models": [asdict(m) for m in CAMERA_MODELS],
        "cameras": [{k: v for k, v in asdict(c).items() if k != "drift_s_d"} for c in CAMERAS],
        "sites": sites,
        "signs": [asdict(s) for s in y.signs],
        "deployments": deployments,
        "visits": [asdict(v) for v in y.visits],
        "cards": cards,
    }
    plain_data: dict[str, Any] = _plain(data)
    return plain_data


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return value
