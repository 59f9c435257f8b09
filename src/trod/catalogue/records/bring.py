"""Identified records brought in: their files into a bag, then in one transaction what they say.

Killed before the transaction ends, the catalogue knows nothing of them; the bag stays and is used when the same records
come again. Killed after it, the papers are written at the next start.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from django.db import transaction

from trod.archive import card_import as core
from trod.archive.card import CardListing, Entry
from trod.archive.content import kind_of
from trod.archive.making import Placement
from trod.catalogue import home
from trod.catalogue.imports import bags, facts
from trod.catalogue.imports.records import PLACE_UNKNOWN
from trod.catalogue.line import Line, teller
from trod.catalogue.models import (
    Camera,
    CameraModel,
    Deployment,
    Import,
    RecordImport,
    Reserve,
    Silence,
    Site,
    Species,
)
from trod.catalogue.papers import ledger, standing
from trod.catalogue.records import again, plan
from trod.catalogue.records.plan import Choices, Plan, PlannedDeployment, PlannedKind
from trod.catalogue.rows import taxa
from trod.catalogue.slugs import free_slug, slug_from
from trod.errors import CatalogueTrouble, WrongInput
from trod.exchange import records_source
from trod.exchange.records_in import Records
from trod.exchange.records_source import DESCRIPTOR, FLAT, Source
from trod.exchange.stated import Skipped
from trod.wording.counts import plural

READING = "Reading records"
LISTED = 500  # rows that were left out, kept with the import
PIECE = 1 << 20


@dataclass(frozen=True, kw_only=True)
class Brought:
    """What an import did. row : None when it added nothing."""

    row: RecordImport | None
    plan: Plan
    deployments: int = 0
    sequences: int = 0
    observations: int = 0

    @property
    def skipped(self) -> list[Skipped]:
        return self.plan.skipped

    @property
    def sentence(self) -> str:
        """What it did, in words."""
        if self.row is None:
            return f"Nothing in it is new: {self.plan.here} sequences are here already."
        many = len(self.skipped)
        left = f" {plural(many, 'row')} {'was' if many == 1 else 'were'} left out." if many else ""
        return (
            f"Imported: {plural(self.deployments, 'deployment')}, {plural(self.sequences, 'sequence')}, "
            f"{plural(self.observations, 'observation')}. "
            f"Not reviewed: {plural(self.plan.unreviewed, 'sequence')}.{left}"
        )

    def as_json(self) -> dict[str, Any]:
        return {
            "import": self.row.bag if self.row is not None else None,
            "deployments": self.deployments,
            "sequences": self.sequences,
            "observations": self.observations,
            "unreviewed": self.plan.unreviewed,
            "already_here": self.plan.here,
            "skipped": [{"file": s.file, "row": s.row, "reason": s.reason} for s in self.skipped],
        }


def look(path: Path, choices: Choices) -> Source:
    """What lies at a path. Raises WrongInput for what cannot be read as records."""
    if choices.zone and choices.zone not in available_timezones():
        raise WrongInput("zone", got=choices.zone, needed="a time zone such as Europe/Vienna")
    source = records_source.look(path, choices.columns)
    if sentence := records_source.lacking(source):
        raise WrongInput("columns", got=", ".join(source.heads)[:200], needed=sentence)
    return source


def preview(path: Path, choices: Choices, line: Line) -> tuple[Source, Plan]:
    """What an import would do. Writes nothing. Raises WrongInput."""
    source = look(path, choices)
    with Records(source, zone=plan.zone_of(choices)) as records:
        records.read(teller(line, READING))
        return source, plan.make(records, choices, progress=teller(line, "Comparing"))


def bring(path: Path, choices: Choices, *, by: str, now: datetime, line: Line) -> Brought:
    """Import identified records. Raises WrongInput, and what the archive raises."""
    standing.require()
    source = look(path, choices)
    zone = plan.zone_of(choices)
    with Records(source, zone=zone) as records:
        before = _digests(source)
        records.read(teller(line, READING))
        planned = plan.make(records, choices, progress=teller(line, "Comparing"))
        if not planned.adds:
            return Brought(row=None, plan=planned)
        name = _into_a_bag(source, before, now=now, by=by, line=line)
        row = RecordImport(
            bag=name,
            title=source.title[:200],
            source=str(path.resolve())[:500],
            digest=_digest(before),
            at=now,
            by=by[:80],
            effort=choices.effort,
            machine=choices.machine,
            zone=zone,
            columns=dict(source.columns),
            skipped=[s.sentence for s in planned.skipped[:LISTED]],
        )
        with transaction.atomic():
            _register(name, source, now=now, by=by, line=line)
            made = _records(row, planned, source)
            row.save()
            done = again.fill(row, records, line)
            row.counts = {**done, "deployments": len(made["deployments"]), "skipped": len(planned.skipped)}
            row.save(update_fields=["counts"])
    _read_pictures(name, line)
    return Brought(
        row=row,
        plan=planned,
        deployments=len(made["deployments"]),
        sequences=done["sequences"],
        observations=done["observations"],
    )


# The bag ----------------------------------------------------------------------------------------------------


def _entries(source: Source) -> list[Entry]:
    """The files of the records, and of their pictures those that lie beside them."""
    names = [*source.files.values()]
    if not source.flat and (source.folder / DESCRIPTOR).is_file():
        names.append(DESCRIPTOR)
    root = source.folder.resolve()
    for _, cells in source.rows("media"):
        name = (cells.get("filePath") or "").strip()
        if not name or ":" in name or name.startswith(("/", ".", "~")) or ".." in name or "\\" in name:
            continue
        if kind_of(name) in ("picture", "clip"):
            names.append(name)
    out = []
    for name in dict.fromkeys(names):
        place = source.folder.joinpath(*name.split("/"))
        try:
            if place.is_symlink() or not place.is_file() or root not in place.resolve().parents:
                continue
            status = place.stat()
        except OSError:
            continue
        kind = kind_of(name)
        out.append(Entry(name, status.st_size, status.st_mtime_ns, kind, companion=kind not in ("picture", "clip")))
    return out


def _digests(source: Source) -> dict[str, str]:
    """{name: SHA-256 of a table or descriptor; of a picture its size}."""
    out = {}
    for entry in _entries(source):
        if entry.companion:
            told = hashlib.sha256()
            with source.folder.joinpath(*entry.path.split("/")).open("rb") as file:
                while piece := file.read(PIECE):
                    told.update(piece)
            out[entry.path] = told.hexdigest()
        else:
            out[entry.path] = str(entry.size_bytes)
    return out


def _digest(files: Mapping[str, str]) -> str:
    return hashlib.sha256(repr(sorted(files.items())).encode()).hexdigest()


def _into_a_bag(source: Source, files: Mapping[str, str], *, now: datetime, by: str, line: Line) -> str:
    """Keep the files; returns the bag's name. One that a killed import left is taken up, or used as it is."""
    root = home.archive_root()
    root.mkdir(parents=True, exist_ok=True)
    mark = _digest(files)[:12]
    copying = teller(line, "Copying")
    for unfinished in core.unfinished(root):
        if unfinished.name.endswith(f"-records-{mark}") and unfinished.source.is_dir():
            core.resume(root, unfinished.name, already_have=_never, progress=copying, stop=line.stop)
            return unfinished.name
    for kept in sorted((root / core.UNPLACED).glob(f"*-records-{mark}")):
        return kept.name
    name = f"{now.astimezone(UTC):%Y-%m-%d-%H%M%S}-records-{mark}"
    about = {
        "External-Description": "Identified records of motion-triggered cameras, as they came",
        "Trod-Source": str(source.folder)[:400],
        "Trod-Begun": ledger.moment(now),
    } | ({"Contact-Name": by} if by else {})
    _row(name, source, now=now, by=by).save()  # a catalogue that was empty knows from now on that something comes
    with tempfile.TemporaryDirectory(prefix="trod-records-") as aside:
        folder = source.folder
        if source.flat:  # one file may well lie in a folder that holds the archive, too
            folder = Path(aside)
            shutil.copy2(source.path(FLAT), folder / source.files[FLAT])
        core.import_card(
            CardListing(folder, tuple(_entries(source)), waiting=()),
            root,
            place=Placement(),
            name=name,
            about=about,
            already_have=_never,
            now=now,
            progress=copying,
            stop=line.stop,
        )
    return name


