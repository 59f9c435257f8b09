"""The catalogue's records as a folder of tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.db.models import QuerySet

from trod import __version__, clock, wording
from trod.catalogue import models
from trod.catalogue.answers import answers, condition, effort_days, evidence
from trod.catalogue.answers.evidence import Account
from trod.exchange import effort_days as day_table
from trod.exchange import folder, geojson, gpx
from trod.exchange.folder import Column, Table
from trod.findings import Filter, localtime
from trod.leaving import without_places
from trod.leaving.sites import FitEvidence, fit_evidence
from trod.web.shared.seeing import NOT_REVIEWED, OPEN, with_people

_DEPLOYMENTS = (
    ("deployment", "key of the deployment: one camera at one site for a time"),
    ("site", "key of the site"),
    ("camera", "the camera, with its serial"),
    ("camera_model", "its maker and model"),
    ("start", "when it was set, UTC"),
    ("end", "when it was taken away, UTC; empty while it stands"),
    ("utc_offset_min", "how its clock was set", "minutes"),
    ("height_m", "of the lens above the ground", "m"),
    ("tilt_deg", "below level", "degrees"),
    ("heading_deg", "from true north", "degrees"),
    ("known_to", "up to when it is known what the camera did, UTC"),
    ("watched_days", "time in which it is known to have watched, 24 h a day", "days"),
    ("gap_days", "time in which it stood there and did not watch", "days"),
    ("open_days", "silences of which nobody knows whether it watched", "days"),
    ("visits", "how many visits"),
    ("last_visit", "the last one, UTC"),
    ("sequences", "how many sequences it gave"),
    ("problems", "what was found wrong or done, with its day"),
)
_VISITS = (
    ("site", "key of the site"),
    ("deployment", "key of the deployment; empty for a visit to an empty site"),
    ("at", "when, UTC"),
    ("state_on_arrival", "how the camera was found"),
    ("battery_percent", "what the camera showed as left", "%"),
    ("batteries_changed", "whether batteries were changed"),
    ("card_out", "whether a card was taken out"),
    ("card_in", "whether one was put in"),
    ("clock_ahead_s", "how far the camera's clock was ahead, as it was read", "s"),
    ("walk_test", "whether it was tried by walking past"),
)
_SPECIES = (
    ("species", "key of the species"),
    ("name", "its name"),
    ("scientific_name", "its scientific name"),
    ("group", "what it belongs to, in words"),
    ("rank", "species, or a rank above it: an animal of which no more is known"),
    ("parent", "key of the kind above it"),
)
_PICTURES = (
    ("sha256", "SHA-256 of the file: its identity"),
    ("path", "below the archive"),
    ("deployment", "key of the deployment"),
    ("sequence", "key of the sequence it belongs to"),
    ("kind", "picture or clip"),
    ("taken", "when, UTC, clock corrected"),
    ("taken_as_written", "as the camera wrote it, on its own clock"),
    ("trigger", "motion, time_lapse or unknown"),
    ("infrared", "true: imported infrared light"),
    ("width", "of the picture", "pixels"),
    ("height", "of the picture", "pixels"),
    ("duration_s", "of a clip", "s"),
    ("bytes", "size of the file"),
    ("problem", "what is wrong with the file"),
)


TRUE = ", TRUE PLACES of sensitive sites"


def _columns(told: Sequence[tuple[str, ...]]) -> tuple[Column, ...]:
    return tuple(Column(name=t[0], what=t[1], unit=t[2] if len(t) > 2 else "") for t in told)


def export(
    dest: Path,
    *,
    first: str = "",
    last: str = "",
    people: bool = False,
    show_sensitive: bool = False,
    progress: Callable[[str, int], None] = lambda name, rows: None,
) -> dict[str, Any]:
    """Write the records into a folder. Raises WrongInput, CatalogueTrouble, OSError.

    people : list sequences and pictures with people or vehicles too, and pictures nobody has reviewed.
    show_sensitive : sensitive sites at their true places.
    Returns rows by table, and how many pictures with people, and how many not reviewed, were left out.
    """
    reserve = answers.the_reserve()
    account = evidence.gather(reserve)
    asked = answers.make_filter(account, first=first, last=last)
    pictures = _pictures(reserve, asked)
    unseen = 0 if people else pictures.filter(NOT_REVIEWED).count()
    withheld = 0 if people else pictures.exclude(OPEN).count() - unseen
    known = fit_evidence(account.evidence, true_places=show_sensitive)
    tables = folder.record_tables(known, asked, with_people=people)
    days = effort_days.by_day(
        effort_days.lines(reserve, first=asked.first, last=asked.last), reserve.zone, first=asked.first, last=asked.last
    )
    tables.insert(2, day_table.table((d.site.slug, d.slug, d.camera.titled, day) for d, day in days))
    tables[1:1] = [
        Table(
            name="deployments",
            what="The deployments.",
            columns=_columns(_DEPLOYMENTS),
            rows=_deployments(reserve, account, str if show_sensitive else without_places),
        ),
        Table(
            name="visits",
            what="The visits. Who came, what was written, locks and photos are left out.",
            columns=_columns(_VISITS),
            rows=_visits(reserve, asked),
        ),
        Table(
            name="species",
            what="The species.",
            columns=_columns(_SPECIES),
            rows=models.Species.objects.order_by("slug").values_list(
                "slug", "name", "scientific_name", "group", "rank", "parent__slug"
            ),
        ),
    ]
    tables.append(
        Table(
            name="pictures",
            what="The files of the archive.",
            columns=_columns(_PICTURES),
            rows=_picture_rows(pictures if people else pictures.filter(OPEN)),
        )
    )
    counts = folder.write(
        tables,
        dest,
        title=f"{reserve.titled}: records{_period(asked)}",
        notes=_notes(reserve, account, withheld, unseen, people=people, show_sensitive=show_sensitive),
        made=f"Made with Trod {__version__}.",
        progress=progress,
    )
    title = f"{reserve.titled}: sites{TRUE if known.shows else ''}"
    for name, text in (("sites.gpx", _gpx(known, title)), ("sites.geojson", _geojson(known, invented=reserve.invented))):
        part = dest / f"{name}.part"
        part.write_text(text, "utf-8", newline="\n")
        part.replace(dest / name)
        progress(name, len(known.sites))
    return {"rows": counts, "people_left_out": withheld, "not_reviewed_left_out": unseen}


@dataclass(frozen=True, kw_only=True)
class Preview:
    """What an export would do, before it is made.

    generalised : names of sites told as a coarse cell; shown : of sensitive ones told at their true places.
    people_left_out, not_reviewed_left_out : pictures.
    """

    generalised: tuple[str, ...]
    shown: tuple[str, ...]
    uncertainty_m: float | None
    people_left_out: int
    not_reviewed_left_out: int
    pictures: int
    visits: int
    notes: tuple[str, ...]


def preview(*, first: str = "", last: str = "", people: bool = False, show_sensitive: bool = False) -> Preview:
    """What `export` with the same wishes would coarsen and leave out. Raises as it does; writes nothing."""
    reserve = answers.the_reserve()
    account = evidence.gather(reserve)
    asked = answers.make_filter(account, first=first, last=last)
    known = fit_evidence(account.evidence, true_places=show_sensitive)
    pictures = _pictures(reserve, asked)
    unseen = 0 if people else pictures.filter(NOT_REVIEWED).count()
    total = pictures.count()
    withheld = 0 if people else pictures.exclude(OPEN).count() - unseen
    hidden = [site for site in known.sites if site.place.hidden]
    return Preview(
        generalised=tuple(sorted(site.name for site in hidden)),
        shown=tuple(sorted(site.name for site in known.sites if site.place.shown)),
        uncertainty_m=max((site.place.uncertainty_m or 0.0 for site in hidden), default=None),
        people_left_out=withheld,
        not_reviewed_left_out=unseen,
        pictures=total - withheld - unseen,
        visits=_visit_rows(reserve, asked).count(),
        notes=tuple(_notes(reserve, account, withheld, unseen, people=people, show_sensitive=show_sensitive)),
    )


def _gpx(known: FitEvidence, title: str) -> str:
    points = [
        gpx.Waypoint(place=site.place, name=site.name, kind=site.feature)
        for site in sorted(known.sites, key=lambda s: s.slug)
    ]
    return gpx.gpx_text(name=title, waypoints=points, note=title if known.shows else "")


def _geojson(known: FitEvidence, *, invented: bool) -> str:
    points = []
    for site in sorted(known.sites, key=lambda s: s.slug):
        told = {"site": site.slug, "name": site.name, "feature": site.feature, "sensitive": site.sensitive}
        if site.place.shown:
            told["true_place"] = True
        if invented:
            told["invented"] = True
        points.append(geojson.Point(place=site.place, told=told))
    return geojson.geojson_text(points)


def _visit_rows(reserve: models.Reserve, asked: Filter) -> QuerySet[models.Visit]:
    rows = models.Visit.objects.filter(site__reserve=reserve)
    if asked.first:
        rows = rows.filter(at__gte=datetime.fromtimestamp(localtime.day_start_s(asked.first, reserve.zone), UTC))
    if asked.last:
        rows = rows.filter(at__lt=datetime.fromtimestamp(localtime.day_after_start_s(asked.last, reserve.zone), UTC))
    return rows


def _visits(reserve: models.Reserve, asked: Filter) -> Iterator[Sequence[Any]]:
    rows = _visit_rows(reserve, asked).select_related("site", "deployment").order_by("at", "uuid")
    for v in rows.iterator(2000):
        off = clock.error_s(v.clock_shown, v.clock_true, v.deployment.utc_offset_min) if v.deployment else None
        ahead = "" if off is None else f"{off:g}"
        yield (
            v.site.slug, v.deployment.slug if v.deployment else "", _utc(v.at), v.arrival, v.battery_percent,
            v.batteries_changed, v.card_out_id is not None, v.card_in_id is not None, ahead, v.walk_test,
        )  # fmt: skip


def _period(asked: Filter) -> str:
    if asked.first and asked.last:
        return f", {wording.period(asked.first, asked.last)}"
    if asked.first:
        return f", from {wording.day(asked.first)} on"
    return f", up to {wording.day(asked.last)}" if asked.last else ""


def _notes(
    reserve: models.Reserve, account: Account, withheld: int, unseen: int, *, people: bool, show_sensitive: bool
) -> list[str]:
    notes = [f"Local times are those of {reserve.zone}."]
    if reserve.invented:
        notes.append("All of this is invented: no real place, people or animals.")
    if any(site.sensitive for site in account.evidence.sites):
        notes.append(
            "Sensitive sites stand at their TRUE places: keep this to those who may know them."
            if show_sensitive
            else "Sensitive sites stand at the middle of a coarse cell, with their uncertainty in metres."
        )
    if people:
        notes.append(
            "Sequences and pictures with people and vehicles, and pictures nobody has reviewed, are listed: mind the "
            "privacy of people and your law."
        )
    else:
        if withheld:
            notes.append(
                f"Left out: {wording.plural(withheld, 'picture')} with people or vehicles, and the words on them."
            )
        if unseen:
            notes.append(f"Left out: {wording.plural(unseen, 'picture')} that nobody has reviewed.")
    if account.evidence.unseen:
        notes.append(f"{wording.plural(len(account.evidence.unseen), 'sequence')} of the reserve not looked at yet.")
    return notes


def _deployments(reserve: models.Reserve, account: Account, said: Callable[[str], str]) -> Iterator[Sequence[Any]]:
    more = {
        row[0]: row[1:]
        for row in models.Deployment.objects.filter(site__reserve=reserve).values_list(
            "slug",
            "camera__model__maker",
            "camera__model__name",
            "utc_offset_min",
            "height_m",
            "tilt_deg",
            "heading_deg",
        )
    }
    for s in condition.standings(reserve, account):
        maker, model, offset, height, tilt, heading = more[s.deployment]
        yield (
            s.deployment,
            s.site,
            s.camera,
            " ".join(filter(None, (maker, model))),
            _utc(s.start),
            _utc(s.end),
            offset,
            height,
            tilt,
            heading,
            _utc(s.known_to),
            s.watched_days,
            s.gap_days,
            s.open_days,
            s.visits,
            _utc(s.last_visit),
            s.sequences,
            said("; ".join(s.problems)),
        )


def _pictures(reserve: models.Reserve, asked: Filter) -> QuerySet[models.Picture]:
    """The pictures of the reserve's deployments in the period; without one, also those of no known time."""
    rows = with_people(models.Picture.objects.filter(deployment__site__reserve=reserve))
    if asked.first:
        rows = rows.filter(taken_at__gte=datetime.fromtimestamp(localtime.day_start_s(asked.first, reserve.zone), UTC))
    if asked.last:
        end = datetime.fromtimestamp(localtime.day_after_start_s(asked.last, reserve.zone), UTC)
        rows = rows.filter(taken_at__lt=end)
    return rows


def _picture_rows(pictures: QuerySet[models.Picture]) -> Iterator[Sequence[Any]]:
    for row in (
        pictures.order_by("deployment__slug", "taken_at", "file_order", "sha256")
        .values_list(
            "sha256",
            "path",
            "deployment__slug",
            "sequence__key",
            "kind",
            "taken_at",
            "taken_raw",
            "trigger",
            "infrared",
            "width",
            "height",
            "duration_s",
            "size_bytes",
            "problem",
        )
        .iterator(5000)
    ):
        sha, path, deployment, sequence, kind, at, raw, *rest = row
        yield (
            sha,
            path,
            deployment,
            sequence,
            kind,
            _utc(at),
            raw.replace(tzinfo=None).isoformat() if raw else "",
            *rest,
        )


def _utc(at: datetime | None) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z") if at else ""
