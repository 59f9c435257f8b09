"""Rows to plain data and back: `archive/ledger.json` and a `sidecar.json` beside each deployment's pictures.

What people entered must outlive the database, so every change of a record is written to these files as soon
as it is committed. Rows are named by keys that outlive a rebuild (slugs, serials, labels, uuids), never by
their numbers. Accounts and sessions are no part of it: passwords do not belong beside pictures.

    ledger.json    reserves, species, camera models, cameras, sites, signs, cards, placements,
                   visits to empty sites, questions with their findings, rounds, mishaps, stock and costs
    private.json   locks with their numbers; readable by its owner alone
    sidecar.json   a deployment, its visits, walk tests and watch corrections, its bags, its events
"""

from __future__ import annotations

import contextlib
import threading
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import models, transaction
from django.db.models.signals import post_delete, post_save

from trod.archive import disk, sidecar
from trod.archive.sidecar import SIDECAR
from trod.errors import CatalogueTrouble
from trod.web import home
from trod.web.models import (
    Booking,
    Camera,
    CameraModel,
    Card,
    CostYear,
    Deployment,
    Event,
    Finding,
    Intake,
    Lock,
    Mishap,
    Picture,
    Placement,
    Question,
    Reserve,
    Round,
    RoundStop,
    Sign,
    Site,
    Species,
    StockItem,
    Visit,
    WalkTest,
    WatchCorrection,
)

UNPLACED = "unplaced"
EVENT_PICTURES = 4000  # picture paths are read from the database in pieces of this many


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
    Kind("deployments", Deployment, ("slug",)),
    Kind("visits", Visit, ("uuid",)),
    Kind("walk_tests", WalkTest, ("uuid",)),
    Kind("watch_corrections", WatchCorrection, ("uuid",)),
    Kind("intakes", Intake, ("name",)),
    Kind("questions", Question, ("uuid",)),
    Kind("findings", Finding, ("question", "at")),
    Kind("rounds", Round, ("uuid",)),
    Kind("round_stops", RoundStop, ("round", "turn")),
    Kind("locks", Lock, ("uuid",)),
    Kind("mishaps", Mishap, ("uuid",)),
    Kind("stock_items", StockItem, ("uuid",)),
    Kind("bookings", Booking, ("uuid",)),
    Kind("cost_years", CostYear, ("uuid",)),
)
BY_MODEL = {kind.model: kind for kind in KINDS}
BY_NAME = {kind.name: kind for kind in KINDS}
IN_LEDGER = (
    "reserves", "species", "camera_models", "cameras", "sites", "signs", "cards", "placements", "questions", "findings",
    "rounds", "round_stops", "mishaps", "stock_items", "bookings", "cost_years",
)  # fmt: skip
# These stand in ledger.json and name deployments and visits, which are read from sidecars before them.
LATE = frozenset({"mishaps", "bookings"})


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
        return self._known[model][pk]


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
        elif kind.model is Intake:
            rows = Intake.objects.filter(deployment__isnull=True, state=Intake.State.WHOLE).order_by("name")
        else:
            continue
        out[kind.name] = [plain_row(row, kind, names) for row in rows]
    return out


def dump_private() -> dict[str, Any]:
    """All that private.json holds."""
    names = Names()
    return {"locks": [plain_row(row, BY_NAME["locks"], names) for row in Lock.objects.order_by("uuid")]}