def _row(name: str, source: Source, *, now: datetime, by: str) -> Import:
    """The row of a bag of records; the one that is there, or a new one."""
    known = Import.objects.filter(name=name).first()
    folder = f"{core.UNPLACED}/{name}"
    return known or Import(name=name, folder=folder, source=str(source.folder)[:500], started_at=now, by=by[:80])


def _never(sha256: str) -> None:
    """The files of one import lie together, also where the archive has some of them elsewhere."""
    return None


def _register(name: str, source: Source, *, now: datetime, by: str, line: Line) -> None:
    """The bag in the catalogue, as a bag whose pictures nobody places by hand."""
    row = _row(name, source, now=now, by=by)
    if row.state == Import.State.WHOLE:
        return
    bag = bags.read_bag(home.archive_root(), row.folder)
    row.state, row.finished_at = Import.State.WHOLE, max(now, datetime.now(UTC))
    bags.count(bag, row)
    row.bytes = sum(f.size_bytes for f in (*bag.files, *bag.others))
    row.save()
    bags.register(bag, row, line)


def _read_pictures(name: str, line: Line) -> None:
    """What the pictures that came along say of themselves; a kill is made good by the worker."""
    card_import = Import.objects.get(name=name)
    facts.read(card_import.pictures.all(), line)


