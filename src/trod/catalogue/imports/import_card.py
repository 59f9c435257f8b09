"""A card or folder imported: the bag, its pictures in the catalogue, what they say, their sequences.

The order is the promise: the bag is whole in the archive (or resumable) before the catalogue speaks of it,
and each step can be done again from what the steps before left on the disk. A process may die at any point;
`import_card` on the same import goes on from there.
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

from trod import wording
from trod.archive import card_import as core
from trod.archive import verdict
from trod.archive.card import CardListing, scan
from trod.archive.content import Problem
from trod.archive.making import Placement
from trod.archive.names import printable
from trod.catalogue import home
from trod.catalogue.imports import bags, clock_checks, clocks, facts
from trod.catalogue.line import Line, teller
from trod.catalogue.models import Card, Deployment, Import, Job, KeptFile, Picture, Sequence
from trod.catalogue.papers import ledger, standing
from trod.errors import CatalogueTrouble, SourceBusy, Stopped, TrodError, WrongInput

COPYING = "Copying"


@dataclass(frozen=True)
class Asked:
    """What a person (or a command) asked to be imported.

    deployment : None puts the bag aside as unplaced.
    """

    source: Path
    deployment: Deployment | None = None
    card: Card | None = None
    by: str = ""
    read_back: bool = True


def begin(asked: Asked, *, now: datetime) -> Import:
    """The import's row: the one that was broken off at this source and place, or a new one.

    Raises SourceBusy when this source is being imported at this moment.
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
        for old in Import.objects.filter(source=source, deployment=asked.deployment).exclude(state=Import.State.WHOLE):
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
                return Import.objects.create(name=name, folder=f"{place.folder}/{name}", **fields)
    raise CatalogueTrouble("No name could be given to this import. Try again in a second.")


def broken_off(source: Path, *, look_only: bool = False) -> Import | None:
    """The unfinished import of the card at this place, if there is one, also when only the archive knows of it.

    look_only : make no row for it.
    """
    where = str(source.resolve())
    for old in Import.objects.filter(source=where).exclude(state=Import.State.WHOLE).order_by("started_at"):
        if _can_go_on(old, source):
            return old
    known = set(Import.objects.values_list("name", flat=True))
    for unfinished in core.unfinished(home.archive_root()):
        if str(unfinished.source) != where or unfinished.name in known or not _holds_same(unfinished.path, source):
            continue
        slug = unfinished.place.deployment_slug
        row = Import(
            name=unfinished.name,
            folder=f"{unfinished.place.folder}/{unfinished.name}",
            deployment=Deployment.objects.filter(slug=slug).first() if slug else None,
            source=where,
            started_at=unfinished.begun,
            state=Import.State.PAUSED,
        )
        if not look_only:
            row.save()
        return row
    return None


def _can_go_on(card_import: Import, source: Path) -> bool:
    """Whether an unfinished import is of this very card and not of one that was plugged in there before."""
    root = home.archive_root()
    if (root / card_import.folder).exists():
        return True
    for unfinished in core.unfinished(root):
        if unfinished.name == card_import.name:
            return _holds_same(unfinished.path, source)
    return _is_asked_for(card_import)  # its plan was not written yet, so nothing was copied


def _has_begun(card_import: Import) -> bool:
    """Whether anything was copied for it."""
    root = home.archive_root()
    return (
        (root / card_import.folder).exists() or (root / core.INCOMING / card_import.name).exists() or card_import.new > 0
    )


def _is_asked_for(card_import: Import) -> bool:
    """Whether somebody put this import into the queue and it waits there or is at work."""
    open_jobs = Job.objects.filter(kind="import", state__in=[Job.State.WAITING, Job.State.RUNNING])
    return open_jobs.filter(args__card_import=card_import.name).exists()