def dump_sidecar(deployment: Deployment, kept: dict[str, Any] | None = None) -> dict[str, Any]:
    """All that a deployment's sidecar.json holds. kept : the file as it stands, when no bag or event has changed
    since it was written; then these are taken from it, for to read them anew takes longest."""
    names = Names()
    out: dict[str, Any] = {}
    out["deployment"] = plain_row(deployment, BY_NAME["deployments"], names)
    for name, rows in (
        ("visits", deployment.visits.order_by("at", "uuid")),
        ("walk_tests", deployment.walk_tests.order_by("at", "uuid")),
        ("watch_corrections", deployment.watch_corrections.order_by("at", "uuid")),
        ("intakes", deployment.intakes.filter(state=Intake.State.WHOLE).order_by("started_at", "name")),
    ):
        out[name] = [plain_row(row, BY_NAME[name], names) for row in rows]
    if kept is not None and all(isinstance(kept.get(name), list) for name in ("bags", "events")):
        return {**out, "bags": kept["bags"], "events": kept["events"]}
    out["bags"] = [row["name"] for row in out["intakes"] if row["new"]]
    out["events"] = [
        {"key": key, "pictures": pictures} for key, pictures in _event_pictures(deployment).items()
    ]
    return out


def _event_pictures(deployment: Deployment) -> dict[str, list[str]]:
    """{event key: its pictures as "<bag>/<path below data>"}, in the order of time."""
    bags = {i.pk: (i.name, f"{i.folder}/data/") for i in deployment.intakes.all()}
    out: dict[str, list[str]] = {}
    keys = dict(Event.objects.filter(deployment=deployment).values_list("pk", "key"))
    rows = (
        Picture.objects.filter(event__deployment=deployment)
        .order_by("event__start_at", "event__key", "taken_at", "file_order", "sha256")
        .values_list("event_id", "intake_id", "path")
    )
    for event, intake, path in rows.iterator(chunk_size=EVENT_PICTURES):
        name, folder = bags[intake]
        out.setdefault(keys[event], []).append(f"{name}/{path.removeprefix(folder)}")
    return out


# The files --------------------------------------------------------------------------------------------------


def deployment_folder(deployment: Deployment) -> str:
    """A deployment's folder below the archive: where its bags already lie, else by its site and slug."""
    first = (
        deployment.intakes.exclude(folder__startswith=f"{UNPLACED}/")
        .order_by("started_at", "name")
        .values_list("folder", flat=True)
        .first()
    )
    if first:
        return first.rpartition("/")[0]
    return f"{deployment.site.slug}/{deployment.slug}"


def _locked() -> disk.Lock:
    """Held from the reading of the rows to the end of the writing, so that no older state is written last."""
    home.home().mkdir(parents=True, exist_ok=True)
    return disk.Lock(home.home() / ".ledger-lock", wait_s=60)


def _is_written(kept: dict[str, Any] | None, fields: dict[str, Any]) -> bool:
    return kept is not None and all(kept.get(name) == value for name, value in fields.items())


def write_ledger() -> bool:
    """Write ledger.json if it is not up to date. Returns whether it had to be."""
    root = home.archive_root()
    with _locked():
        fields = dump_ledger()
        with contextlib.suppress(CatalogueTrouble):
            if _is_written(sidecar.read_ledger(root), fields):
                return False
        sidecar.write_ledger(root, fields)
    return True


def write_private() -> bool:
    """Write private.json if it is not up to date. Returns whether it had to be. Without a lock there is no file."""
    root = home.archive_root()
    with _locked():
        fields = dump_private()
        with contextlib.suppress(CatalogueTrouble):
            kept = sidecar.read_private(root)
            if _is_written(kept, fields) or (kept is None and not fields["locks"]):
                return False
        sidecar.write_private(root, fields)
    return True


def write_sidecar(deployment: Deployment, *, papers_only: bool = False) -> bool:
    """Write a deployment's sidecar.json if it is not up to date. Returns whether it had to be.

    papers_only : neither its bags nor its events changed; see `dump_sidecar`.
    """
    root = home.archive_root()
    with _locked():
        folder = root / deployment_folder(deployment)
        kept = None
        with contextlib.suppress(CatalogueTrouble):
            kept = sidecar.read_sidecar(folder)
        fields = dump_sidecar(deployment, kept if papers_only else None)
        for other in root.glob(f"*/{deployment.slug}/{SIDECAR}"):
            if other.parent != folder:  # its site was mended before its first bag came
                sidecar.drop_sidecar(other.parent)
        if _is_written(kept, fields):
            return False
        sidecar.write_sidecar(folder, fields)
    return True


