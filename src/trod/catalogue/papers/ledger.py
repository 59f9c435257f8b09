"""Rows to plain data and back: `archive/ledger.json` and a `sidecar.json` beside each deployment's pictures.

What people entered must outlive the database, so every change of a record is written to these files as soon
as it is committed. Rows are named by keys that outlive a rebuild (slugs, serials, labels, uuids), never by
their numbers. Accounts and sessions are no part of it: passwords do not belong beside pictures.

    ledger.json    reserves, species, camera models, cameras, sites, signs, cards, placements, imports of records,
                   visits to empty sites, questions with their findings, rounds, incidents, stock, costs, and what
                   was not visited
    private.json   locks with their numbers; readable by its owner alone
    sidecar.json   a deployment, its visits, walk tests, clock corrections and silences, its bags, its sequences
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from django.db import DatabaseError, models, transaction
from django.db.models.signals import post_delete, post_save, pre_delete, pre_save
from django.utils import timezone

from trod.archive import disk, register, rows, sidecar
from trod.archive import papers as disk_papers
from trod.archive.sidecar import SIDECAR
from trod.catalogue import home
from trod.catalogue.models import (
    Booking,
    Camera,
    CameraModel,
    Card,
    ClockCorrection,
    CostYear,
    Deletion,
    Deployment,
    Finding,
    Import,
    Incident,
    Lock,
    LockSeal,
    NotVisited,
    Picture,
    Placement,
    Question,
    RecordImport,
    Reserve,
    Round,
    RoundStop,
    Sequence,
    Sign,
    Silence,
    Site,
    Species,
    StockItem,
    Visit,
    WalkTest,
)
from trod.catalogue.papers import standing
from trod.catalogue.trouble import in_words
from trod.catalogue.who import who
from trod.errors import CatalogueTrouble, NotOnPaper, PaperLosesRows, TrodError

UNPLACED = "unplaced"
MOST_DELETED = 2000  # deletions on record in one paper; the paper's own lines, so that they are few kilobytes
SEQUENCE_PICTURES = 4000  # picture paths are read from the database in pieces of this many


@dataclass(frozen=True)
class Kind:
    """How the rows of one model are written: under which name, known by which fields.

    skip : fields that are written elsewhere or not at all.
    """

    name: str
    model: type[models.Model]
    key: tuple[str, ...]
    skip: frozenset[str] = field(default_factory=frozenset)

    @property
    def fields(self) -> list[models.Field[Any, Any]]:
        return [f for f in self.model._meta.concrete_fields if not f.primary_key and f.name not in self.skip]


# In the order in which they may be loaded: a row refers only to rows of kinds before its own.
KINDS: tuple[Kind, ...] = (
    Kind("reserves", Reserve, ("slug",)),
    Kind("species", Species, ("slug",)),
    Kind("camera_models", CameraModel, ("slug",)),
    Kind("cameras", Camera, ("serial",)),
    Kind("sites", Site, ("slug",)),
    Kind("signs", Sign, ("uuid",)),
    Kind("cards", Card, ("label",)),
    Kind("placements", Placement, ("uuid",)),
    Kind("record_imports", RecordImport, ("uuid",)),
    Kind("deployments", Deployment, ("slug",)),
    Kind("visits", Visit, ("uuid",)),
    Kind("walk_tests", WalkTest, ("uuid",)),
    Kind("clock_corrections", ClockCorrection, ("uuid",)),
    Kind("silences", Silence, ("uuid",)),
    Kind("imports", Import, ("name",)),
    Kind("questions", Question, ("uuid",)),
    Kind("findings", Finding, ("question", "at")),
    Kind("rounds", Round, ("uuid",)),
    Kind("round_stops", RoundStop, ("round", "turn")),
    Kind("lock_seals", LockSeal, ("uuid",), frozenset({"one"})),
    Kind("locks", Lock, ("uuid",)),
    Kind("incidents", Incident, ("uuid",)),
    Kind("stock_items", StockItem, ("uuid",)),
    Kind("bookings", Booking, ("uuid",)),
    Kind("cost_years", CostYear, ("uuid",)),
    Kind("not_visited", NotVisited, ("uuid",)),
)
BY_MODEL = {kind.model: kind for kind in KINDS}
BY_NAME = {kind.name: kind for kind in KINDS}
IN_LEDGER = (
    "reserves", "species", "camera_models", "cameras", "sites", "signs", "cards", "placements", "record_imports",
    "questions", "findings", "rounds", "round_stops", "incidents", "stock_items", "bookings", "cost_years",
    "not_visited",
)  # fmt: skip
# These stand in ledger.json and name deployments and visits, which are read from sidecars before them.
LATE = frozenset({"incidents", "bookings", "not_visited"})


# Rows to plain data -----------------------------------------------------------------------------------------


def moment(when: datetime) -> str:
    """An instant as ISO 8601 in UTC, to the microsecond where it has one: 2026-05-01T04:05:06Z."""
    return when.astimezone(UTC).isoformat().replace("+00:00", "Z")


def plain(value: Any) -> Any:
    """A field's value as JSON carries it."""
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    return value


