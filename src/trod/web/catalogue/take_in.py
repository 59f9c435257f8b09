"""A card or folder taken in: the bag, its pictures in the catalogue, what they say, their events.

The order is the promise: the bag is whole in the archive (or resumable) before the catalogue speaks of it,
and each step can be done again from what the steps before left on the disk. A process may die at any point;
`take_in` on the same intake goes on from there.
"""

from __future__ import annotations

import contextlib
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q

from trod.archive import intake as core
from trod.archive import verdict
from trod.archive.card import CardListing, scan
from trod.archive.content import Problem
from trod.archive.making import Placement
from trod.archive.names import printable
from trod.errors import CatalogueTrouble, SourceBusy, Stopped, TrodError, WrongInput
from trod.web import home
from trod.web.catalogue import bags, facts, ledger, standing, watch
from trod.web.catalogue.line import Line, teller
from trod.web.models import Card, Deployment, Event, Intake, Job, KeptFile, Picture

COPYING = "Copying"


@dataclass(frozen=True)
class Asked:
    """What a person (or a command) asked to be taken in.

    deployment : None puts the bag aside as unplaced.
    """

    source: Path
    deployment: Deployment | None = None
    card: Card | None = None
    by: str = ""
    read_back: bool = True


def begin(asked: Asked, *, now: datetime) -> Intake:
    """The intake's row: the one that was broken off at this source and place, or a new one.

    Raises SourceBusy when this source is being taken in at this moment.
    """
    standing.require()
    source = str(asked.source.resolve())
    if not source.isprintable() or len(source) > 500:
        raise WrongInput(
            "source",
            got=printable(source)[:200],
            needed="a folder whose path is plain text of at most 500 characters",
        )
    place = placement(asked.deployment)
    with core.source_alone(home.archive_root(), asked.source), transaction.atomic():
        for old in Intake.objects.filter(source=source, deployment=asked.deployment).exclude(
            state=Intake.State.WHOLE
        ):
            if _can_go_on(old, asked.source):
                return old
            if not _has_begun(old):
                old.delete()
        fields = {
            "deployment": asked.deployment,
            "card": asked.card,
            "source": source,
            "started_at": now,
            "by": asked.by[:80],
            "read_back": asked.read_back,
        }
        for _ in range(20):
            name = _new_name(asked.source, now)
            with contextlib.suppress(IntegrityError), transaction.atomic():  # another card of this name, this second
                return Intake.objects.create(name=name, folder=f"{place.folder}/{name}", **fields)
    raise CatalogueTrouble("No name could be given to this intake. Try again in a second.")


def broken_off(source: Path, *, look_only: bool = False) -> Intake | None:
    """The unfinished intake of the card at this place, if there is one, also when only the archive
    knows of it. look_only : make no row for it."""
    where = str(source.resolve())
    for old in Intake.objects.filter(source=where).exclude(state=Intake.State.WHOLE).order_by("started_at"):
        if _can_go_on(old, source):
            return old
    known = set(Intake.objects.values_list("name", flat=True))
    for unfinished in core.unfinished(home.archive_root()):
        if (
            str(unfinished.source) != where
            or unfinished.name in known
            or not _holds_same(unfinished.path, source)
        ):
            continue
        slug = unfinished.place.deployment_slug
        row = Intake(
            name=unfinished.name,
            folder=f"{unfinished.place.folder}/{unfinished.name}",
            deployment=Deployment.objects.filter(slug=slug).first() if slug else None,
            source=where,
            started_at=unfinished.begun,
            state=Intake.State.PAUSED,
        )
        if not look_only:
            row.save()
        return row
    return None


def _can_go_on(intake: Intake, source: Path) -> bool:
    """Whether an unfinished intake is of this very card and not of one that was plugged in there before."""
    root = home.archive_root()
    if (root / intake.folder).exists():
        return True
    for unfinished in core.unfinished(root):
        if unfinished.name == intake.name:
            return _holds_same(unfinished.path, source)
    return _is_asked_for(intake)  # its plan was not written yet, so nothing was copied


def _has_begun(intake: Intake) -> bool:
    """Whether anything was copied for it."""
    root = home.archive_root()
    return (root / intake.folder).exists() or (root / core.INCOMING / intake.name).exists() or intake.new > 0