def catch_up() -> int:
    """Bring all files up to date, for the case that a process died between a commit and its writing.

    Returns how many had fallen behind.
    """
    behind = int(write_ledger()) + int(write_private())
    for deployment in Deployment.objects.select_related("site"):
        behind += int(write_sidecar(deployment))
    return behind


# Written at every change ------------------------------------------------------------------------------------


class _Pending(threading.local):
    def __init__(self) -> None:
        self.quiet = 0
        self.ledger = False
        self.private = False
        self.deployments: set[int] = set()
        self.papers: set[int] = set()  # of these only what people wrote, neither bags nor events
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
    """Write what changed in this thread since the last time."""
    if _pending.quiet:
        return
    ledger, _pending.ledger = _pending.ledger, False
    private, _pending.private = _pending.private, False
    deployments, _pending.deployments = _pending.deployments, set()
    papers, _pending.papers = _pending.papers, set()
    gone, _pending.gone = _pending.gone, set()
    for slug in gone:
        for path in home.archive_root().glob(f"*/{slug}/{SIDECAR}"):
            sidecar.drop_sidecar(path.parent)
    if ledger:
        write_ledger()
    if private:
        write_private()
    if deployments or papers:
        for deployment in Deployment.objects.filter(pk__in=deployments | papers).select_related("site"):
            write_sidecar(deployment, papers_only=deployment.pk not in deployments)


# A sidecar names cameras, sites and cards by their keys; to save these fields alone changes none.
_NO_KEYS = frozenset({"state", "note"})
# What a visit may change of a deployment; neither its bags, its folder nor its events hang on it.
_PAPER_FIELDS = frozenset(
    {"card", "cells", "height_m", "tilt_deg", "heading_deg", "aim_distance_m", "burst", "delay_s", "sensitivity"}
)


def touched(row: models.Model, fields: Iterable[str] | None = None) -> None:
    """Note that a record changed; the files follow once the transaction is committed.

    fields : those that were saved, where not all.
    """
    if _pending.quiet:
        return
    if isinstance(row, Deployment):
        (_pending.papers if fields and _PAPER_FIELDS.issuperset(fields) else _pending.deployments).add(row.pk)
    elif isinstance(row, (Visit, WalkTest)):
        if row.deployment_id is not None:
            _pending.papers.add(row.deployment_id)
        _pending.ledger = _pending.ledger or isinstance(row, Visit)
    elif isinstance(row, (WatchCorrection, Intake)):
        if row.deployment_id is not None:
            _pending.deployments.add(row.deployment_id)
        _pending.ledger = _pending.ledger or isinstance(row, Intake)
    elif isinstance(row, Lock):
        _pending.private = True
    elif type(row) in BY_MODEL:
        _pending.ledger = True
        if isinstance(row, (Camera, Site, Card, Placement)) and not (fields and _NO_KEYS.issuperset(fields)):
            _pending.deployments.update(row.deployments.values_list("pk", flat=True))
            _pending.private = _pending.private or isinstance(row, (Camera, Site))
    else:
        return
    transaction.on_commit(flush)


def _saved(
    sender: Any, instance: models.Model, raw: bool = False, update_fields: Any = None, **more: Any
) -> None:
    if not raw:
        touched(instance, update_fields)


def _deleted(sender: Any, instance: models.Model, **more: Any) -> None:
    if isinstance(instance, Deployment):
        if not _pending.quiet:
            _pending.gone.add(instance.slug)
            transaction.on_commit(flush)
    else:
        touched(instance)


def watch_records() -> None:
    """Connect the signals; called once when Django is ready."""
    for kind in KINDS:
        post_save.connect(_saved, sender=kind.model, dispatch_uid=f"ledger-save-{kind.name}")
        post_delete.connect(_deleted, sender=kind.model, dispatch_uid=f"ledger-delete-{kind.name}")


