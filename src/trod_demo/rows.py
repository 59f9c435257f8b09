"""The invented reserve as rows. Its pictures come in through the very import that a real card takes."""

from __future__ import annotations

import json
import shutil
import time
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from trod.archive import disk, papers, sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.imports import clocks, import_card
from trod.catalogue.line import Line, Silent, teller
from trod.catalogue.models import (
    Camera,
    CameraModel,
    Card,
    Deployment,
    Identification,
    Import,
    Picture,
    Reserve,
    Sequence,
    Sign,
    Site,
    Species,
    Visit,
)
from trod.catalogue.papers import ledger as files
from trod.catalogue.papers import standing
from trod.catalogue.rows import specs
from trod.errors import TrodError
from trod_demo import cards, past, reserve, upkeep
from trod_demo import rows_maintenance as demo_maintenance
from trod_demo.camera_models import CAMERA_SPECS
from trod_demo.identifications import identifications_from_truth
from trod_demo.truth import read_truth

# Named so that the same demo has the same uuids, on every machine.
SPACE = uuid.uuid5(uuid.NAMESPACE_DNS, "eskerwold.invalid")

# species: its key in the review, its group
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
    """Make the rows of `trod_demo.reserve.ledger()`, in one transaction. Doing it again changes nothing."""
    until = max(at for row in data["visits"] if (at := _instant(row["at"]))).date()
    with transaction.atomic():
        ground = _reserve(data["reserve"])
        species = {row["key"]: _species(row) for row in data["species"]}
        models = {row["slug"]: _camera_model(row) for row in data["camera_models"]}
        for spec in CAMERA_SPECS:  # what the placement planner reckons with, and some kinds nobody has bought yet
            specs.store(spec)
        standing = {row["camera"] for row in data["deployments"] if row["end"] is None}
        cameras = {row["serial"]: _camera(row, models, standing) for row in data["cameras"]}
        headings = {row["site"]: row["heading_deg"] for row in data["deployments"]}
        sites = {row["slug"]: _site(row, ground, headings.get(row["slug"])) for row in data["sites"]}
        for row in data["signs"]:
            _sign(row, ground, species)
        for one in upkeep.CANDIDATES:
            _candidate(one, ground, species, until)
        known_cards = {row["name"]: _card(row) for row in data["cards"]}
        in_camera = {row["deployment"]: known_cards[row["name"]] for row in data["cards"] if row["taken_out"] is None}
        deployments = {
            row["slug"]: _deployment(row, cameras, sites, in_camera.get(row["slug"])) for row in data["deployments"]
        }
        for row in data["visits"]:
            _visit(row, deployments, known_cards)
        demo_maintenance.keep(ground, until)


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
        boundary=_shapes(row["boundary"]),
        base_latitude=upkeep.BASE[0],
        base_longitude=upkeep.BASE[1],
        climate={
            "minimum_c": list(upkeep.NIGHT_MINIMUM_C),
            "sd_c": list(upkeep.NIGHT_SD_C),
            "source": "invented",
        },
        invented=True,
    )


def _shapes(boundary: Iterable[Iterable[float]]) -> dict[str, Any]:
    """The boundary and the lanes and paths as GeoJSON."""
    edge = {"type": "Polygon", "coordinates": [[list(corner) for corner in boundary]]}
    features = [{"type": "Feature", "properties": {"name": "Eskerwold"}, "geometry": edge}]
    for name, kind, corners in upkeep.LANES:
        line = {"type": "LineString", "coordinates": [list(corner) for corner in corners]}
        told = {"name": name, "drive": kind == "road"}
        features.append({"type": "Feature", "properties": told, "geometry": line})
    return {"type": "FeatureCollection", "features": features}


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
        batteries=row["batteries"],
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
    known = upkeep.NOTES[row["slug"]]
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
        ground={"offset_m": known.offset_m, "snow_m": list(known.snow_m)},
        access=known.access,
        safety=known.safety,
        closed=[{"from": first, "to": last, "why": why} for first, last, why in known.closed],
        losses_per_year=known.losses_per_year,
        disturbance_days=known.disturbance_days,
        note=f"{row['kind'].capitalize()}, {row['elevation_m']:.0f} m above the sea.",
    )


