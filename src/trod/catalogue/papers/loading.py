"""Plain data to rows: what stands in the papers of the archive back in the catalogue."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import OperationalError, models, transaction

from trod.archive.papers import LEDGER, PRIVATE
from trod.archive.rows import DELETED
from trod.catalogue.models import Deployment, Visit
from trod.catalogue.papers.ledger import BY_MODEL, BY_NAME, IN_LEDGER, KINDS, LATE, Kind


class Loader:
    """Makes rows of plain data; references are looked up by key."""

    def __init__(self) -> None:
        self.count: dict[str, int] = defaultdict(int)
        self.trouble: list[str] = []
        self.not_whole: set[str] = set()  # papers below the archive of which a row was left out
        self.deleted: set[tuple[str, str]] = set()  # (kind, key) on record as deleted
        self._found: dict[tuple[Any, Any], int] = {}
        self._gone: list[str] = []

    def heed(self, paper: dict[str, Any]) -> None:
        """Take note of the deletions that a paper has on record."""
        for entry in paper.get(DELETED) or ():
            if isinstance(entry, dict):
                self.deleted.add((str(entry.get("kind")), str(entry.get("key"))))

    def load(self, name: str, rows: Iterable[dict[str, Any]], where: str) -> list[models.Model]:
        """Rows of one kind; one that does not fit is told in `trouble` and left out."""
        kind = BY_NAME[name]
        made = []
        for plain_data in _those_named_first(kind, rows):
            try:
                with transaction.atomic():
                    made.append(self._row(kind, plain_data))
            except OperationalError:  # the database, not the paper
                raise
            except Exception as problem:  # whatever a damaged or hand-edited file may hold
                key = " ".join(str(plain_data.get(k)) for k in kind.key) if isinstance(plain_data, dict) else "?"
                self.trouble.append(f"{where}: {name} {key} was left out ({_short(problem)}).")
                self.not_whole.add(where)
            else:
                self.count[name] += 1
            for gone in self._gone:
                words = f"a row of {name} refers to {gone}, which is not there; the rest came back"
                self.trouble.append(f"{where}: {words}.")
                self.not_whole.add(where)
            self._gone = []
        return made

    def _row(self, kind: Kind, data: dict[str, Any]) -> models.Model:
        values = {f.attname: self._value(f, data[f.name]) for f in kind.fields if f.name in data}
        columns = [f.attname for f in kind.fields if f.name in kind.key]
        key = {column: values.pop(column) for column in columns}
        row, _ = kind.model._default_manager.update_or_create(defaults=values, **key)
        return row

    def _value(self, f: models.Field[Any, Any], value: Any) -> Any:
        if value is None or not f.is_relation:
            return f.to_python(value) if value is not None else None
        model = f.related_model
        assert model is not None
        if (model, value) not in self._found:
            (key,) = BY_MODEL[model].key
            row = model._default_manager.only("pk").filter(**{key: value}).first()
            if row is None and f.null:  # keep the rest; what was deleted on record is no trouble
                name = BY_MODEL[model].name
                if (name, str(value)) not in self.deleted:
                    self._gone.append(f"{name} {value}")
                return None
            if row is None:
                raise ObjectDoesNotExist
            self._found[model, value] = row.pk
        return self._found[model, value]


def _those_named_first(kind: Kind, rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows in an order in which each comes after those of its own kind that it names; a ring as it came."""
    rows = list(rows)
    own = [f.name for f in kind.fields if f.is_relation and f.related_model is kind.model]
    if not own or not all(isinstance(row, dict) for row in rows):
        return rows
    by_key = {row.get(kind.key[0]): row for row in rows}
    out: dict[int, dict[str, Any]] = {}

    def put(row: dict[str, Any], under: tuple[int, ...] = ()) -> None:
        if id(row) in out or id(row) in under:
            return
        for name in own:
            named = by_key.get(row.get(name)) if isinstance(row.get(name), str) else None
            if named is not None:
                put(named, (*under, id(row)))
        out[id(row)] = row

    for row in rows:
        put(row)
    return list(out.values())


def _short(problem: Exception) -> str:
    if isinstance(problem, ValidationError):
        return "; ".join(problem.messages)
    if isinstance(problem, ObjectDoesNotExist):
        return "it refers to a record that is not there"
    text = str(problem).strip().split("\n")[0]
    return text or type(problem).__name__


def load_ledger(data: dict[str, Any], loader: Loader, where: str = LEDGER) -> None:
    """Rows of all that stands in ledger.json, but for unplaced imports and what `load_late` brings.

    Unplaced imports come with their bags.
    """
    for kind in KINDS:
        if (kind.name in IN_LEDGER and kind.name not in LATE) or kind.model is Visit:
            loader.load(kind.name, data.get(kind.name) or (), where)


def load_late(data: dict[str, Any], loader: Loader, where: str = LEDGER) -> None:
    """Rows of ledger.json that name deployments or visits, once the sidecars are read."""
    for kind in KINDS:
        if kind.name in LATE:
            loader.load(kind.name, data.get(kind.name) or (), where)


def load_private(data: dict[str, Any], loader: Loader, where: str = PRIVATE) -> None:
    """Rows of private.json, once the ledger is read."""
    loader.load("lock_seals", data.get("lock_seals") or (), where)
    loader.load("locks", data.get("locks") or (), where)


def load_sidecar(data: dict[str, Any], loader: Loader, where: str) -> Deployment | None:
    """A deployment with its visits and corrections; its bags and sequences are loaded with the pictures."""
    made = loader.load("deployments", [data.get("deployment") or {}], where)
    if not made:
        return None
    loader.load("visits", data.get("visits") or (), where)
    loader.load("walk_tests", data.get("walk_tests") or (), where)
    loader.load("clock_corrections", data.get("clock_corrections") or (), where)
    loader.load("silences", data.get("silences") or (), where)
    (deployment,) = made
    assert isinstance(deployment, Deployment)
    return deployment
