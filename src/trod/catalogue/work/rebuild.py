"""The whole catalogue again from the archive's folders alone.

Ledger first, then each deployment with its bags, what the pictures say, the sequences its sidecar lists, and
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
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.imports import bags, clock_checks, clocks, facts, sequences
from trod.catalogue.line import Line
from trod.catalogue.models import Deployment, Identification, Import, Picture, Sequence
from trod.catalogue.papers import ledger, loading, standing
from trod.catalogue.records import again
from trod.catalogue.work.anew import NO_ARCHIVE
from trod.errors import CatalogueTrouble, WrongInput

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

    To be called by whoever has the data folder alone (`trod.catalogue.holders.alone`) and kept what is in it aside.
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
    # All or nothing: killed between two tables, it would be a catalogue that calls itself whole and is not.
    with connection.constraint_checks_disabled(), transaction.atomic(), connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f"DELETE FROM {quote(table)}")  # noqa: S608 - names of our own tables, quoted


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
            _imports(deployment, folder, book, loader, made, line)
        facts.read(Picture.objects.all(), line, workers=workers, remake=remake_thumbnails)
        for number, (deployment, folder) in enumerate(deployments):
            line.step(number, len(folders), "Putting sequences together")
            _sequences(deployment, folder, line)
        made.trouble += again.read_all(line)
        line.step(len(folders), len(folders), "Reading words")
        replayed = identifications.replay(_words(folders))
        standing.end_building(read, loader.not_whole)
        made.trouble += loader.trouble + replayed.told
        made.counts = {
            **{kind.name: kind.model._default_manager.count() for kind in ledger.KINDS},
            "pictures": Picture.objects.count(),
            "sequences": Sequence.objects.count(),
            "words": Identification.objects.count(),
        }
    return made


def _deployment(folder: sidecar.DeploymentFolder, loader: loading.Loader, made: Rebuilt) -> Deployment | None:
    where = folder.path.name if folder.deployment_slug is None else f"{folder.site_slug}/{folder.deployment_slug}"
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


def _imports(
    deployment: Deployment | None,
    folder: sidecar.DeploymentFolder,
    book: dict[str, Any],
    loader: loading.Loader,
    made: Rebuilt,
    line: Line,
) -> None:
    listed = (folder.sidecar or {}).get("imports") or ()
    paper = f"{folder.site_slug}/{folder.deployment_slug}/{SIDECAR}"
    if folder.deployment_slug is None:
        listed, paper = book.get("imports") or (), LEDGER
    rows: dict[str, Import] = {}
    for row in loader.load("imports", listed, paper):
        assert isinstance(row, Import)
        rows[row.name] = row
    found = [bags.of_entry(entry) for entry in folder.bags]
    for bag in sorted(found, key=lambda b: (_begun(rows.get(b.name), b), b.name)):
        card_import = rows.get(bag.name) or _bare_card_import(bag, deployment, made)
        if card_import.folder != bag.folder:  # it was moved, and the database died before it heard of it
            card_import.folder, card_import.deployment = bag.folder, deployment
            card_import.save(update_fields=["folder", "deployment"])
        bags.register(bag, card_import, line)


def _begun(card_import: Import | None, bag: bags.Bag) -> datetime:
    return card_import.started_at if card_import else bags.begun_at(bag.name, bag.about)


def _bare_card_import(bag: bags.Bag, deployment: Deployment | None, made: Rebuilt) -> Import:
    """An import of which only the bag is left: its process died before the sidecar was written."""
    begun = bag.about.get("Trod-Begun")
    started = datetime.fromisoformat(begun) if begun else bags.begun_at(bag.name, bag.about)
    card_import = Import(
        name=bag.name,
        folder=bag.folder,
        deployment=deployment,
        state=Import.State.WHOLE,
        source=bag.about.get("Trod-Source", "")[:500],
        started_at=started,
        finished_at=started,
        by=bag.about.get("Contact-Name", "")[:80],
    )
    bags.count(bag, card_import)
    card_import.bytes = sum(f.size_bytes for f in bag.files)
    card_import.save()
    made.trouble.append(f"{bag.folder}: stands in no sidecar; its counts were taken from the bag itself.")
    return card_import


def _sequences(deployment: Deployment | None, folder: sidecar.DeploymentFolder, line: Line) -> None:
    mine = Import.objects.filter(folder__startswith=f"{folder.path.relative_to(home.archive_root()).as_posix()}/")
    for card_import in mine:
        before = card_import.foreign
        facts.tell_foreign(card_import)
        if card_import.foreign != before:
            card_import.save(update_fields=["foreign"])
    if deployment is None:
        for card_import in mine:
            clocks.retime_unplaced(card_import.pk)
        return
    with transaction.atomic():
        clocks.retime(deployment)
        sequences.tell_triggers(deployment)
        heads = {i.pk: (i.name, f"{i.folder}/data/") for i in deployment.imports.all()}
        paths = {}
        for pk, import_pk, path in Picture.objects.filter(deployment=deployment).values_list(
            "pk", "card_import_id", "path"
        ):
            name, head = heads[import_pk]
            paths[f"{name}/{path.removeprefix(head)}"] = pk
        sequences.restore(deployment, (folder.sidecar or {}).get("sequences") or [], paths)
        missing = facts.pictures_of(deployment).filter(sequence__isnull=True, taken_at__isnull=False, foreign=False)
        if missing.exists():
            sequences.regroup(deployment, line)
        for card_import in mine:
            clock_checks.look(card_import)


def _words(folders: list[sidecar.DeploymentFolder]) -> Iterator[dict[str, Any]]:
    for folder in folders:
        yield from folder.words
