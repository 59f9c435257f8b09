"""The invented reserve as rows. Its pictures come in through the very intake that a real card takes."""

from __future__ import annotations

import uuid
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from trod.web.catalogue import ledger as files
from trod.web.models import (
    Camera,
    CameraModel,
    Card,
    Deployment,
    Reserve,
    Sign,
    Site,
    Species,
    Visit,
)

# Named so that the same demo has the same uuids, on every machine.
SPACE = uuid.uuid5(uuid.NAMESPACE_DNS, "eskerwold.invalid")

# species: its key in the look-through, its group
SPECIES = {
    "red_deer": ("d", "hoofed"),
    "roe_deer": ("r", "hoofed"),
    "wild_boar": ("b", "hoofed"),
    "red_fox": ("f", "carnivore"),
    "badger": ("g", "carnivore"),
    "brown_hare": ("h", "hares and rodents"),
    "grey_wolf": ("w", "carnivore"),
    "lynx": ("l", "carnivore"),
    "pine_marten": ("m", "carnivore"),
    "jay": ("j", "bird"),
}
FEATURES = {
    "track": Site.Feature.TRAIL,
    "ford": Site.Feature.FORD,
    "salt lick": Site.Feature.LICK,
    "winter feeding ground": Site.Feature.FEEDING,
    "meadow edge": Site.Feature.MEADOW,
    "ridge saddle": Site.Feature.SADDLE,
    "closed lane": Site.Feature.ROAD,
    "water hole": Site.Feature.WATER,
    "orchard wall": Site.Feature.FENCE,
    "sett": Site.Feature.DEN,
}
SIGNS = {
    "tracks": Sign.Kind.TRACKS,
    "scat": Sign.Kind.SCAT,
    "latrine": Sign.Kind.SCAT,
    "rub": Sign.Kind.RUB,
    "scrape": Sign.Kind.SCRAPE,
    "wallow": Sign.Kind.SCRAPE,
    "bed": Sign.Kind.BED,
    "rooting": Sign.Kind.FEEDING,
}
ARRIVALS = {
    "working": Visit.Arrival.WORKING,
    "dead": Visit.Arrival.DEAD,
    "askew": Visit.Arrival.KNOCKED,
    "card full": Visit.Arrival.FULL,
}


def load(data: dict[str, Any]) -> None:
    """Make the rows of `trod.demo.reserve.ledger()`, in one transaction. Doing it again changes nothing."""
    with transaction.atomic():
        reserve = _reserve(data["reserve"])
        species = {row["key"]: _species(row) for row in data["species"]}
        models = {row["slug"]: _camera_model(row) for row in data["camera_models"]}
        standing = {row["camera"] for row in data["deployments"] if row["end"] is None}
        cameras = {row["serial"]: _camera(row, models, standing) for row in data["cameras"]}
        headings = {row["site"]: row["heading_deg"] for row in data["deployments"]}
        sites = {row["slug"]: _site(row, reserve, headings.get(row["slug"])) for row in data["sites"]}
        for row in data["signs"]:
            _sign(row, reserve, species)
        cards = {row["name"]: _card(row) for row in data["cards"]}
        in_camera = {
            row["deployment"]: cards[row["name"]] for row in data["cards"] if row["taken_out"] is None
        }
        deployments = {
            row["slug"]: _deployment(row, cameras, sites, in_camera.get(row["slug"]))
            for row in data["deployments"]
        }
        for row in data["visits"]:
            _visit(row, deployments, cards)


def _make(model: Any, known_by: dict[str, Any], /, **values: Any) -> Any:
    row, _ = model.objects.update_or_create(**known_by, defaults=values)
    return row


def _uuid(*parts: object) -> uuid.UUID:
    return uuid.uuid5(SPACE, "/".join(str(p) for p in parts))


def _instant(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text.replace("Z", "+00:00")) if text else None


def _reserve(row: dict[str, Any]) -> Reserve:
    return _make(
        Reserve,
        {"slug": row["slug"]},
        name=row["name"],
        latitude=row["latitude_deg"],
        longitude=row["longitude_deg"],
        zone=row["time_zone"],
        note=row["note"],
        boundary={"type": "Polygon", "coordinates": [[list(corner) for corner in row["boundary"]]]},
        invented=True,
    )


def _species(row: dict[str, Any]) -> Species:
    key, group = SPECIES.get(row["key"], (None, ""))
    return _make(
        Species,
        {"slug": row["key"].replace("_", "-")},
        name=row["common"],
        scientific_name=row["scientific"],
        key=key,
        group=group,
        shoulder_height_m=row["shoulder_m"],
        body_length_m=row["length_m"],
    )