# Plain data to rows -----------------------------------------------------------------------------------------


class Loader:
    """Makes rows of plain data; references are looked up by key."""

    def __init__(self) -> None:
        self.count: dict[str, int] = defaultdict(int)
        self.trouble: list[str] = []
        self._found: dict[tuple[Any, Any], int] = {}

    def load(self, name: str, rows: Iterable[dict[str, Any]], where: str) -> list[models.Model]:
        """Rows of one kind; one that does not fit is told in `trouble` and left out."""
        kind = BY_NAME[name]
        made = []
        for plain_data in rows:
            try:
                with transaction.atomic():
                    made.append(self._row(kind, plain_data))
            except Exception as problem:  # whatever a damaged or hand-edited file may hold
                key = (
                    " ".join(str(plain_data.get(k)) for k in kind.key)
                    if isinstance(plain_data, dict)
                    else "?"
                )
                self.trouble.append(f"{where}: {name} {key} was left out ({_short(problem)}).")
            else:
                self.count[name] += 1
        return made

    def _row(self, kind: Kind, data: dict[str, Any]) -> models.Model:
        values = {f.attname: self._value(f, data[f.name]) for f in kind.fields if f.name in data}
        key = {kind.model._meta.get_field(k).attname: None for k in kind.key}
        key = {k: values.pop(k) for k in key}
        row, _ = kind.model._default_manager.update_or_create(defaults=values, **key)
        return row

    def _value(self, f: models.Field[Any, Any], value: Any) -> Any:
        if value is None or not f.is_relation:
            return f.to_python(value) if value is not None else None
        model = f.related_model
        if (model, value) not in self._found:
            (key,) = BY_MODEL[model].key
            row = model._default_manager.only("pk").filter(**{key: value}).first()
            if row is None and f.null:  # what it named was deleted while the power failed: keep the rest
                return None
            if row is None:
                raise ObjectDoesNotExist
            self._found[model, value] = row.pk
        return self._found[model, value]


def _short(problem: Exception) -> str:
    if isinstance(problem, ValidationError):
        return "; ".join(problem.messages)
    if isinstance(problem, ObjectDoesNotExist):
        return "it refers to a record that is not there"
    text = str(problem).strip().split("\n")[0]
    return text or type(problem).__name__


def load_ledger(data: dict[str, Any], loader: Loader, where: str = "ledger.json") -> None:
    """Rows of all that stands in ledger.json except unplaced intakes, which come with their bags, and what
    `load_late` brings."""
    for kind in KINDS:
        if (kind.name in IN_LEDGER and kind.name not in LATE) or kind.model is Visit:
            loader.load(kind.name, data.get(kind.name) or (), where)


def load_late(data: dict[str, Any], loader: Loader, where: str = "ledger.json") -> None:
    """Rows of ledger.json that name deployments or visits, once the sidecars are read."""
    for kind in KINDS:
        if kind.name in LATE:
            loader.load(kind.name, data.get(kind.name) or (), where)


def load_private(data: dict[str, Any], loader: Loader, where: str = "private.json") -> None:
    """Rows of private.json, once the ledger is read."""
    loader.load("locks", data.get("locks") or (), where)


def load_sidecar(data: dict[str, Any], loader: Loader, where: str) -> Deployment | None:
    """A deployment with its visits and corrections; its bags and events are loaded with the pictures."""
    made = loader.load("deployments", [data.get("deployment") or {}], where)
    if not made:
        return None
    loader.load("visits", data.get("visits") or (), where)
    loader.load("walk_tests", data.get("walk_tests") or (), where)
    loader.load("watch_corrections", data.get("watch_corrections") or (), where)
    (deployment,) = made
    assert isinstance(deployment, Deployment)
    return deployment


def is_fresh() -> bool:
    """Whether nothing has been entered yet."""
    return not (Reserve.objects.exists() or Deployment.objects.exists() or Intake.objects.exists())