def _is_asked_for(intake: Intake) -> bool:
    """Whether somebody put this intake into the queue and it waits there or is at work."""
    open_jobs = Job.objects.filter(kind="take-in", state__in=[Job.State.WAITING, Job.State.RUNNING])
    return open_jobs.filter(args__intake=intake.name).exists()


def _holds_same(path: Path, source: Path) -> bool:
    from trod.archive.making import read_making

    try:
        making = read_making(home.archive_root(), path)
    except TrodError:
        return False
    return not making.items or any(
        (source / item.entry.path).is_file()
        and (source / item.entry.path).stat().st_size == item.entry.size_bytes
        for item in making.items[:50]
    )


def placement(deployment: Deployment | None) -> Placement:
    """Where the bags of a deployment go: beside its first ones, should its site have been mended since."""
    if deployment is None:
        return Placement()
    site, _, own = ledger.deployment_folder(deployment).rpartition("/")
    return Placement(site, own)


def _new_name(source: Path, now: datetime) -> str:
    """2026-06-30-081500-esk-06-b: when, and what the card is called."""
    from trod.web.catalogue.propose import label_of

    head = f"{now.astimezone(UTC):%Y-%m-%d-%H%M%S}"
    label = unicodedata.normalize("NFKD", label_of(source)).encode("ascii", "ignore").decode().lower()
    label = re.sub(r"[^a-z0-9]+", "-", label).strip("-")[:40].strip("-")
    name = f"{head}-{label}" if label else head
    known = set(Intake.objects.filter(name__startswith=name).values_list("name", flat=True))
    known |= {p.name for p in (home.archive_root() / core.INCOMING).glob(f"{name}*")}
    number, wish = 2, name
    while wish in known:
        wish, number = f"{name}-{number}", number + 1
    return wish


def already_have(sha256: str) -> Iterator[str]:
    """Where the archive keeps files of these bytes, as far as the catalogue knows."""
    for model in (Picture, KeptFile):
        yield from model.objects.filter(sha256=sha256).values_list("path", flat=True)


def take_in(
    intake: Intake,
    *,
    line: Line,
    now: datetime,
    listing: CardListing | None = None,
    accept_changes: bool = False,
    workers: int | None = None,
) -> dict[str, Any]:
    """Do all of an intake, or what is left of it. Returns its counts and what is to be told.

    listing : the source as it was just listed; by default it is listed here.
    Raises Stopped (the intake is paused), SourceBusy (another process is at it) and TrodError (it failed and can be
    taken up again).
    """
    standing.require()
    try:
        with ledger.quiet():
            if intake.state != Intake.State.WHOLE:
                with core.source_alone(home.archive_root(), Path(intake.source)):
                    _copy(intake, line, now, listing, accept_changes)
        return finish(intake, line=line, workers=workers)
    except SourceBusy:
        raise  # the row is the other's
    except BaseException as problem:
        state = (
            Intake.State.PAUSED if isinstance(problem, (Stopped, KeyboardInterrupt)) else Intake.State.FAILED
        )
        Intake.objects.filter(pk=intake.pk).exclude(state=Intake.State.WHOLE).update(state=state)
        raise


def _copy(
    intake: Intake, line: Line, now: datetime, listing: CardListing | None, accept_changes: bool
) -> None:
    """From the card to a whole bag, and the bag into the catalogue."""
    root = home.archive_root()
    root.mkdir(parents=True, exist_ok=True)
    intake.state = Intake.State.COPYING
    intake.save(update_fields=["state"])
    bag_place = root.joinpath(*intake.folder.split("/"))
    result = None
    unfinished = any(u.name == intake.name for u in core.unfinished(root))
    if unfinished:
        result = core.resume(
            root,
            intake.name,
            already_have=already_have,
            listing=listing,
            accept_changes=accept_changes,
            progress=teller(line, COPYING),
            stop=line.stop,
        )
    elif not bag_place.exists():
        if listing is None:
            listing = scan(Path(intake.source), inside=False, stop=line.stop)
        folder, _, _ = intake.folder.rpartition("/")
        place = Placement(*folder.split("/")) if folder != ledger.UNPLACED else Placement()
        result = core.take_in(
            listing,
            root,
            place=place,
            name=intake.name,
            about=_about(intake),
            already_have=already_have,
            now=now,
            read_back=intake.read_back,
            progress=teller(line, COPYING),
            stop=line.stop,
        )
    _register(intake, result, line, now)