def plain_row(row: models.Model, kind: Kind, names: Names) -> dict[str, Any]:
    """One row as plain data; a reference stands as the key of the row it names."""
    out: dict[str, Any] = {}
    for f in kind.fields:
        if f.is_relation:
            out[f.name] = names.of(f.related_model, getattr(row, f.attname))
        else:
            out[f.name] = plain(getattr(row, f.attname))
    return out


class Names:
    """Row numbers to keys, each table read once."""

    def __init__(self) -> None:
        self._known: dict[type[models.Model], dict[int, Any]] = {}

    def of(self, model: Any, pk: int | None) -> Any:
        if pk is None:
            return None
        if model not in self._known:
            kind = BY_MODEL[model]
            (key,) = kind.key
            self._known[model] = {pk: plain(value) for pk, value in model.objects.values_list("pk", key)}
        try:
            return self._known[model][pk]
        except KeyError:
            raise CatalogueTrouble(
                f"The catalogue is damaged: a record in it names one of {BY_MODEL[model].name.replace('_', ' ')} that "
                "is not there. The archive holds the truth: trod rebuild makes the catalogue anew from it and keeps "
                "the old one aside."
            ) from None


def dump_ledger() -> dict[str, Any]:
    """All that ledger.json holds, in a fixed order."""
    names = Names()
    out: dict[str, Any] = {}
    for kind in KINDS:
        rows: Iterable[models.Model]
        if kind.name in IN_LEDGER:
            rows = kind.model._default_manager.order_by(*kind.key)
        elif kind.model is Visit:
            rows = Visit.objects.filter(deployment__isnull=True).order_by("uuid")
        elif kind.model is Import:
            rows = Import.objects.filter(deployment__isnull=True, state=Import.State.WHOLE).order_by("name")
        else:
            continue
        out[kind.name] = [plain_row(row, kind, names) for row in rows]
    return out


def dump_private() -> dict[str, Any]:
    """All that private.json holds."""
    names = Names()
    return {
        "lock_seals": [plain_row(row, BY_NAME["lock_seals"], names) for row in LockSeal.objects.all()],
        "locks": [plain_row(row, BY_NAME["locks"], names) for row in Lock.objects.order_by("uuid")],
    }


def dump_sidecar(deployment: Deployment, kept: dict[str, Any] | None = None) -> dict[str, Any]:
    """All that a deployment's sidecar.json holds.

    kept : the file as it stands, when no bag or sequence has changed since it was written; then these are taken from
    it, for to read them anew takes longest.
    """
    names = Names()
    out: dict[str, Any] = {}
    out["deployment"] = plain_row(deployment, BY_NAME["deployments"], names)
    for name, found in (
        ("visits", deployment.visits.order_by("at", "uuid")),
        ("walk_tests", deployment.walk_tests.order_by("at", "uuid")),
        ("clock_corrections", deployment.clock_corrections.order_by("at", "uuid")),
        ("silences", deployment.silences.order_by("at", "uuid")),
        ("imports", deployment.imports.filter(state=Import.State.WHOLE).order_by("started_at", "name")),
    ):
        out[name] = [plain_row(row, BY_NAME[name], names) for row in found]
    if kept is not None and all(isinstance(kept.get(name), list) for name in ("bags", "sequences")):
        return {**out, "bags": kept["bags"], "sequences": kept["sequences"]}
    out["bags"] = [row["name"] for row in out["imports"] if row["new"]]
    out["sequences"] = [{"key": key, "pictures": pictures} for key, pictures in _sequence_pictures(deployment).items()]
    return out