# The records ------------------------------------------------------------------------------------------------


def _records(row: RecordImport, planned: Plan, source: Source) -> dict[str, list[str]]:
    """Sites, cameras, deployments and kinds of animal that are not there yet."""
    made: dict[str, list[str]] = {"deployments": [], "sites": [], "cameras": [], "camera_models": [], "species": []}
    reserve = _reserve(row, planned, source)
    row.deployments = {}
    for one in planned.deployments:
        deployment = one.known or _deployment(row, reserve, one, made)
        row.deployments[one.stated.key] = deployment.slug
    row.species = {kind.called: _species(kind, source, made).slug for kind in planned.kinds}
    row.made = made
    return made


def _reserve(row: RecordImport, planned: Plan, source: Source) -> Reserve:
    found = Reserve.objects.order_by("id").first()
    if found is not None:
        return found
    places = [
        (d.stated.latitude_deg, d.stated.longitude_deg)
        for d in planned.deployments
        if d.stated.latitude_deg is not None and d.stated.longitude_deg is not None
    ]
    name = source.title[:120] or "My reserve"
    return Reserve.objects.create(
        name=name,
        slug=slug_from(name, "my-reserve")[:56],
        latitude=sum(p[0] for p in places) / len(places) if places else 0.0,
        longitude=sum(p[1] for p in places) / len(places) if places else 0.0,
        zone=row.zone,
        note="Made by an import of records; its place is the middle of their sites." if places else PLACE_UNKNOWN,
    )


def _deployment(row: RecordImport, reserve: Reserve, one: PlannedDeployment, made: dict[str, list[str]]) -> Deployment:
    stated = one.stated
    site = one.site or plan.site_of(stated)
    if site is None:
        has_place = stated.latitude_deg is not None and stated.longitude_deg is not None
        note = "" if has_place else PLACE_UNKNOWN
        if has_place and stated.uncertainty_m is not None:
            note = f"Its place is told to {stated.uncertainty_m:g} m, by the records it was imported with."
        site = Site.objects.create(
            reserve=reserve,
            name=_free_site_name(reserve, stated.place[:110]),
            slug=free_slug(Site, slug_from(stated.place, "site")),
            latitude=stated.latitude_deg if has_place else reserve.latitude,
            longitude=stated.longitude_deg if has_place else reserve.longitude,
            feature=plan.FEATURES.get(stated.feature, Site.Feature.OTHER),
            note=note,
        )
        made["sites"].append(site.slug)
    camera = one.camera or Camera.objects.filter(serial=one.camera_name).first()
    if camera is None:
        camera = Camera.objects.create(
            serial=one.camera_name, state=Camera.State.RETIRED, model=_camera_model(stated.camera_model, made)
        )
        made["cameras"].append(camera.serial)
    slug = slug_from(stated.key, "deployment")
    deployment = Deployment.objects.create(
        slug=free_slug(Deployment, slug),
        camera=camera,
        site=site,
        start=stated.start,
        end=stated.end,
        utc_offset_min=stated.utc_offset_min,
        height_m=stated.height_m,
        tilt_deg=stated.tilt_deg,
        heading_deg=stated.heading_deg,
        delay_s=stated.delay_s or 0.0,
        set_by=stated.set_by[:80],
        note=stated.note,
    )
    if stated.stated and row.effort == RecordImport.Effort.STATED:  # somebody decided so by importing it that way
        Silence.objects.create(
            deployment=deployment, from_at=stated.start, to_at=stated.end, watched=True, by=row.by, at=row.at
        )
    made["deployments"].append(deployment.slug)
    return deployment


def _free_site_name(reserve: Reserve, wanted: str) -> str:
    name, number = wanted, 1
    while Site.objects.filter(reserve=reserve, name__iexact=name).exists():
        number += 1
        name = f"{wanted} ({number})"
    return name