def _about(intake: Intake) -> Mapping[str, str]:
    about = {
        "External-Description": "Pictures of a motion-triggered camera, as they were on its card",
        "Trod-Source": intake.source,
        "Trod-Begun": ledger.moment(intake.started_at),
    }
    if intake.by:
        about["Contact-Name"] = intake.by
    if intake.card is not None:
        about["Trod-Card"] = intake.card.label
    if intake.deployment is not None:
        about["Trod-Camera"] = intake.deployment.camera.serial
        about["Trod-Deployment"] = intake.deployment.slug
    return about


def _register(intake: Intake, result: core.IntakeResult | None, line: Line, now: datetime) -> None:
    root = home.archive_root()
    if root.joinpath(*intake.folder.split("/")).exists():
        bag = bags.read_bag(root, intake.folder)
        bags.register(bag, intake, line)
        bags.count(bag, intake)
        intake.bytes = sum(f.size_bytes for f in bag.files) + sum(
            int(t.get("size_bytes", 0)) for t in bag.twins
        )
    notes = list(intake.notes)
    if result is not None:
        intake.files, intake.new, intake.duplicates = result.files, result.new, result.duplicates
        intake.damaged, intake.skipped = len(result.damaged), result.skipped
        intake.bytes, intake.seen = result.bytes, verdict.plain(result.facts.seen)
        intake.seconds += result.seconds
        notes += [*result.notes, *_told(result)]
    intake.notes = list(dict.fromkeys(notes))
    intake.finished_at = max(now, intake.started_at, datetime.now(UTC))
    intake.state = Intake.State.WHOLE
    with transaction.atomic():
        intake.save()
        _tell_card(intake)


def _tell_card(intake: Intake) -> None:
    """Let the card's record follow the verdict."""
    if intake.card is None:
        return
    here = Card.objects.filter(pk=intake.card_id)
    if intake.safe_to_format:
        here.filter(state__in=[Card.State.HOME, Card.State.OUT]).update(state=Card.State.KEPT)
    else:
        here.filter(state=Card.State.KEPT).update(state=Card.State.HOME)


def accept_damage(intake: Intake, *, by: str, now: datetime) -> None:
    """A person has looked at the damaged files and says that they may go with the card.

    Raises WrongInput when something else than damage stands against formatting it, or nothing does.
    """
    if intake.accepted_at is not None:
        return
    found = intake.verdict
    if not found.has_damage:
        raise WrongInput("intake", got=found.headline, needed="a card with damaged files")
    with transaction.atomic():
        intake.accepted_by, intake.accepted_at = by[:80], now
        intake.save(update_fields=["accepted_by", "accepted_at"])
        _tell_card(intake)


def take_back_acceptance(intake: Intake) -> None:
    """Undo `accept_damage`."""
    with transaction.atomic():
        intake.accepted_by, intake.accepted_at = "", None
        intake.save(update_fields=["accepted_by", "accepted_at"])
        _tell_card(intake)


LISTED = 20  # names in a note, at most


def _told(result: core.IntakeResult) -> list[str]:
    """What was wrong with single files, a sentence per kind."""
    told = []
    for one, many, files in (
        ("could not be copied", "could not be copied", result.lost),
        ("is damaged and kept as it is", "are damaged and kept as they are", result.damaged),
    ):
        if files:
            names = "; ".join(f"{printable(t.path)} {t.sentence}" for t in files[:LISTED])
            more = f"; and {len(files) - LISTED} more" if len(files) > LISTED else ""
            told.append(f"{f'1 file {one}' if len(files) == 1 else f'{len(files)} files {many}'}: {names}{more}.")
    odd = [f.path for f in (*result.copies, *result.twins) if Problem.ODD_NAME in f.problems]
    if odd:
        names = ", ".join(printable(path) for path in odd[:5])
        told.append(
            f"1 picture or clip has a name that does not tell so, and is kept under it: {names}."
            if len(odd) == 1
            else f"{len(odd)} pictures or clips have names that do not tell so, and are kept under them: {names}."
        )
    renamed = [c for c in result.copies if c.to.removeprefix("data/") != c.path]
    if renamed:
        names = "; ".join(f"{printable(c.path)} is {c.to.removeprefix('data/')}" for c in renamed[:5])
        more = f"; and {len(renamed) - 5} more" if len(renamed) > 5 else ""
        told.append(f"{len(renamed)} names were made plain for every disk: {names}{more}.")
    others = [t for t in result.skipped_files if t.what == "other"]
    if others:
        names = ", ".join(printable(t.path) for t in others[:5])
        told.append(
            f"{len(others)} other files stay on the card alone, being neither picture nor clip: {names}."
        )
    return told


