"""The catalogue's records as a package of the open camera-data standard, or as Darwin Core.

Imported records go out as they came in, with every column that Trod itself does not know, as long as what they say
still stands here; what people said since takes its place. Sensitive sites and people are withheld as in every export.
"""

from __future__ import annotations

import math
import mimetypes
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from trod import __version__
from trod.catalogue import home, models
from trod.catalogue.answers import answers, evidence
from trod.catalogue.records import again
from trod.catalogue.records.plan import key_of
from trod.errors import WrongInput
from trod.exchange import darwin_core, package_out
from trod.exchange import package_tables as tables
from trod.exchange.package_check import DESIGNS
from trod.exchange.records_in import Records
from trod.findings import Filter, localtime
from trod.leaving import without_places
from trod.leaving.sites import FitEvidence, FitSite, fit_evidence
from trod.web.shared.seeing import NOT_REVIEWED, OPEN, SHOWS_PEOPLE, with_people

FEATURES = {
    "trail": "trailGame", "road": "roadDirt", "water": "waterSource", "ford": "waterSource", "den": "burrow",
}  # fmt: skip
# Of a hidden place these may give it away.
WORDS = ("locationName", "habitat", "deploymentGroups", "deploymentTags", "deploymentComments")
# Of what a camera or people wrote at such a place; what a camera wrote of itself may hold its position.
NOTES = ("mediaComments", "observationComments", "observationTags")
TOGETHER = 400
Progress = Any


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What was asked for. design : how the sites were chosen, as the standard has it. pictures : copied along."""

    first: str = ""
    last: str = ""
    people: bool = False
    show_sensitive: bool = False
    pictures: bool = False
    design: str = "opportunistic"

    def __post_init__(self) -> None:
        if self.design not in DESIGNS:
            raise WrongInput("design", got=self.design, needed=f"one of {', '.join(DESIGNS)}")


@dataclass
class Through:
    """What goes out of one import of records as it came.

    cells : rows of deployments, by slug. media, observations : ids that do. changed : {sequence's number: event} of
    sequences of which other things are said by now.
    """

    row: models.RecordImport
    source: Any
    cells: dict[str, dict[str, str]] = field(default_factory=dict)
    media: set[str] = field(default_factory=set)
    observations: set[str] = field(default_factory=set)
    changed: dict[int, str] = field(default_factory=dict)


@dataclass
class _Told:
    """What was walked past, for the descriptor and the report."""

    places: list[tuple[float, float]] = field(default_factory=list)
    starts: list[datetime] = field(default_factory=list)
    ends: list[datetime] = field(default_factory=list)
    hidden: set[str] = field(default_factory=set)
    effort: dict[str, float] = field(default_factory=dict)
    species: set[int] = field(default_factory=set)
    latin: set[str] = field(default_factory=set)
    levels: set[str] = field(default_factory=set)
    lapse: bool = False
    people_left_out: int = 0
    not_reviewed_left_out: int = 0
    standing_left_out: int = 0
    copied: int = 0


class Package:
    """One export in the making."""

    def __init__(self, wish: Wish, now: datetime) -> None:
        self.wish, self.now = wish, now
        self.reserve = answers.the_reserve()
        self.account = evidence.gather(self.reserve)
        self.known: FitEvidence = fit_evidence(self.account.evidence, true_places=wish.show_sensitive)
        self.asked: Filter = answers.make_filter(self.account, first=wish.first, last=wish.last)
        self.told = _Told()
        self.sites: dict[str, FitSite] = {site.slug: site for site in self.known.sites}
        self.dest = Path()

    def write(self, dest: Path, progress: Progress = lambda name, count: None) -> dict[str, Any]:
        """Write it. Raises WrongInput, CatalogueTrouble, OSError."""
        self.dest = dest
        self.through = [self._through(row) for row in models.RecordImport.objects.filter(undone_at__isnull=True)]
        self.through = [one for one in self.through if one.source is not None]
        self.ids = self._ids()
        counts = package_out.write(
            dest,
            {"deployments": self._deployments(), "media": self._media(), "observations": self._observations()},
            self._descriptor,
            progress,
        )
        told = self.told
        return {
            "rows": counts,
            "people_left_out": told.people_left_out,
            "not_reviewed_left_out": told.not_reviewed_left_out,
            "standing_left_out": told.standing_left_out,
            "pictures_copied": told.copied,
        }

    # What came in as records ----------------------------------------------------------------------------------

    def _through(self, row: models.RecordImport) -> Through:
        source = again.source_of(row)
        one = Through(row=row, source=None if source.flat else source)
        if source.flat:
            return one
        stated = {slug: key for key, slug in row.deployments.items()}
        for _, cells in source.rows("deployments"):
            key = tables.told(cells.get("deploymentID"))
            if key in row.deployments:
                one.cells[row.deployments[key]] = {name: tables.told(cell) for name, cell in cells.items()}
        with Records(source, zone=row.zone) as records:
            records.read()
            for slug, key in stated.items():
                self._sort(one, records, slug, key)
        return one

    def _sort(self, one: Through, records: Records, slug: str, key: str) -> None:
        """Which rows of a deployment still stand."""
        sequences = {key_of(slug, key, s.key): s for s in records.sequences(key)}
        stands: dict[str, bool] = {}
        names = list(sequences)
        for start in range(0, len(names), TOGETHER):
            rows = self._in_period(models.Sequence.objects.filter(key__in=names[start : start + TOGETHER]))
            for pk, name, word in rows.filter(record_import=one.row).values_list("pk", "key", "identification__uuid"):
                stands[name] = word in (None, again.uuid_of(name))
                if not stands[name]:
                    one.changed[pk] = sequences[name].key
        withheld = self._withheld(stands)
        for name, sequence in sequences.items():
            if name not in stands or name in withheld:
                continue
            one.media |= set(sequence.media)
        told = {s.key: name for name, s in sequences.items()}
        for observation, event in records.event_of(key).items():
            name = told.get(event, "")
            if stands.get(name) and (name not in withheld or withheld[name] == "not reviewed"):
                one.observations.add(observation)

    def _withheld(self, keys: Any) -> dict[str, str]:
        """Sequences whose pictures are kept back, and why."""
        if self.wish.people:
            return {}
        out: dict[str, str] = {}
        names = list(keys)
        for start in range(0, len(names), TOGETHER):
            mine = models.Sequence.objects.filter(key__in=names[start : start + TOGETHER])
            for name in mine.filter(identification__isnull=True).values_list("key", flat=True):
                out[name] = "not reviewed"
            shows = mine.filter(identification__observations__what__in=SHOWS_PEOPLE)
            for name in shows.values_list("key", flat=True):
                out[name] = "people"
        return out

    def _in_period(self, rows: QuerySet[Any], name: str = "start_at") -> QuerySet[Any]:
        zone = self.reserve.zone
        if self.asked.first:
            first = datetime.fromtimestamp(localtime.day_start_s(self.asked.first, zone), UTC)
            rows = rows.filter(**{f"{name}__gte": first})
        if self.asked.last:
            after = datetime.fromtimestamp(localtime.day_after_start_s(self.asked.last, zone), UTC)
            rows = rows.filter(**{f"{name}__lt": after})
        return rows

    def _ids(self) -> dict[str, str]:
        """{slug: what the deployment is called in the package}: as its records called it, where that is but one's."""
        every = set(models.Deployment.objects.values_list("slug", flat=True))
        out = {slug: slug for slug in every}
        taken: dict[str, str] = {}
        for one in self.through:
            for key, slug in one.row.deployments.items():
                if slug in every and taken.setdefault(key, slug) == slug and (key == slug or key not in every):
                    out[slug] = key
        return out

    # Tables -----------------------------------------------------------------------------------------------------

    def _deployments(self) -> Iterator[dict[str, str]]:
        before = {slug: cells for one in self.through for slug, cells in one.cells.items()}
        rows = models.Deployment.objects.filter(site__reserve=self.reserve).select_related("site", "camera__model")
        self.offsets: dict[str, int] = {}
        for row in rows.order_by("start", "slug"):
            end = row.end or self._known_to(row.slug)
            if end is None or end <= row.start:
                self.told.standing_left_out += 1
                continue
            if not self._overlaps(row.start, end):
                continue
            self.offsets[row.slug] = row.utc_offset_min
            yield self._deployment(row, end, before.get(row.slug, {}))

    def _known_to(self, slug: str) -> datetime | None:
        piece = self.account.pieces.get(slug)
        if piece is None or piece.known_to_s is None:
            return None
        return datetime.fromtimestamp(math.ceil(piece.known_to_s), UTC)

    def _overlaps(self, start: datetime, end: datetime) -> bool:
        zone = self.reserve.zone
        low = localtime.day_start_s(self.asked.first, zone) if self.asked.first else -math.inf
        high = localtime.day_after_start_s(self.asked.last, zone) if self.asked.last else math.inf
        return end.timestamp() > low and start.timestamp() < high

    def _deployment(self, row: models.Deployment, end: datetime, before: dict[str, str]) -> dict[str, str]:
        site = self.sites.get(row.site.slug) or self.known.site(row.site.slug)
        place, offset, called = site.place, row.utc_offset_min, self.ids[row.slug]
        model = row.camera.model
        own = {
            "locationID": site.slug,
            "locationName": site.name,
            "cameraID": row.camera.serial,
            "cameraModel": f"{model.maker}-{model.name}" if model is not None else "",
            "cameraDelay": package_out.whole(row.delay_s),
            "cameraHeight": package_out.number(row.height_m),
            "cameraTilt": package_out.whole(None if row.tilt_deg is None else 0.0 - row.tilt_deg),
            "cameraHeading": package_out.whole(row.heading_deg),
            "featureType": FEATURES.get(row.site.feature, ""),
        }
        cells = {**own, **before} if before else own
        if before:
            names = (before.get("locationName"), before.get("locationID"), before.get("deploymentID"))
            if re.sub(r" \(\d+\)$", "", row.site.name) not in names:  # the second of one name is told apart here alone
                cells["locationName"] = site.name
        cells |= package_out.place_cells(place, before)
        cells["deploymentID"] = called
        for name, at in (("deploymentStart", row.start), ("deploymentEnd", end)):
            text = before.get(name, "")
            if not text or abs((tables.moment(text) - at).total_seconds()) >= 1:
                cells[name] = package_out.moment(at, offset)
        if place.hidden:
            cells |= {name: without_places(cells[name]) for name in WORDS if cells.get(name)}
            self.told.hidden.add(called)
        self.told.places.append((place.latitude_deg, place.longitude_deg))
        self.told.starts.append(row.start)
        self.told.ends.append(end)
        stood = next((d for d in self.known.evidence.deployments if d.slug == row.slug), None)
        if stood is not None:
            self.told.effort[called] = sum(b - a for a, b in stood.watched) / 86_400
        return cells

    def _media(self) -> Iterator[dict[str, str]]:
        for one in self.through:
            for _, cells in one.source.rows("media"):
                row = {name: tables.told(cell) for name, cell in cells.items()}
                if row.get("mediaID") not in one.media or not self._rename(one, row):
                    continue
                self.told.lapse |= row.get("captureMethod") == "timeLapse"
                if not _is_address(row.get("filePath", "")):
                    self._carry(again.bag_of(one.row), row)
                yield row
        bags = models.RecordImport.objects.values("bag")
        rows = models.Picture.objects.filter(deployment__site__reserve=self.reserve, taken_at__isnull=False)
        rows = self._in_period(with_people(rows.exclude(card_import__name__in=bags)), "taken_at")
        if not self.wish.people:
            unseen = rows.filter(NOT_REVIEWED).count()
            self.told.not_reviewed_left_out += unseen
            self.told.people_left_out += rows.exclude(OPEN).count() - unseen
            rows = rows.filter(OPEN)
        names = ("sha256", "path", "kind", "trigger", "taken_at", "deployment__slug", "sequence__identification",
                 "person_said")  # fmt: skip
        for sha, path, kind, trigger, at, slug, seen, person in (
            rows.order_by("deployment__slug", "taken_at", "file_order", "sha256").values_list(*names).iterator(2000)
        ):
            if slug not in self.offsets or at is None:
                continue
            self.told.lapse |= trigger == models.Picture.Trigger.TIME_LAPSE
            yield self._medium(sha, path, kind, trigger, at, slug, public=seen is not None and not person)

    def _medium(
        self, sha: str, path: str, kind: str, trigger: str, at: datetime, slug: str, *, public: bool
    ) -> dict[str, str]:
        name = path.rsplit("/", 1)[-1]
        ending = Path(name).suffix.lower()
        usual = "video/mp4" if kind == models.Picture.Kind.CLIP else "image/jpeg"
        guessed = mimetypes.guess_type(f"x{ending}")[0] or ""
        row = {
            "mediaID": sha,
            "deploymentID": self.ids[slug],
            "captureMethod": {"motion": "activityDetection", "time_lapse": "timeLapse"}.get(trigger, ""),
            "timestamp": package_out.moment(at, self.offsets[slug]),
            "filePath": f"media/{sha}{ending or '.jpg'}",
            "filePublic": "true" if public and self.wish.pictures else "false",
            "fileName": name,
            "fileMediatype": guessed if guessed.startswith(("image/", "video/", "audio/")) else usual,
        }
        if self.ids[slug] in self.told.hidden:
            row["filePublic"] = "false"
        elif self.wish.pictures:
            self._copy(home.archive_root() / path, row["filePath"])
        return row

    def _carry(self, folder: Path, row: dict[str, str]) -> None:
        """A picture that lay in the package: it goes along, or is told as not to be had."""
        hidden = row["deploymentID"] in self.told.hidden  # a picture may hold its own place
        if (
            self.wish.pictures
            and not hidden
            and self._copy(folder.joinpath(*row["filePath"].split("/")), row["filePath"])
        ):
            return
        row["filePublic"] = "false"

    def _copy(self, there: Path, name: str) -> bool:
        here = self.dest.joinpath(*name.split("/"))
        if not there.is_file() or self.dest.resolve() not in here.resolve().parents:
            return False
        here.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(there, here)
        self.told.copied += 1
        return True

    def _rename(self, one: Through, row: dict[str, str]) -> bool:
        """Let a row bear the deployment's name in this package, and give no hidden place away.

        False where that deployment does not go out.
        """
        slug = one.row.deployments.get(row.get("deploymentID", ""), "")
        if slug not in self.offsets:
            return False
        row["deploymentID"] = self.ids[slug]
        if row["deploymentID"] in self.told.hidden:
            row["exifData"] = ""
            row |= {name: without_places(row[name]) for name in NOTES if row.get(name)}
        return True

    def _observations(self) -> Iterator[dict[str, str]]:
        for one in self.through:
            for _, cells in one.source.rows("observations"):
                row = {name: tables.told(cell) for name, cell in cells.items()}
                if row.get("observationID") not in one.observations or not self._rename(one, row):
                    continue
                if row.get("mediaID") and row["mediaID"] not in one.media:  # of a picture that is kept back
                    row["mediaID"] = ""
                self.told.latin.add(row.get("scientificName", ""))
                self.told.levels.add(row.get("observationLevel", ""))
                yield row
        events = {pk: key for one in self.through for pk, key in one.changed.items()}
        mine = self._in_period(models.Sequence.objects.filter(deployment__site__reserve=self.reserve, time_lapse=False))
        own = mine.exclude(record_import__in=[one.row for one in self.through])
        yield from self._said(own, {})
        numbers = list(events)
        for start in range(0, len(numbers), TOGETHER):
            yield from self._said(mine.filter(pk__in=numbers[start : start + TOGETHER]), events)

    def _said(self, rows: QuerySet[models.Sequence], events: dict[int, str]) -> Iterator[dict[str, str]]:
        """Rows of sequences, as people here identified them."""
        rows = rows.select_related("deployment", "identification").order_by("deployment__slug", "start_at", "key")
        for sequence in rows.prefetch_related("identification__observations__species").iterator(1000):
            slug, word = sequence.deployment.slug, sequence.identification
            if slug not in self.offsets:
                continue
            self.told.levels.add("event")
            lines = list(word.observations.all()) if word is not None else []
            if not self.wish.people and any(line.what in SHOWS_PEOPLE for line in lines):
                continue
            head = {
                "deploymentID": self.ids[slug],
                "eventID": events.get(sequence.pk, sequence.key),
                "eventStart": package_out.moment(sequence.start_at, self.offsets[slug]),
                "eventEnd": package_out.moment(sequence.end_at, self.offsets[slug]),
                "observationLevel": "event",
            }
            if word is None:
                yield {**head, "observationID": f"{sequence.key}-0", "observationType": "unclassified"}
                continue
            for number, line in enumerate(lines, 1):
                yield {**head, "observationID": f"{word.uuid}-{number}", **self._line(line, word)}

    def _line(self, line: models.Observation, word: models.Identification) -> dict[str, str]:
        kind = line.species
        if kind is not None:
            self.told.species.add(kind.pk)
        counted = line.what in ("animal", "human", "vehicle")
        latin = kind.scientific_name if kind is not None else ""
        return {
            "observationType": line.what,
            "scientificName": latin,
            "count": str(line.count) if counted else "",
            "lifeStage": "" if line.life_stage == "unknown" else line.life_stage,
            "sex": "" if line.sex == "unknown" else line.sex,
            "classificationMethod": "human",
            "classifiedBy": word.by,
            "classificationTimestamp": package_out.moment(word.at),
            "observationTags": f"name:{kind.name}" if kind is not None and not latin else "",
        }

    # What is told of it -----------------------------------------------------------------------------------------

    def _descriptor(self) -> dict[str, Any]:
        told, alone = self.told, self._alone()
        titled = f"{self.reserve.titled}: records"
        kinds = models.Species.objects.filter(pk__in=told.species).exclude(scientific_name="")
        own = [package_out.taxon(k.scientific_name, k.rank, k.name) for k in kinds.order_by("scientific_name")]
        theirs = [
            kind for one in self.through for kind in one.source.descriptor.get("taxonomic") or ()
            if isinstance(kind, dict) and (kind.get("scientificName") in told.latin or alone)
        ]  # fmt: skip
        listed = {str(k.get("scientificName")) for k in (*theirs, *own)}
        bare = [{"scientificName": name} for name in sorted(told.latin - listed - {""})]
        people = [p for one in self.through for p in one.source.descriptor.get("contributors") or ()]
        if not alone or not people:
            people = [*people, {"title": self.reserve.titled, "role": "contributor"}]
        out: dict[str, Any] = {
            **alone,
            "resources": [*package_out.resources(), *self._more(alone)],
            "profile": tables.PROFILE,
            "name": alone.get("name") or package_out.plain_name(self.reserve.titled),
            "created": package_out.moment(self.now),
            "title": alone.get("title") or titled,
            "contributors": package_out.joined(people, (), "title"),
            "project": alone.get("project")
            or {
                "title": self.reserve.titled,
                "samplingDesign": self.wish.design,
                "captureMethod": ["activityDetection", "timeLapse"] if told.lapse else ["activityDetection"],
                "individualAnimals": False,
                "observationLevel": sorted(told.levels - {""}) or ["event"],
            },
            "spatial": self._spatial(alone),
            "temporal": {
                "start": f"{min(told.starts, default=self.now):%Y-%m-%d}",
                "end": f"{max(told.ends, default=self.now):%Y-%m-%d}",
            },
            "taxonomic": package_out.joined(theirs, [*own, *bare], "scientificName"),
        }
        if not alone:
            out["sources"] = [{"title": "Trod", "version": __version__}]
            if self.reserve.invented:
                out["description"] = "All of this is invented: no real place, people or animals."
        return out

    def _spatial(self, alone: dict[str, Any]) -> dict[str, Any]:
        """The area that a package told itself, where all of it goes out unhidden; else the sites as they leave."""
        whole = not (self.told.hidden or self.asked.first or self.asked.last)
        kept = alone.get("spatial")
        return dict(kept) if whole and isinstance(kept, dict) and kept else package_out.spatial(self.told.places)

    def _more(self, alone: dict[str, Any]) -> list[Any]:
        """Tables of its own that a package bore within its description; what hides a place keeps them back."""
        if self.told.hidden:
            return []
        more = [one for one in alone.get("resources") or () if isinstance(one, dict) and "data" in one]
        return [one for one in more if one.get("name") not in tables.NAMES]

    def _alone(self) -> dict[str, Any]:
        """What a package told of itself, where all that goes out came in with it; else nothing."""
        if len(self.through) != 1:
            return {}
        (one,) = self.through
        own = set(models.Deployment.objects.filter(site__reserve=self.reserve).values_list("slug", flat=True))
        if own != set(one.row.deployments.values()):
            return {}
        told = dict(one.source.descriptor)
        return _without_places(told) if self.told.hidden else told


def _without_places(told: dict[str, Any]) -> dict[str, Any]:
    """What a package tells of itself, without the coordinates that may stand in its sentences."""
    out = {name: value for name, value in told.items() if name != "coordinatePrecision"}
    for name in ("title", "description", "bibliographicCitation"):
        if isinstance(out.get(name), str):
            out[name] = without_places(out[name])
    if isinstance(out.get("project"), dict):
        out["project"] = {
            key: without_places(value) if key in ("title", "description") and isinstance(value, str) else value
            for key, value in out["project"].items()
        }
    return out


def _is_address(text: str) -> bool:
    return text.startswith(("http://", "https://"))


def export_package(dest: Path, wish: Wish, *, progress: Progress = lambda name, count: None) -> dict[str, Any]:
    """Write the records as a package. Returns rows by table, and what was left out."""
    return Package(wish, timezone.now()).write(dest, progress)


def export_darwin_core(dest: Path, wish: Wish, *, progress: Progress = lambda name, count: None) -> dict[str, Any]:
    """Write the records as a Darwin Core archive, made from the package of the same wish."""
    with tempfile.TemporaryDirectory(prefix="trod-package-") as aside:
        package = Package(Wish(**{**wish.__dict__, "pictures": False}), timezone.now())
        told = package.write(Path(aside), progress)
        counts = darwin_core.write(
            Path(aside), dest, effort_days=package.told.effort, hidden=frozenset(package.told.hidden)
        )
    return {**told, "rows": counts}
