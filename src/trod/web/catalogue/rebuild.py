"""The whole catalogue again from the archive's folders alone.

Ledger first, then each deployment with its bags, what the pictures say, the events its sidecar lists, and
every word. What stands in the archive decides; what is damaged there is told and left out, and the rest comes
back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from trod.archive import sidecar
from trod.archive.papers import LEDGER, PRIVATE, SIDECAR
from trod.errors import CatalogueTrouble, WrongInput
from trod.web import home
from trod.web.catalogue import bags, events, facts, ledger, loading, standing, watch, words
from trod.web.catalogue.anew import NO_ARCHIVE
from trod.web.catalogue.line import Line
from trod.web.models import Deployment, Event, Intake, Picture, Word

STAYS = {"trod_logintries"}  # has nothing to do with what the archive holds


@dataclass
class Rebuilt:
    """What a rebuild brought back, and what it could not, in sentences."""

    counts: dict[str, int] = field(default_factory=dict)
    trouble: list[str] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        """What is back, in words."""
        shown = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in self.counts.items() if count)
        return shown or "the archive is empty"

    def as_json(self) -> dict[str, Any]:
        return {**self.counts, "trouble": self.trouble}


def is_empty() -> bool:
    """Whether the catalogue holds no record at all."""
    return not standing.holds_records()


def make_anew(line: Line, *, remake_thumbnails: bool = False) -> Rebuilt:
    """Empty the catalogue, whatever is in it, and fill it from the archive. Accounts stay.

    To be called by whoever has the data folder alone (`trod.web.holders.alone`) and kept what is in it aside.
    """
    if not home.archive_root().is_dir():
        raise WrongInput("archive", got=str(home.archive_root()), needed=NO_ARCHIVE)
    empty_all()
    return rebuild(line, remake_thumbnails=remake_thumbnails)


def empty_all() -> None:
    """Empty every table of ours, for a rebuild on PostgreSQL or a new demo. Accounts stay."""
    tables = sorted(t for t in connection.introspection.table_names() if t.startswith("trod_") and t not in STAYS)
    quote = connection.ops.quote_name
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # TRUNCATE waits for no check that is still due
            cursor.execute(f"TRUNCATE {', '.join(map(quote, tables))} RESTART IDENTITY")
        return
    standing.forget()
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f"DELETE FROM {quote(table)}")


def rebuild(line: Line, *, remake_thumbnails: bool = False, workers: int | None = None) -> Rebuilt:
    """Fill an empty catalogue from the archive. Raises WrongInput when it is not empty.

    Broken off, the catalogue says of itself that it is half made, and nobody may write with it; it is to be begun
    anew on an empty one. The archive is only read. Raises CatalogueTrouble when a paper changed meanwhile.
    """
    root = home.archive_root()
    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed=NO_ARCHIVE)
    if not is_empty():
        raise WrongInput("catalogue", got="one with records in it", needed="an empty one")
    made = Rebuilt()
    read = standing.begin_building()
    with ledger.quiet():
        folders = list(sidecar.walk(root))
        loader = loading.Loader()
        try:
            book = sidecar.read_ledger(root) or {}
        except CatalogueTrouble as problem:
            book = {}
            made.trouble.append(str(problem))
            loader.not_whole.add(LEDGER)
        for paper in (book, *(folder.sidecar or {} for folder in folders)):
            loader.heed(paper)
        if not book:
            made.trouble.append(
                "There is no ledger.json: reserves, sites, cameras and species come back only as far as "
                "sidecars name them."
            )
        loading.load_ledger(book, loader)
        deployments = [(_deployment(folder, loader, made), folder) for folder in folders]
        loading.load_late(book, loader)
        try:
            loading.load_private(sidecar.read_private(root) or {}, loader)
        except CatalogueTrouble as problem:
            made.trouble.append(str(problem))
            loader.not_whole.add(PRIVATE)
        for (deployment, folder), number in zip(deployments, range(len(folders)), strict=True):
            line.step(number, len(folders), "Reading the bags")
            _intakes(deployment, folder, book, loader, made, line)
        facts.read(Picture.objects.all(), line, workers=workers, remake=remake_thumbnails)
        for number, (deployment, folder) in enumerate(deployments):
            line.step(number, len(folders), "Putting events together")
            _events(deployment, folder, line)
        line.step(len(folders), len(folders), "Reading words")
        replayed = words.replay(_words(folders))
        standing.end_building(read, loader.not_whole)
        made.trouble += loader.trouble + replayed.told
        made.counts = {
            **{kind.name: kind.model._default_manager.count() for kind in ledger.KINDS},
            "pictures": Picture.objects.count(),
            "events": Event.objects.count(),
            "words": Word.objects.count(),
        }
    return made


def _deployment(folder: sidecar.DeploymentFolder, loader: loading.Loader, made: Rebuilt) -> Deployment | None:
    where = (
        folder.path.name if folder.deployment_slug is None else f"{folder.site_slug}/{folder.deployment_slug}"
    )
    made.trouble += [f"{where}: {told}" for told in folder.torn]
    if folder.deployment_slug is None:
        return None
    if folder.sidecar is None or "deployment" not in folder.sidecar:
        loader.not_whole.add(f"{where}/{SIDECAR}")
    if folder.sidecar is None or "deployment" not in folder.sidecar:
        if folder.bags:
            made.trouble.append(
                f"{where}: there is no sidecar that can be read, so its {len(folder.bags)} bags come back "
                "as unplaced. "
                "Restore sidecar.json from your backup and rebuild again, or place them by hand."
            )
        return None
    return loading.load_sidecar(folder.sidecar, loader, f"{where}/sidecar.json")


def _intakes(
    deployment: Deployment | None,
    folder: sidecar.DeploymentFolder,
    book: dict[str, Any],
    loader: loading.Loader,
    made: Rebuilt,
    line: Line,
) -> None:
    listed = (folder.sidecar or {}).get("intakes") or ()
    paper = f"{folder.site_slug}/{folder.deployment_slug}/{SIDECAR}"
    if folder.deployment_slug is None:
        listed, paper = book.get("intakes") or (), LEDGER
    rows: dict[str, Intake] = {}
    for row in loader.load("intakes", listed, paper):
        assert isinstance(row, Intake)
        rows[row.name] = row
    found = [bags.of_entry(entry) for entry in folder.bags]
    for bag in sorted(found, key=lambda b: (_begun(rows.get(b.name), b), b.name)):
        intake = rows.get(bag.name) or _bare_intake(bag, deployment, made)
        if intake.folder != bag.folder:  # it was moved, and the database died before it heard of it
            intake.folder, intake.deployment = bag.folder, deployment
            intake.save(update_fields=["folder", "deployment"])
        bags.register(bag, intake, line)


def _begun(intake: Intake | None, bag: bags.Bag) -> datetime:
    return intake.started_at if intake else bags.begun_at(bag.name, bag.about)


def _bare_intake(bag: bags.Bag, deployment: Deployment | None, made: Rebuilt) -> Intake:
    """An intake of which only the bag is left: its process died before the sidecar was written."""
    begun = bag.about.get("Trod-Begun")
    started = datetime.fromisoformat(begun) if begun else bags.begun_at(bag.name, bag.about)
    intake = Intake(
        name=bag.name,
        folder=bag.folder,
        deployment=deployment,
        state=Intake.State.WHOLE,
        source=bag.about.get("Trod-Source", "")[:500],
        started_at=started,
        finished_at=started,
        by=bag.about.get("Contact-Name", "")[:80],
    )
    bags.count(bag, intake)
    intake.bytes = sum(f.size_bytes for f in bag.files)
    intake.save()
    made.trouble.append(f"{bag.folder}: stands in no sidecar; its counts were taken from the bag itself.")
    return intake


def _events(deployment: Deployment | None, folder: sidecar.DeploymentFolder, line: Line) -> None:
    mine = Intake.objects.filter(
        folder__startswith=f"{folder.path.relative_to(home.archive_root()).as_posix()}/"
    )
    for intake in mine:
        before = intake.foreign
        facts.tell_foreign(intake)
        if intake.foreign != before:
            intake.save(update_fields=["foreign"])
    if deployment is None:
        for intake in mine:
            watch.retime_unplaced(intake.pk)
        return
    with transaction.atomic():
        watch.retime(deployment)
        events.tell_triggers(deployment)
        heads = {i.pk: (i.name, f"{i.folder}/data/") for i in deployment.intakes.all()}
        paths = {}
        for pk, intake, path in Picture.objects.filter(deployment=deployment).values_list(
            "pk", "intake_id", "path"
        ):
            name, head = heads[intake]
            paths[f"{name}/{path.removeprefix(head)}"] = pk
        events.restore(deployment, (folder.sidecar or {}).get("events") or [], paths)
        missing = Picture.objects.filter(
            deployment=deployment, event__isnull=True, taken_at__isnull=False, foreign=False
        )
        if missing.exists():
            events.regroup(deployment, line)


def _words(folders: list[sidecar.DeploymentFolder]) -> Iterator[dict[str, Any]]:
    for folder in folders:
        yield from folder.words