def finish(intake: Intake, *, line: Line, workers: int | None = None) -> dict[str, Any]:
    """Read what the pictures say, correct their times, part them into events, write the sidecar."""
    with ledger.quiet():
        facts.read(intake.pictures.all(), line, workers=workers)
        deployment = intake.deployment
        with transaction.atomic():
            makers = facts.tell_foreign(intake)
            of_the_place = list(makers.told)
            if intake.foreign:
                of_the_place.append(
                    f"{intake.foreign} files look like another camera's; they are kept, marked, and in no "
                    "event."
                )
            told = []
            if deployment is None:
                watch.retime_unplaced(intake.pk)
            else:
                told = watch.follow(deployment, line)
            intake.notes = list(dict.fromkeys([*intake.notes, *told]))
            intake.place_notes = [*of_the_place, *_time_told(intake)]
            intake.save(update_fields=["foreign", "notes", "place_notes"])
    if deployment is not None:
        ledger.write_sidecar(deployment)
    ledger.write_ledger()
    return summary(intake)


def half_read() -> list[Intake]:
    """Intakes whose bag is whole, but whose pictures are not all looked into and in their events.

    A process died between the two. (Pictures whose time fits two corrections look the same; doing such an
    intake again does no harm.)
    """
    timed = Q(taken_raw__isnull=False, time_from__in=("exif", "clip", "file"), foreign=False)
    no_event = timed & Q(deployment__isnull=False, event__isnull=True)
    left = Picture.objects.filter(
        Q(looked=False) | no_event | (timed & Q(deployment__isnull=True, taken_at__isnull=True))
    )
    return list(
        Intake.objects.filter(state=Intake.State.WHOLE, pk__in=left.values("intake"))
        .select_related("deployment__camera", "deployment__site", "card")
        .order_by("started_at")
    )


def read_the_rest(line: Line) -> int:
    """Finish whatever a death left half read. Returns how many intakes that were."""
    left = half_read()
    for intake in left:
        finish(intake, line=line)
    return len(left)


def _time_told(intake: Intake) -> list[str]:
    told = []
    rows = list(
        intake.pictures.filter(foreign=False)
        .order_by("file_order")
        .values_list("path", "taken_raw", "time_from")
    )
    for jump in watch.jumps([(p, raw) for p, raw, source in rows if source in ("exif", "clip")]):
        told.append(f"{str(jump)[0].upper()}{str(jump)[1:]}.")
    by_file = sum(source == "file" for *_, source in rows)
    if by_file:
        told.append(
            f"{by_file} files hold no time of their own; the time their file was last changed is taken, "
            "which may be an "
            "hour or more off."
        )
    if intake.deployment is not None:
        deployment = intake.deployment
        low = deployment.start - timedelta(days=1)
        high = (deployment.end or datetime.now(UTC)) + timedelta(days=1)
        timed = intake.pictures.filter(taken_at__isnull=False, foreign=False)
        outside = timed.count() - timed.filter(taken_at__gte=low, taken_at__lte=high).count()
        if outside:
            told.append(
                f"{outside} pictures have a time outside this deployment: its camera's clock was wrong, or "
                "the card is "
                "another camera's."
            )
    return told


def summary(intake: Intake) -> dict[str, Any]:
    """An intake as one plain object: what `trod card --json` prints."""
    deployment = intake.deployment
    return {
        "bag": intake.folder if intake.new else None,
        "files": intake.files,
        "new": intake.new,
        "duplicates": intake.duplicates,
        "damaged": intake.damaged,
        "foreign": intake.foreign,
        "bytes": intake.bytes,
        "seconds": round(intake.seconds, 3),
        "intake": intake.name,
        "source": intake.source,
        "site": deployment.site.slug if deployment else None,
        "deployment": deployment.slug if deployment else None,
        "camera": deployment.camera.serial if deployment else None,
        "events": Event.objects.filter(pictures__intake=intake).distinct().count(),
        "skipped": intake.skipped,
        "read_back": intake.read_back,
        **intake.verdict.as_json(),
        "accepted_by": intake.accepted_by,
        "notes": intake.all_notes,
        "sentence": intake.verdict.sentence,
    }