def _sequence_pictures(deployment: Deployment) -> dict[str, list[str]]:
    """{sequence key: its pictures as "<bag>/<path below data>"}, in the order of time."""
    bags = {i.pk: (i.name, f"{i.folder}/data/") for i in deployment.imports.all()}
    out: dict[str, list[str]] = {}
    mine = Sequence.objects.filter(deployment=deployment, record_import__isnull=True)
    keys = dict(mine.values_list("pk", "key"))
    rows = (
        Picture.objects.filter(sequence__deployment=deployment, sequence__record_import__isnull=True)
        .order_by("sequence__start_at", "sequence__key", "taken_at", "file_order", "sha256")
        .values_list("sequence_id", "card_import_id", "path")
    )
    for sequence, card_import, path in rows.iterator(chunk_size=SEQUENCE_PICTURES):
        name, folder = bags[card_import]
        out.setdefault(keys[sequence], []).append(f"{name}/{path.removeprefix(folder)}")
    return out


# The files --------------------------------------------------------------------------------------------------


def deployment_folder(deployment: Deployment) -> str:
    """A deployment's folder below the archive: where its bags already lie, else by its site and slug."""
    first = (
        deployment.imports.exclude(folder__startswith=f"{UNPLACED}/")
        .order_by("started_at", "name")
        .values_list("folder", flat=True)
        .first()
    )
    if first:
        return first.rpartition("/")[0]
    return f"{deployment.site.slug}/{deployment.slug}"


def _locked() -> disk.Lock:
    """Held from the reading of the rows to the end of the writing, so that no older state is written last."""
    home.make()
    return disk.Lock(home.home() / ".ledger-lock", wait_s=60)


def _is_written(kept: dict[str, Any] | None, fields: dict[str, Any]) -> bool:
    return kept is not None and all(kept.get(name) == value for name, value in fields.items())


def _put(folder: Path, name: str, fields: dict[str, Any], kept: sidecar.Paper) -> bool:
    """Write a paper if it is not up to date, onto the state that this catalogue knows and no other.

    Returns whether it had to be. To be called with the lock of its folder held, since `kept` was read.
    """
    root = home.archive_root()
    path = disk_papers.path_of(root, folder / name)
    standing.expect(path, kept.sha256)
    fields = {**fields, rows.DELETED: _deleted_by(path, kept.fields or {}, fields)}
    if kept.fields is None and not any(fields.values()):
        return False  # nothing to keep, and no paper that says otherwise
    if _is_written(kept.fields, fields):
        standing.know(path, kept.sha256)
        return False
    # A field that this Trod does not know is not its own to drop.
    fields = {**{name: value for name, value in (kept.fields or {}).items() if name not in fields}, **fields}
    sha256 = sidecar.write_json(
        root, path, standing.KINDS[name], fields, expect=kept.sha256,
        coming=lambda sha256: standing.announce(path, sha256),
    )  # fmt: skip
    standing.know(path, sha256)
    return True