def _candidate(one: upkeep.Candidate, reserve: Reserve, species: dict[str, Species], until: date) -> Site:
    site = _make(
        Site,
        {"slug": one.slug},
        reserve=reserve,
        name=one.name,
        latitude=one.latitude_deg,
        longitude=one.longitude_deg,
        feature=FEATURES.get(one.kind, Site.Feature.OTHER),
        slope_deg=one.slope_deg,
        path_bearing_deg=one.path_bearing_deg,
        ground={"offset_m": one.notes.offset_m, "snow_m": list(one.notes.snow_m)},
        access=one.notes.access,
        safety=one.notes.safety,
        losses_per_year=one.notes.losses_per_year,
        disturbance_days=one.notes.disturbance_days,
        note=one.note,
    )
    for what, animal, days_ago in one.sign:
        _make(
            Sign,
            {"uuid": _uuid("sign", one.slug, what, animal)},
            reserve=reserve,
            site=site,
            kind=SIGNS.get(what, Sign.Kind.OTHER),
            species=species[animal],
            latitude=one.latitude_deg,
            longitude=one.longitude_deg,
            seen_on=until - timedelta(days=days_ago),
            seen_by=past.TECHNICIANS[0],
        )
    return site


def _sign(row: dict[str, Any], reserve: Reserve, species: dict[str, Species]) -> Sign:
    return _make(
        Sign,
        {"uuid": _uuid("sign", row["on"], row["kind"], row["species"], row["latitude_deg"], row["longitude_deg"])},
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
        batteries=row["batteries"],
        card=card,
    )


def _visit(row: dict[str, Any], deployments: dict[str, Deployment], cards: dict[str, Card]) -> Visit:
    deployment, at = deployments[row["deployment"]], _instant(row["at"])
    shown = None
    if row["clock_found_s"] is not None:
        # What the input showed, kept in a UTC column.
        assert at is not None  # it was read off at the visit
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
        battery_percent=row["battery_pct"],
        batteries_changed=row["batteries_changed"],
        card_out=cards.get(row["card_out"] or ""),
        card_in=cards.get(row["card_in"] or ""),
        clock_shown=shown,
        clock_true=at if shown else None,
        walk_test=row["kind"] == "set",
        work=", ".join(work),
        note=row["notes"],
    )


# Building ---------------------------------------------------------------------------------------------------

MARKER = "demo.json"  # in TROD_HOME: that all in it is invented, and whether it was built to its end
CARDS = "demo-cards"  # the two cards that were pulled on the last day
TRUTH = "demo-truth"  # what is really in each picture; for tests and benchmarks, never for a person's answer
MAKING = "demo-making"
LEFT_TO_DO = "larkfield-edge"  # of the two, the one that is still to be imported
SIZE_PX = (640, 480)


class RealData(TrodError):
    """The home holds records that are not invented."""

    def __str__(self) -> str:
        return f"{home.home()} holds real data; the demo is not mixed with it. Name another folder: trod demo --home DIR"