def _camera_model(row: dict[str, Any]) -> CameraModel:
    return _make(
        CameraModel,
        {"slug": row["slug"]},
        maker=row["maker"],
        name=row["model"],
        field_of_view_deg=row["hfov_deg"],
        trigger_time_s=row["trigger_s"],
        recovery_time_s=row["rearm_s"],
        burst_max=row["burst"],
        flash={"low-glow": "low_glow", "no-glow": "no_glow"}.get(row["flash"], ""),
        flash_range_m=row["flash_range_m"],
        native_megapixels=row["megapixels"],
        cells=row["cells"],
        note="An invented maker and model.",
    )


def _camera(row: dict[str, Any], models: dict[str, CameraModel], standing: set[str]) -> Camera:
    state = Camera.State.REPAIR if row["state"] == "faulty" else Camera.State.READY
    if row["serial"] in standing:
        state = Camera.State.OUT
    return _make(
        Camera,
        {"serial": row["serial"]},
        name=row["name"],
        model=models[row["model"]],
        state=state,
        note=f"Bought {row['bought']}.",
    )


def _site(row: dict[str, Any], reserve: Reserve, heading_deg: float | None) -> Site:
    return _make(
        Site,
        {"slug": row["slug"]},
        reserve=reserve,
        name=row["name"],
        latitude=row["latitude_deg"],
        longitude=row["longitude_deg"],
        feature=FEATURES.get(row["kind"], Site.Feature.OTHER),
        slope_deg=row["slope_deg"],
        path_bearing_deg=None if heading_deg is None else (heading_deg + row["path_deg"]) % 180,
        canopy_percent=round(100 * row["canopy"]),
        tree=row["tree"],
        sensitive=row["sensitive"],
        note=f"{row['kind'].capitalize()}, {row['elevation_m']:.0f} m above the sea.",
    )


def _sign(row: dict[str, Any], reserve: Reserve, species: dict[str, Species]) -> Sign:
    return _make(
        Sign,
        {
            "uuid": _uuid(
                "sign", row["on"], row["kind"], row["species"], row["latitude_deg"], row["longitude_deg"]
            )
        },
        reserve=reserve,
        kind=SIGNS.get(row["kind"], Sign.Kind.OTHER),
        species=species[row["species"]],
        seen_on=date.fromisoformat(row["on"]),
        latitude=row["latitude_deg"],
        longitude=row["longitude_deg"],
        seen_by=row["by"],
        note=", ".join(filter(None, ("" if row["kind"] in SIGNS.values() else row["kind"], row["note"]))),
    )


def _card(row: dict[str, Any]) -> Card:
    return _make(
        Card,
        {"label": row["name"]},
        size_gb=row["size_gb"],
        state=Card.State.OUT if row["taken_out"] is None else Card.State.HOME,
    )


def _deployment(
    row: dict[str, Any], cameras: dict[str, Camera], sites: dict[str, Site], card: Card | None
) -> Deployment:
    settings = row["settings"]
    return _make(
        Deployment,
        {"slug": row["slug"]},
        camera=cameras[row["camera"]],
        site=sites[row["site"]],
        start=_instant(row["start"]),
        end=_instant(row["end"]),
        utc_offset_min=row["utc_offset_min"],
        height_m=row["lens_height_m"],
        tilt_deg=row["tilt_deg"],
        heading_deg=row["heading_deg"],
        aim_distance_m=row["aim_distance_m"],
        burst=int(settings.get("burst", 1)),
        delay_s=float(settings.get("rest", "0 s").split()[0]),
        sensitivity=settings.get("sensitivity", "high"),
        time_lapse_h=float(settings["time lapse"].split()[0]) if "time lapse" in settings else None,
        cells=row["cells"],
        card=card,
    )


def _visit(row: dict[str, Any], deployments: dict[str, Deployment], cards: dict[str, Card]) -> Visit:
    deployment, at = deployments[row["deployment"]], _instant(row["at"])
    shown = None
    if row["clock_found_s"] is not None:
        # What the dial showed, kept in a UTC column.
        shown = at + timedelta(minutes=deployment.utc_offset_min, seconds=row["clock_found_s"])
    work = [row["kind"]]
    if row["clock_set"]:
        work.append("clock set")
    return _make(
        Visit,
        {"uuid": _uuid("visit", row["deployment"], row["at"])},
        site=deployment.site,
        deployment=deployment,
        at=at,
        by=row["by"],
        arrival=ARRIVALS.get(row["found"], Visit.Arrival.UNKNOWN),
        cells_percent=row["battery_pct"],
        cells_changed=row["cells_changed"],
        card_out=cards.get(row["card_out"] or ""),
        card_in=cards.get(row["card_in"] or ""),
        clock_shown=shown,
        clock_true=at if shown else None,
        walk_test=row["kind"] == "set",
        work=", ".join(work),
        note=row["notes"],
    )


def is_demo_home() -> bool:
    """Whether all that was entered here is invented."""
    return Reserve.objects.exists() and not Reserve.objects.filter(invented=False).exists()


def is_empty_home() -> bool:
    return files.is_fresh()