def _deleted_by(path: str, kept: dict[str, Any], fields: dict[str, Any]) -> list[dict[str, Any]]:
    """The deletions that a paper puts on record: those it had, and new ones of what stood in it.

    What stands in it again is on record no more; of very many only the newest are kept.
    """
    had, stands = set(rows.rows_of(kept)), set(rows.rows_of(fields))
    told = {(str(d.get("kind")), str(d.get("key"))): d for d in kept.get(rows.DELETED) or () if isinstance(d, dict)}
    for row in Deletion.objects.order_by("pk"):
        if (row.kind, row.key) in had or (path == disk_papers.LEDGER and row.kind == "deployments"):
            entry = {"kind": row.kind, "key": row.key, "at": moment(row.at), "by": row.by}
            told[row.kind, row.key] = {**entry, "became": row.became} if row.became else entry
    return [entry for key, entry in told.items() if key not in stands][-MOST_DELETED:]


def write_ledger() -> bool:
    """Write ledger.json if it is not up to date. Returns whether it had to be.

    This and the next two raise OutOfStep when the disk holds another state than the one this catalogue knows, and
    PaperLosesRows for rows that nobody deleted; then nothing is written.
    """
    root = home.archive_root()
    with _locked(), sidecar.lock(root):
        return _put(root, disk_papers.LEDGER, dump_ledger(), sidecar.look_ledger(root))


def write_private() -> bool:
    """Write private.json if it is not up to date. Returns whether it had to be. Without a lock there is no file."""
    root = home.archive_root()
    with _locked(), sidecar.lock(root):
        return _put(root, disk_papers.PRIVATE, dump_private(), sidecar.look_private(root))


def write_sidecar(deployment: Deployment, *, papers_only: bool = False) -> bool:
    """Write a deployment's sidecar.json if it is not up to date. Returns whether it had to be.

    papers_only : neither its bags nor its sequences changed; see `dump_sidecar`.
    """
    root = home.archive_root()
    folder = root / deployment_folder(deployment)
    with _locked(), sidecar.lock(folder):
        kept = sidecar.look_sidecar(folder)
        written = _put(folder, SIDECAR, dump_sidecar(deployment, kept.fields if papers_only else None), kept)
        for other in root.glob(f"*/{deployment.slug}/{SIDECAR}"):
            if other.parent != folder:  # its site was mended before its first bag came
                _drop(other.parent)
    return written


def _drop(folder: Path) -> None:
    """Take the sidecar of a folder without bags away, if it is one that this catalogue knows."""
    root = home.archive_root()
    path = disk_papers.path_of(root, folder / SIDECAR)
    here = sidecar.look_sidecar(folder).sha256
    standing.expect(path, here)
    if here:
        standing.announce(path, register.NOT_THERE)
        if sidecar.drop_sidecar(folder):
            standing.drop(path)
        else:
            standing.know(path, here)


def _write_all(tasks: Iterable[Callable[[], bool]]) -> int:
    """Do each; one that would lose a row which another paper is about to take on waits for that one.

    Returns how many papers had to be written. Raises what the last one that cannot be done raises.
    """
    waiting, count = list(tasks), 0
    while waiting:
        again, trouble = [], None
        for task in waiting:
            try:
                count += task()
            except PaperLosesRows as problem:
                again.append(task)
                trouble = problem
        if trouble is not None and len(again) == len(waiting):
            raise trouble
        waiting = again
    return count


def catch_up() -> int:
    """Bring all files up to date, for the case that a process died between a commit and its writing.

    Returns how many had fallen behind. Raises OutOfStep, before anything is written, when the catalogue is not made
    from the papers that lie there.
    """
    standing.require()
    last = Deletion.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    sidecars = [partial(write_sidecar, row) for row in Deployment.objects.select_related("site")]
    count = _write_all([*sidecars, write_ledger, write_private])
    Deletion.objects.filter(pk__lte=last).delete()
    standing.owe(False)
    return count