def read_marker() -> dict[str, Any] | None:
    """What was built here, or None when this is no demo home."""
    try:
        found = json.loads((home.home() / MARKER).read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _write_marker(**values: Any) -> None:
    disk.write_file(home.home() / MARKER, (json.dumps(values) + "\n").encode())


def is_free() -> bool:
    """Whether a demo may be built here: nothing was entered and nothing lies in the archive."""
    root = home.archive_root()
    empty = not root.is_dir() or not any(p.is_dir() and p.name != ".incoming" for p in root.iterdir())
    return empty and files.is_fresh()


def sweep() -> None:
    """Take away what a broken-off building of the demo left. Only where the marker says that it was one."""
    marker = read_marker()
    if marker is None or marker.get("built"):
        raise RealData
    if Reserve.objects.filter(invented=False).exists():
        raise RealData
    from trod.catalogue.work import rebuild

    for name in ("archive", "cache", CARDS, TRUTH, MAKING):
        shutil.rmtree(home.home() / name, ignore_errors=True)
    papers.forget()
    rebuild.empty_all()


def build(line: Line, *, pictures: int, seed: int, workers: int, now: datetime) -> dict[str, Any]:
    """Build the demo in an empty home, through the very import that a real card takes.

    pictures : about how many in all. now : the invented year ends on this day, as the reserve counts days.
    Returns counts and how long each part took. [s]
    """
    took: dict[str, float] = {}
    top = home.home()
    top.mkdir(parents=True, exist_ok=True)
    until = now.astimezone(ZoneInfo(reserve.RESERVE.time_zone)).date()
    _write_marker(seed=seed, pictures=pictures, until=until.isoformat(), built=False)
    making = top / MAKING
    shutil.rmtree(making, ignore_errors=True)
    with _timed(took, "records"):
        with files.quiet():
            load(reserve.ledger(until))
        files.catch_up()
    pulled = max(60, round(pictures * 0.14))
    with _timed(took, "drawing"):
        year = cards.write_year(
            making,
            seed=seed,
            pictures=max(1, pictures - 2 * pulled),
            size=SIZE_PX,
            workers=workers,
            now=until,
            progress=teller(line, "Drawing the pictures of a year"),
        )
        last = cards.write_two_cards(
            top / CARDS,
            seed=seed,
            pictures=pulled,
            size=SIZE_PX,
            workers=workers,
            now=until,
            progress=teller(line, "Drawing two cards just pulled"),
        )
    truth = [row for made in (*year, *last) for row in read_truth(made.truth)]
    (top / TRUTH).mkdir(exist_ok=True)
    for made in (*year, *last):
        shutil.move(made.truth, top / TRUTH / made.truth.name)
    shutil.rmtree(top / CARDS / "truth", ignore_errors=True)
    with _timed(took, "importing"):
        for number, made in enumerate(year):
            line.step(number, len(year) + 1, "Taking the cards in")
            _import_card(made.folder, made)
        for made in last:
            folder = made.folder.rename(top / CARDS / made.name)
            if made.site != LEFT_TO_DO:
                _import_card(folder, made, pulled_on=str(folder.parent.resolve()))
        line.step(len(year) + 1, len(year) + 1, "Taking the cards in")
    with _timed(took, "clocks"):
        _mend_clocks([d for d in Deployment.objects.all() if d.site.slug not in reserve.JUST_PULLED])
    with _timed(took, "words"):
        told = _say(truth, list(year), seed, line)
    shutil.rmtree(making, ignore_errors=True)
    files.catch_up()
    _write_marker(seed=seed, pictures=pictures, until=until.isoformat(), built=True)
    counts = {
        "pictures": Picture.objects.count(),
        "sequences": Sequence.objects.count(),
        "words": Identification.objects.count(),
    }
    return {"home": str(top), **counts, "took_s": {k: round(v, 1) for k, v in took.items()}, "told": told}


@contextmanager
def _timed(took: dict[str, float], name: str) -> Iterator[None]:
    began = time.monotonic()
    yield
    took[name] = took.get(name, 0.0) + time.monotonic() - began


def _import_card(folder: Path, made: Any, *, pulled_on: str = "/media/demo") -> None:
    deployment = Deployment.objects.select_related("camera", "site").get(slug=made.deployment)
    card = Card.objects.filter(label=made.name).first()
    visit = Visit.objects.filter(card_out=card).order_by("-at").first() if card else None
    at = (visit.at if visit else made.last) + timedelta(hours=9)
    by = visit.by if visit else ""
    card_import = import_card.begin(import_card.Asked(folder, deployment, card, by), now=at)
    import_card.import_card(card_import, line=Silent(), now=at, workers=1)
    # The demo's cards come home on the evening of their visit, not today.
    Import.objects.filter(pk=card_import.pk).update(
        finished_at=at + timedelta(seconds=max(1.0, card_import.seconds)), source=f"{pulled_on}/{made.name}"
    )


def _mend_clocks(deployments: list[Deployment]) -> None:
    """What the invented technicians did at home: accept the corrections that their visits call for."""
    for deployment in deployments:
        for one in clocks.proposals(deployment):
            visit = deployment.visits.filter(clock_shown=clocks.as_stored(one.to_raw)).first()
            clocks.correct(
                deployment,
                shift_s=one.shift_s,
                drift_s_per_day=one.drift_s_per_day,
                from_raw=one.from_raw,
                to_raw=one.to_raw,
                reason=one.reason,
                by=visit.by if visit else "demo",
                now=(visit.at if visit else deployment.start) + timedelta(hours=10),
            )


def _say(truth: list[Any], year: list[Any], seed: int, line: Line) -> list[str]:
    """Let the invented technicians look through the year: into identifications.jsonl first, then into the catalogue."""
    mine = {made.name for made in year}
    said_from = {made.name: made.last + timedelta(hours=12) for made in year}
    truth = [row for row in truth if row.card in mine]
    rows = list(Sequence.objects.filter(time_lapse=False).select_related("deployment__site").order_by("start_at", "key"))
    frames: dict[int, list[tuple[str, datetime]]] = {row.pk: [] for row in rows}
    of = Picture.objects.filter(sequence__isnull=False).order_by("taken_at", "file_order", "sha256")
    for sequence, sha256, at in of.values_list("sequence_id", "sha256", "taken_at"):
        if sequence in frames and at is not None:
            frames[sequence].append((sha256, at))
    said = identifications_from_truth(truth, [frames[row.pk] for row in rows], said_from=said_from, seed=seed, skip=0.03)
    acts: dict[str, list[dict[str, Any]]] = {}
    names = {row.slug: row for row in Species.objects.all()}
    for number, identification in enumerate(said):
        line.step(number + 1, len(said), "Looking through the year")
        sequence = rows[identification["sequence"]]
        place = f"{sequence.deployment.site.slug}/{sequence.deployment.slug}"
        acts.setdefault(place, []).append(_act(sequence, frames[sequence.pk], identification, names))
    for place, lines in acts.items():
        sidecar.append_identifications(home.archive_root() / place, lines)
        standing.add_lines(home.archive_root() / place, len(lines))
    replayed = identifications.replay(act for lines in acts.values() for act in lines)
    return replayed.told


def _act(
    sequence: Sequence, frames: list[tuple[str, datetime]], identification: dict[str, Any], names: dict[str, Species]
) -> dict[str, Any]:
    """A word as a line of identifications.jsonl. The truth gives its dots in the order of its lines."""
    dots = iter(identification["marks"])
    observations = []
    for row in identification["observations"]:
        kept: dict[str, Any] = {"what": row["what"], "count": row["count"]}
        if row["species"]:
            species = names[row["species"].replace("_", "-")]
            kept["species"] = {
                "slug": species.slug,
                "name": species.name,
                "scientific_name": species.scientific_name,
            }
        if row["sex"] != "unknown":
            kept["sex"] = row["sex"]
        if row["life_stage"] != "unknown":
            kept["life_stage"] = row["life_stage"]
        own = [d for _, d in zip(range(row["count"]), dots, strict=False)]
        if own and row["what"] not in ("blank", "unknown"):
            kept["dots"] = [{"picture": d["sha256"], "x": d["x"], "y": d["y"]} for d in own]
        observations.append(kept)
    return {
        "act": "say",
        "uuid": str(_uuid("identification", sequence.key)),
        "by": identification["by"],
        "at": identification["at"].replace("Z", "+00:00"),
        "sequence": sequence.key,
        "first": frames[0][0],
        "last": frames[-1][0],
        "note": identification["note"],
        "reached": "time",
        "observations": observations,
    }
