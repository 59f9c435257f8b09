"""What an import of identified records would do, worked out before anything is written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from trod.catalogue.imports.records import find_site
from trod.catalogue.models import Camera, Deployment, RecordImport, Reserve, Sequence, Site, Species
from trod.catalogue.slugs import slug_from
from trod.exchange.records_in import Records
from trod.exchange.stated import Skipped, StatedDeployment, StatedSequence
from trod.findings import taxa
from trod.planning.visit import travel

CHUNK = 400
SAME = timedelta(seconds=1)
SAME_PLACE_M = 1000.0  # ours: positions of one site by hand, by map and by satellite differ by less
NO_CAMERA = "not told, "  # head of the serial of a camera that the records do not name
# The standard's features of a place, by our own. Ours.
FEATURES = {
    "roadPaved": Site.Feature.ROAD, "roadDirt": Site.Feature.ROAD, "roadUnderpass": Site.Feature.ROAD,
    "roadOverpass": Site.Feature.ROAD, "roadBridge": Site.Feature.ROAD, "trailHiking": Site.Feature.TRAIL,
    "trailGame": Site.Feature.TRAIL, "culvert": Site.Feature.FORD, "burrow": Site.Feature.DEN,
    "nestSite": Site.Feature.DEN, "carcass": Site.Feature.OTHER, "waterSource": Site.Feature.WATER,
    "fruitingTree": Site.Feature.FEEDING,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What a person chose.

    columns : {meaning: column} of a CSV file. species : {what the records call a kind: slug}, '' for a new one. effort,
    machine : as in RecordImport. zone : of times without one; '' for the reserve's.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    species: Mapping[str, str] = field(default_factory=dict)
    effort: str = RecordImport.Effort.STATED
    machine: bool = False
    zone: str = ""


@dataclass(frozen=True, kw_only=True)
class PlannedKind:
    """A kind of animal. called : by the records. row : yours, if there is one; else `name` becomes one."""

    called: str
    scientific_name: str
    name: str
    rows: int
    row: Species | None = None


@dataclass(frozen=True, kw_only=True)
class PlannedDeployment:
    """A deployment. known : yours already; then only sequences that are not here yet are added."""

    stated: StatedDeployment
    known: Deployment | None = None
    site: Site | None = None
    camera: Camera | None = None
    camera_name: str = ""


@dataclass(kw_only=True)
class Plan:
    """What would be done. here : sequences that the catalogue has already. skipped : rows and deployments left out."""

    deployments: list[PlannedDeployment]
    kinds: list[PlannedKind]
    skipped: list[Skipped]
    sequences: int = 0
    unreviewed: int = 0
    machine: int = 0
    here: int = 0
    observations: int = 0
    files: int = 0

    @property
    def new_deployments(self) -> list[PlannedDeployment]:
        return [one for one in self.deployments if one.known is None]

    @property
    def adds(self) -> bool:
        """Whether it would add anything."""
        return bool(self.sequences or self.new_deployments)


def key_of(slug: str, deployment: str, stated_key: str) -> str:
    """The key of a sequence of imported records: the same whenever these records are read."""
    told = hashlib.sha256(f"{deployment}\n{stated_key}".encode()).hexdigest()[:24]
    return f"{slug[:35]}.stated-{told}"


def zone_of(choices: Choices) -> str:
    """The time zone of times that are written without one."""
    reserve = Reserve.objects.order_by("id").first()
    return choices.zone or (reserve.zone if reserve is not None else "UTC")


def counts(sequence: StatedSequence, *, machine: bool) -> bool:
    """Whether a sequence comes in as identified."""
    return bool(sequence.lines) and (machine or not sequence.machine)


def make(records: Records, choices: Choices, *, progress: Any = None) -> Plan:
    """Hold records against the catalogue. Reads only."""
    plan = Plan(deployments=[], kinds=_kinds(records, choices), skipped=records.skipped())
    busy: dict[str, list[tuple[datetime, datetime | None, str]]] = {}
    stated = records.deployments()
    for number, one in enumerate(stated):
        if progress is not None:
            progress(number, len(stated))
        planned = _deployment(one)
        if planned.known is None and (other := _overlap(planned, busy)):
            file = next(iter(records.source.files.values()))
            reason = f"the camera “{planned.camera_name}” stands at {other} in that time, so “{one.key}” was left out."
            plan.skipped.append(Skipped(file=file, row=one.row, reason=reason))
            continue
        plan.deployments.append(planned)
        for sequence, is_here in fresh(records, planned):
            if is_here:
                plan.here += 1
                continue
            plan.sequences += 1
            plan.machine += sequence.machine
            known = counts(sequence, machine=choices.machine)
            plan.unreviewed += not known and not sequence.time_lapse
            plan.observations += len(sequence.lines) if known else 0
            plan.files += len(sequence.files)
    return plan


def fresh(records: Records, planned: PlannedDeployment) -> Iterator[tuple[StatedSequence, bool]]:
    """The sequences of a deployment, each with whether the catalogue has it already."""
    found = records.sequences(planned.stated.key)
    if planned.known is None:
        yield from ((one, False) for one in found)
        return
    slug = planned.known.slug
    for start in range(0, len(found), CHUNK):
        piece = found[start : start + CHUNK]
        keys = {key_of(slug, planned.stated.key, one.key): one.key for one in piece}
        wanted = [*keys, *(one.key for one in piece)]
        have = set(Sequence.objects.filter(key__in=wanted).values_list("key", flat=True))
        known = {keys.get(key, key) for key in have}
        yield from ((one, one.key in known) for one in piece)


def known_deployments() -> dict[str, str]:
    """{what records call a deployment: slug} of all imports that stand."""
    out: dict[str, str] = {}
    for names in (
        RecordImport.objects.filter(undone_at__isnull=True).order_by("at").values_list("deployments", flat=True)
    ):
        out |= names
    return out


def _deployment(one: StatedDeployment) -> PlannedDeployment:
    slugs = [slug for slug in (known_deployments().get(one.key), one.key) if slug]
    rows = Deployment.objects.select_related("site", "camera").filter(slug__in=slugs)
    row = next((d for d in rows if abs(d.start - one.start) <= SAME), None)
    site = row.site if row is not None else site_of(one)
    name = one.camera or f"{NO_CAMERA}{one.key}"[:64]
    camera = Camera.objects.filter(serial=name[:64]).first()
    return PlannedDeployment(stated=one, known=row, site=site, camera=camera, camera_name=name[:64])


def site_of(one: StatedDeployment) -> Site | None:
    """Your site of that name, where it lies about where the records say; two of one name far apart are two."""
    named = find_site(one.place)
    if named is None or one.latitude_deg is None or one.longitude_deg is None:
        return named
    for site in (named, *Site.objects.filter(name__istartswith=f"{one.place} (").order_by("pk")):
        apart_m = travel.distance_m(site.latitude, site.longitude, one.latitude_deg, one.longitude_deg)
        if apart_m <= max(SAME_PLACE_M, 1.5 * (one.uncertainty_m or 0.0)):
            return site
    return None


def _overlap(one: PlannedDeployment, busy: dict[str, list[tuple[datetime, datetime | None, str]]]) -> str:
    """Where the camera is in that time already; '' for nowhere."""
    taken = busy.setdefault(one.camera_name, [])
    if one.camera is not None and not taken:
        rows = one.camera.deployments.values_list("start", "end", "site__name")
        taken += list(rows)
    start, end = one.stated.start.astimezone(UTC), one.stated.end.astimezone(UTC)
    for a, b, where in taken:
        if a < end and (b is None or start < b):
            return where
    taken.append((start, end, one.stated.place))
    return ""


def _kinds(records: Records, choices: Choices) -> list[PlannedKind]:
    names, out = records.source.names, []
    for latin, name, rows in records.kinds():
        called = latin or name
        everyday = name or names.get(latin.casefold(), "")
        out.append(
            PlannedKind(
                called=called,
                scientific_name=latin,
                name=(everyday[:1].upper() + everyday[1:]) or latin,
                rows=rows,
                row=species_row(latin, name, choices.species.get(called)),
            )
        )
    return out


def species_row(latin: str, name: str, chosen: str | None) -> Species | None:
    """The kind of yours that records mean. chosen : its slug; '' for a new one; None to find it by its name."""
    if chosen:
        return Species.objects.filter(slug=chosen).first()
    if chosen == "":
        return None
    row = Species.objects.filter(scientific_name__iexact=latin).first() if latin else None
    if row is None and name:
        row = (
            Species.objects.filter(name__iexact=name).first()
            or Species.objects.filter(scientific_name__iexact=name).first()
            or Species.objects.filter(slug=slug_from(name, "species")).first()
        )
    return row


def taxon_of(latin: str) -> taxa.Taxon | None:
    """What general knowledge has of a kind above species."""
    return next((t for t in taxa.KNOWN if t.scientific_name.casefold() == latin.casefold()), None)