def says_the_same() -> bool:
    """Whether every paper says just what the catalogue says, as far as the paper goes; reads only."""
    root = home.archive_root()

    def fits(kept: Any, fields: Any) -> bool:
        if isinstance(kept, dict) and isinstance(fields, dict):
            return all(name in fields and fits(value, fields[name]) for name, value in kept.items())
        if isinstance(kept, list) and isinstance(fields, list):
            return len(kept) == len(fields) and all(map(fits, kept, fields))
        return bool(kept == fields)

    def told(kept: dict[str, Any] | None) -> dict[str, Any]:
        return {k: v for k, v in (kept or {}).items() if k not in (rows.DELETED, "moves")}

    try:
        whole = fits(told(sidecar.read_ledger(root)), dump_ledger())
        whole = whole and fits(told(sidecar.read_private(root)), dump_private())
        mine = {root / deployment_folder(d): d for d in Deployment.objects.select_related("site")}
        for _, slug, folder in sidecar.folders_of_bags(root):
            kept = sidecar.read_sidecar(folder) if whole and slug is not None else None
            whole = whole and (kept is None or (folder in mine and fits(told(kept), dump_sidecar(mine[folder]))))
    except CatalogueTrouble:
        return False
    return whole


# Written at every change ------------------------------------------------------------------------------------


class _Pending(threading.local):
    def __init__(self) -> None:
        self.quiet = 0
        self.ledger = False
        self.private = False
        self.deployments: set[int] = set()
        self.papers: set[int] = set()  # of these only what people wrote, neither bags nor sequences
        self.gone: set[str] = set()


_pending = _Pending()


@contextmanager
def quiet() -> Iterator[None]:
    """Write nothing meanwhile: for loading, and for work that writes once at its own end."""
    _pending.quiet += 1
    try:
        yield
    finally:
        _pending.quiet -= 1


def is_quiet() -> bool:
    """Whether this thread is loading, or writes once at its own end."""
    return _pending.quiet > 0


def flush() -> None:
    """Write what changed in this thread since the last time. Raises NotOnPaper when it cannot be written now."""
    if _pending.quiet:
        return
    ledger, _pending.ledger = _pending.ledger, False
    private, _pending.private = _pending.private, False
    deployments, _pending.deployments = _pending.deployments, set()
    papers, _pending.papers = _pending.papers, set()
    gone, _pending.gone = _pending.gone, set()
    if not (ledger or private or deployments or papers or gone):
        return
    last = Deletion.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    changed = Deployment.objects.filter(pk__in=deployments | papers).select_related("site")
    tasks: list[Callable[[], bool]] = [
        partial(write_sidecar, row, papers_only=row.pk not in deployments) for row in changed
    ]
    tasks += [write_ledger] if ledger else []
    tasks += [write_private] if private else []
    try:
        _write_all(tasks)
        for slug in gone:
            for path in home.archive_root().glob(f"*/{slug}/{SIDECAR}"):
                with _locked():
                    _drop(path.parent)
        Deletion.objects.filter(pk__lte=last).delete()
    except (TrodError, OSError, DatabaseError) as problem:
        standing.owe(True)
        raise NotOnPaper(in_words(problem) or problem) from problem


# A sidecar names cameras, sites and cards by their keys; to save these fields alone changes none.
_NO_KEYS = frozenset({"state", "note"})
# What a visit may change of a deployment; neither its bags, its folder nor its sequences hang on it.
_PAPER_FIELDS = frozenset(
    {"card", "batteries", "height_m", "tilt_deg", "heading_deg", "aim_distance_m", "burst", "delay_s", "sensitivity"}
)


def touched(row: models.Model, fields: Iterable[str] | None = None) -> None:
    """Note that a record changed; the files follow once the transaction is committed.

    fields : those that were saved, where not all.
    """
    if _pending.quiet:
        return
    if isinstance(row, Deployment):
        (_pending.papers if fields and _PAPER_FIELDS.issuperset(fields) else _pending.deployments).add(row.pk)
    elif isinstance(row, (Visit, WalkTest, Silence)):
        if row.deployment_id is not None:
            _pending.papers.add(row.deployment_id)
        _pending.ledger = _pending.ledger or isinstance(row, Visit)
    elif isinstance(row, (ClockCorrection, Import)):
        if row.deployment_id is not None:
            _pending.deployments.add(row.deployment_id)
        _pending.ledger = _pending.ledger or isinstance(row, Import)
    elif isinstance(row, (Lock, LockSeal)):
        _pending.private = True
    elif type(row) in BY_MODEL:
        _pending.ledger = True
        if isinstance(row, (Camera, Site, Card, Placement)) and not (fields and _NO_KEYS.issuperset(fields)):
            _pending.deployments |= _naming(row)
            _pending.private = _pending.private or isinstance(row, (Camera, Site))
    else:
        return
    transaction.on_commit(flush)