def _camera_model(told: str, made: dict[str, list[str]]) -> CameraModel | None:
    """The standard writes maker-model."""
    maker, _, name = told.partition("-")
    if not maker.strip() or not name.strip():
        return None
    maker, name = maker.strip()[:80], name.strip()[:80]
    row = CameraModel.objects.filter(maker__iexact=maker, name__iexact=name).first()
    if row is None:
        slug = free_slug(CameraModel, slug_from(f"{maker} {name}", "camera-model"))
        row = CameraModel.objects.create(maker=maker, name=name, slug=slug)
        made["camera_models"].append(row.slug)
    return row


def _species(kind: PlannedKind, source: Source, made: dict[str, list[str]]) -> Species:
    if kind.row is not None:
        return kind.row
    before = set(Species.objects.values_list("slug", flat=True))
    taxon = plan.taxon_of(kind.scientific_name) if kind.scientific_name else None
    if taxon is not None:
        row = taxa.ensure(taxon)
    else:
        name, number = kind.name[:70], 1
        while Species.objects.filter(name__iexact=name).exists():
            number += 1
            name = f"{kind.name[:70]} ({number})"
        rank = source.ranks.get(kind.scientific_name.casefold(), "species")
        row = Species.objects.create(
            name=name,
            scientific_name=kind.scientific_name[:120],
            rank=rank if rank in Species.Rank.values else Species.Rank.SPECIES,
            slug=free_slug(Species, slug_from(name, "species")),
        )
        taxa.place(row)
    made["species"] += sorted(set(Species.objects.values_list("slug", flat=True)) - before)
    return row


# Undone -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Cargo:
    """What an undo would take away. said_since : identifications that people here made on its sequences."""

    sequences: int
    deployments: int
    said_since: int


def cargo(row: RecordImport) -> Cargo:
    """What an undo would take away. Looks only."""
    from trod.catalogue.models import Identification

    mine = Identification.objects.filter(sequence__record_import=row, undone_at__isnull=True)
    said = mine.count() - row.counts.get("identified", 0)
    return Cargo(
        sequences=row.sequences.count(),
        deployments=len(row.made.get("deployments", ())),
        said_since=max(0, said),
    )


def undo(row: RecordImport, *, by: str, now: datetime, line: Line) -> RecordImport:
    """Take a whole import away; its files stay in the archive, and that it was undone stays on record.

    Raises CatalogueTrouble when people have identified some of its sequences anew since: that is theirs to undo first.
    """
    from trod.catalogue.models.sums import summing_up
    from trod.catalogue.rows import rollups

    if row.undone_at is not None:
        return row
    standing.require()
    if since := cargo(row).said_since:
        many = "1 identification was" if since == 1 else f"{since} identifications were"
        raise CatalogueTrouble(
            f"{many} made here on these sequences since. Undo those first, so that nobody's work goes with the import."
        )
    with transaction.atomic():
        touched = list(
            Deployment.objects.filter(slug__in=list(row.deployments.values())).select_related("site__reserve")
        )
        Import.objects.get(name=row.bag).pictures.update(deployment=None, sequence=None, taken_at=None)
        with summing_up():
            row.sequences.update(identification=None)
            row.sequences.all().delete()
        for number, deployment in enumerate(touched):
            line.step(number, len(touched), "Undoing")
            if deployment.slug in row.made.get("deployments", ()) and _is_bare(deployment):
                deployment.delete()
            else:
                rollups.refresh(deployment)
        _take_unused(row)
        row.undone_at, row.undone_by = now, by[:80]
        row.save(update_fields=["undone_at", "undone_by"])
    return row


def _is_bare(deployment: Deployment) -> bool:
    """Whether nothing else hangs on a deployment."""
    others = (deployment.sequences, deployment.pictures, deployment.imports, deployment.visits, deployment.walk_tests)
    if any(rows.exists() for rows in others):
        return False
    folder = home.archive_root() / ledger.deployment_folder(deployment)
    return not (folder / "identifications.jsonl").exists()


def _take_unused(row: RecordImport) -> None:
    """Delete what was made for an import and nothing else uses."""
    for site in Site.objects.filter(slug__in=row.made.get("sites", ())):
        if not (site.deployments.exists() or site.visits.exists() or site.sign.exists()):
            site.delete()
    for camera in Camera.objects.filter(serial__in=row.made.get("cameras", ())):
        if not camera.deployments.exists():
            camera.delete()
    for model in CameraModel.objects.filter(slug__in=row.made.get("camera_models", ())):
        if not model.cameras.exists():
            model.delete()
    kinds = list(Species.objects.filter(slug__in=row.made.get("species", ())))
    while kinds:
        free = [k for k in kinds if not (k.observations.exists() or k.children.exists() or k.sign_set.exists())]
        if not free:
            break
        for kind in free:
            kind.delete()
        kinds = [kind for kind in kinds if kind not in free]