def _holds_same(path: Path, source: Path) -> bool:
    from trod.archive.making import read_making

    try:
        making = read_making(home.archive_root(), path)
    except TrodError:
        return False
    return not making.items or any(
        (source / item.entry.path).is_file() and (source / item.entry.path).stat().st_size == item.entry.size_bytes
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
    from trod.catalogue.imports.propose import label_of

    head = f"{now.astimezone(UTC):%Y-%m-%d-%H%M%S}"
    label = unicodedata.normalize("NFKD", label_of(source)).encode("ascii", "ignore").decode().lower()
    label = re.sub(r"[^a-z0-9]+", "-", label).strip("-")[:40].strip("-")
    name = f"{head}-{label}" if label else head
    known = set(Import.objects.filter(name__startswith=name).values_list("name", flat=True))
    known |= {p.name for p in (home.archive_root() / core.INCOMING).glob(f"{name}*")}
    number, wish = 2, name
    while wish in known:
        wish, number = f"{name}-{number}", number + 1
    return wish


def already_have(sha256: str) -> Iterator[str]:
    """Where the archive keeps files of these bytes, as far as the catalogue knows."""
    for model in (Picture, KeptFile):
        yield from model.objects.filter(sha256=sha256).values_list("path", flat=True)


def import_card(
    card_import: Import,
    *,
    line: Line,
    now: datetime,
    listing: CardListing | None = None,
    accept_changes: bool = False,
    workers: int | None = None,
) -> dict[str, Any]:
    """Do all of an import, or what is left of it. Returns its counts and what is to be told.

    listing : the source as it was just listed; by default it is listed here.
    Raises Stopped (the import is paused), SourceBusy (another process is at it) and TrodError (it failed and can be
    taken up again).
    """
    standing.require()
    try:
        with ledger.quiet():
            if card_import.state != Import.State.WHOLE:
                with core.source_alone(home.archive_root(), Path(card_import.source)):
                    _copy(card_import, line, now, listing, accept_changes)
        return finish(card_import, line=line, workers=workers)
    except SourceBusy:
        raise  # the row is the other's
    except BaseException as problem:
        state = Import.State.PAUSED if isinstance(problem, (Stopped, KeyboardInterrupt)) else Import.State.FAILED
        Import.objects.filter(pk=card_import.pk).exclude(state=Import.State.WHOLE).update(state=state)
        raise


def _copy(card_import: Import, line: Line, now: datetime, listing: CardListing | None, accept_changes: bool) -> None:
    """From the card to a whole bag, and the bag into the catalogue."""
    root = home.archive_root()
    root.mkdir(parents=True, exist_ok=True)
    card_import.state = Import.State.COPYING
    card_import.save(update_fields=["state"])
    bag_place = root.joinpath(*card_import.folder.split("/"))
    result = None
    unfinished = any(u.name == card_import.name for u in core.unfinished(root))
    if unfinished:
        result = core.resume(
            root,
            card_import.name,
            already_have=already_have,
            listing=listing,
            accept_changes=accept_changes,
            progress=teller(line, COPYING),
            stop=line.stop,
        )
    elif not bag_place.exists():
        if listing is None:
            listing = scan(Path(card_import.source), inside=False, stop=line.stop)
        folder, _, _ = card_import.folder.rpartition("/")
        place = Placement(*folder.split("/")) if folder != ledger.UNPLACED else Placement()
        result = core.import_card(
            listing,
            root,
            place=place,
            name=card_import.name,
            about=_about(card_import),
            already_have=already_have,
            now=now,
            read_back=card_import.read_back,
            progress=teller(line, COPYING),
            stop=line.stop,
        )
    _register(card_import, result, line, now)


def _about(card_import: Import) -> Mapping[str, str]:
    about = {
        "External-Description": "Pictures of a motion-triggered camera, as they were on its card",
        "Trod-Source": card_import.source,
        "Trod-Begun": ledger.moment(card_import.started_at),
    }
    if card_import.by:
        about["Contact-Name"] = card_import.by
    if card_import.card is not None:
        about["Trod-Card"] = card_import.card.label
    if card_import.deployment is not None:
        about["Trod-Camera"] = card_import.deployment.camera.serial
        about["Trod-Deployment"] = card_import.deployment.slug
    return about


def _register(card_import: Import, result: core.ImportResult | None, line: Line, now: datetime) -> None:
    root = home.archive_root()
    if root.joinpath(*card_import.folder.split("/")).exists():
        bag = bags.read_bag(root, card_import.folder)
        bags.register(bag, card_import, line)
        bags.count(bag, card_import)
        card_import.bytes = sum(f.size_bytes for f in bag.files) + sum(int(t.get("size_bytes", 0)) for t in bag.twins)
    notes = list(card_import.notes)
    if result is not None:
        card_import.files, card_import.new, card_import.duplicates = result.files, result.new, result.duplicates
        card_import.damaged, card_import.skipped = len(result.damaged), result.skipped
        card_import.bytes, card_import.seen = result.bytes, verdict.plain(result.facts.seen)
        card_import.seconds += result.seconds
        notes += [*result.notes, *_told(result)]
    card_import.notes = list(dict.fromkeys(notes))
    card_import.finished_at = max(now, card_import.started_at, datetime.now(UTC))
    card_import.state = Import.State.WHOLE
    with transaction.atomic():
        card_import.save()
        _tell_card(card_import)


def _tell_card(card_import: Import) -> None:
    """Let the card's record follow the verdict."""
    if card_import.card is None:
        return
    here = Card.objects.filter(pk=card_import.card.pk)
    if card_import.safe_to_format:
        here.filter(state__in=[Card.State.HOME, Card.State.OUT]).update(state=Card.State.KEPT)
    else:
        here.filter(state=Card.State.KEPT).update(state=Card.State.HOME)


def accept_damage(card_import: Import, *, by: str, now: datetime) -> None:
    """A person has looked at the damaged files and says that they may go with the card.

    Raises WrongInput when something else than damage stands against formatting it, or nothing does.
    """
    if card_import.accepted_at is not None:
        return
    found = card_import.verdict
    if not found.has_damage:
        raise WrongInput("card_import", got=found.headline, needed="a card with damaged files")
    with transaction.atomic():
        card_import.accepted_by, card_import.accepted_at = by[:80], now
        card_import.save(update_fields=["accepted_by", "accepted_at"])
        _tell_card(card_import)


def take_back_acceptance(card_import: Import) -> None:
    """Undo `accept_damage`."""
    with transaction.atomic():
        card_import.accepted_by, card_import.accepted_at = "", None
        card_import.save(update_fields=["accepted_by", "accepted_at"])
        _tell_card(card_import)


LISTED = 20  # names in a note, at most


def _told(result: core.ImportResult) -> list[str]:
    """What was wrong with single files, a sentence per kind."""
    told = []
    for one, many, files in (
        ("could not be copied", "could not be copied", result.lost),
        ("is damaged and kept as it is", "are damaged and kept as they are", result.damaged),
    ):
        if files:
            names = "; ".join(f"{printable(t.path)} {t.sentence}" for t in files[:LISTED])
            more = f"; and {len(files) - LISTED} more" if len(files) > LISTED else ""
            told.append(f"{wording.plural(len(files), f'file {one}', f'files {many}')}: {names}{more}.")
    odd = [c.path for c in result.copies if Problem.ODD_NAME in c.problems]
    odd += [t.path for t in result.twins if Problem.ODD_NAME in t.problems]
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
        told.append(
            f"{wording.plural(len(renamed), 'name was', 'names were')} made plain for every disk: {names}{more}."
        )
    others = [t for t in result.skipped_files if t.what == "other"]
    if others:
        names = ", ".join(printable(t.path) for t in others[:5])
        told.append(
            f"{wording.plural(len(others), 'other file stays', 'other files stay')} on the card alone, "
            f"being neither picture nor clip: {names}."
        )
    return told


def finish(card_import: Import, *, line: Line, workers: int | None = None) -> dict[str, Any]:
    """Read what the pictures say, correct their times, part them into sequences, write the sidecar."""
    with ledger.quiet():
        facts.read(card_import.pictures.all(), line, workers=workers)
        deployment = card_import.deployment
        with transaction.atomic():
            makers = facts.tell_foreign(card_import)
            of_the_place = list(makers.told)
            if card_import.foreign:
                of_the_place.append(
                    f"{card_import.foreign} files look like another camera's; they are kept, marked, and in no sequence."
                )
            told = []
            if deployment is None:
                clocks.retime_unplaced(card_import.pk)
            else:
                told = clocks.follow(deployment, line)
            card_import.notes = list(dict.fromkeys([*card_import.notes, *told]))
            card_import.place_notes = [*of_the_place, *_time_told(card_import)]
            card_import.save(update_fields=["foreign", "notes", "place_notes"])
            clock_checks.look(card_import)
    if deployment is not None:
        ledger.write_sidecar(deployment)
    ledger.write_ledger()
    return summary(card_import)


def half_read() -> list[Import]:
    """Imports whose bag is whole, but whose pictures are not all looked into and in their sequences.

    A process died between the two. (Pictures whose time fits two corrections look the same; doing such an
    import again does no harm.)
    """
    timed = Q(taken_raw__isnull=False, time_from__in=("exif", "clip", "file"), foreign=False)
    no_sequence = timed & Q(deployment__isnull=False, sequence__isnull=True)
    left = Picture.objects.filter(
        Q(looked=False) | no_sequence | (timed & Q(deployment__isnull=True, taken_at__isnull=True))
    )
    return list(
        Import.objects.filter(state=Import.State.WHOLE, pk__in=left.values("card_import"))
        .select_related("deployment__camera", "deployment__site", "card")
        .order_by("started_at")
    )


def read_the_rest(line: Line) -> int:
    """Finish whatever a death left half read. Returns how many imports that were."""
    left = half_read()
    for card_import in left:
        finish(card_import, line=line)
    return len(left)


def _time_told(card_import: Import) -> list[str]:
    told = []
    rows = list(
        card_import.pictures.filter(foreign=False).order_by("file_order").values_list("path", "taken_raw", "time_from")
    )
    for jump in clocks.jumps([(p, raw) for p, raw, source in rows if source in ("exif", "clip")]):
        told.append(f"{str(jump)[0].upper()}{str(jump)[1:]}.")
    by_file = sum(source == "file" for *_, source in rows)
    if by_file:
        told.append(
            f"{by_file} files hold no time of their own; the time their file was last changed is taken, "
            "which may be an "
            "hour or more off."
        )
    if card_import.deployment is not None:
        deployment = card_import.deployment
        low = deployment.start - timedelta(days=1)
        high = (deployment.end or datetime.now(UTC)) + timedelta(days=1)
        timed = card_import.pictures.filter(taken_at__isnull=False, foreign=False)
        outside = timed.count() - timed.filter(taken_at__gte=low, taken_at__lte=high).count()
        if outside:
            told.append(
                f"{outside} pictures have a time outside this deployment: its camera's clock was wrong, or "
                "the card is "
                "another camera's."
            )
    return told


def summary(card_import: Import) -> dict[str, Any]:
    """An import as one plain object: what `trod card --json` prints."""
    deployment = card_import.deployment
    return {
        "bag": card_import.folder if card_import.new else None,
        "files": card_import.files,
        "new": card_import.new,
        "duplicates": card_import.duplicates,
        "damaged": card_import.damaged,
        "foreign": card_import.foreign,
        "bytes": card_import.bytes,
        "seconds": round(card_import.seconds, 3),
        "card_import": card_import.name,
        "source": card_import.source,
        "site": deployment.site.slug if deployment else None,
        "deployment": deployment.slug if deployment else None,
        "camera": deployment.camera.serial if deployment else None,
        "sequences": Sequence.objects.filter(pictures__card_import=card_import).distinct().count(),
        "skipped": card_import.skipped,
        "read_back": card_import.read_back,
        **card_import.verdict.as_json(),
        "accepted_by": card_import.accepted_by,
        "notes": card_import.all_notes,
        "sentence": card_import.verdict.sentence,
    }