def _saved(sender: Any, instance: models.Model, raw: bool = False, update_fields: Any = None, **more: Any) -> None:
    if not raw:
        touched(instance, update_fields)


def _deleted(sender: Any, instance: models.Model, **more: Any) -> None:
    kind = BY_MODEL[type(instance)]
    _record(kind, _key_of(instance, kind))
    if _pending.quiet:
        return
    if isinstance(instance, Deployment):
        _pending.gone.add(instance.slug)
        _pending.ledger = True
        transaction.on_commit(flush)
    else:
        touched(instance)


def _key_of(row: models.Model, kind: Kind) -> str:
    """A row's key in words, as papers know it: its fields joined by a blank."""
    values = (getattr(row, name) for name in kind.key)
    return " ".join(str(_key_of(v, BY_MODEL[type(v)]) if isinstance(v, models.Model) else plain(v)) for v in values)


def _record(kind: Kind, key: str, became: str = "") -> None:
    Deletion.objects.create(kind=kind.name, key=key, at=timezone.now(), by=who()[:80], became=became)


def _naming(row: models.Model) -> set[int]:
    """The deployments whose sidecars name this row by its key."""
    if not isinstance(row, (Camera, Site, Card, Placement)) or row.pk is None:
        return set()
    named = set(row.deployments.values_list("pk", flat=True))
    if isinstance(row, Card):
        visits = Visit.objects.filter(models.Q(card_in=row) | models.Q(card_out=row), deployment__isnull=False)
        named |= set(visits.values_list("deployment_id", flat=True))
        named |= set(Import.objects.filter(card=row, deployment__isnull=False).values_list("deployment_id", flat=True))
    return named


def _to_be_saved(sender: Any, instance: models.Model, raw: bool = False, update_fields: Any = None, **more: Any) -> None:
    """Before a record changes: may this catalogue write at all? And does the record take another key?"""
    if raw or _pending.quiet:
        return
    standing.require()
    if isinstance(instance, (Visit, WalkTest, ClockCorrection, Silence, Import)) and instance.pk is not None:
        before = type(instance)._default_manager.filter(pk=instance.pk).values_list("deployment_id", flat=True).first()
        if before is not None and before != instance.deployment_id:  # the paper that it leaves follows too
            _pending.deployments.add(before)
    kind = BY_MODEL[type(instance)]
    if instance.pk is None or kind.key == ("uuid",) or not set(update_fields or kind.key) & set(kind.key):
        return
    old = type(instance)._default_manager.filter(pk=instance.pk).first()
    if old is not None and (was := _key_of(old, kind)) != (now := _key_of(instance, kind)):
        _record(kind, was, became=now)


def _to_be_deleted(sender: Any, instance: models.Model, **more: Any) -> None:
    """Before a record goes: may this catalogue write at all? Those that name it are written anew afterwards."""
    if not _pending.quiet:
        standing.require()
        _pending.deployments |= _naming(instance)


def watch_records() -> None:
    """Connect the signals; called once when Django is ready."""
    for kind in KINDS:
        pre_save.connect(_to_be_saved, sender=kind.model, dispatch_uid=f"ledger-may-save-{kind.name}")
        pre_delete.connect(_to_be_deleted, sender=kind.model, dispatch_uid=f"ledger-may-delete-{kind.name}")
        post_save.connect(_saved, sender=kind.model, dispatch_uid=f"ledger-save-{kind.name}")
        post_delete.connect(_deleted, sender=kind.model, dispatch_uid=f"ledger-delete-{kind.name}")


def is_fresh() -> bool:
    """Whether nothing has been entered yet."""
    return not (Reserve.objects.exists() or Deployment.objects.exists() or Import.objects.exists())
