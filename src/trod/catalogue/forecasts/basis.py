"""What forecasts rest on: the rows of a reserve, read once, as one record; their stamp is the digest of that record.

What is stamped and what is reckoned with cannot drift apart, because they are the same tuples: the rows that a
forecast works on are made from the values that were digested, column for column.

Pictures and sequences are not rows of this record. They follow from rows that are: from the cards imported, from the
corrections of camera clocks, from the deployment that a card lies with; `FOLLOWS` says which. Identifications come
by the thousand and each moves a forecast by next to nothing: they count in steps of `WORDS_A_STEP`, and wait for the
next day below that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Max, Model, QuerySet

from trod.catalogue.models import (
    Camera,
    CameraModel,
    Card,
    ClockCorrection,
    Deployment,
    Identification,
    Import,
    Incident,
    Reserve,
    Silence,
    Site,
    Visit,
    WalkTest,
)

WORDS_A_STEP = 200  # so many words of people make a forecast stale; fewer wait for the next day
Row = TypeVar("Row", bound=Model)
# What a forecast reads that is no row of the record, and the rows that it follows from.
FOLLOWS: dict[str, str] = {
    "trod_sequence": "imports, corrections, deployments; which word stands: words",
    "trod_picture": "imports",
    "trod_deploymentsum": "what trod_sequence and trod_observation follow from",
    "trod_daysum": "the same",
    "trod_identification": "words, in steps",
    "trod_observation": "words, in steps",
    "trod_species": "nothing: a forecast asks only whether it was an animal",
}


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table's rows as the database gave them, and what turns them into values."""

    raw: tuple[tuple[Any, ...], ...]
    compiler: Any


@dataclass(frozen=True, kw_only=True)
class Basis:
    """All rows that the forecasts of a reserve rest on.

    tables : by name, each as the database gave it. words : how many steps of identifications. more : what else was
    handed in, such as the day.
    """

    tables: Mapping[str, Table]
    words: int
    more: tuple[Any, ...] = ()

    @property
    def stamp(self) -> str:
        """The same as long as nothing in the record changed."""
        digest = hashlib.sha256(repr((self.words, self.more)).encode())
        for name in sorted(self.tables):
            digest.update(repr((name, self.tables[name].raw)).encode())
        return digest.hexdigest()[:24]

    def rows(self, model: type[Row]) -> list[Row]:
        """The rows of one table, made from the stamped values; a relation that is not in `join` is not loaded."""
        names = [field.attname for field in model._meta.concrete_fields]
        table = self.tables[model._meta.db_table]
        told = table.compiler.results_iter(results=[list(table.raw)])
        return [model.from_db(DEFAULT_DB_ALIAS, names, row) for row in told]

    @property
    def reserve(self) -> Reserve:
        """The reserve itself."""
        (row,) = self.rows(Reserve)
        return row

    def deployments(self) -> list[Deployment]:
        """Every deployment of the reserve with its site, reserve, camera, camera model and card."""
        own = self.reserve
        sites = {row.pk: row for row in self.rows(Site)}
        cameras = {row.pk: row for row in self.rows(Camera)}
        models = {row.pk: row for row in self.rows(CameraModel)}
        cards = {row.pk: row for row in self.rows(Card)}
        for site in sites.values():
            site.reserve = own
        for camera in cameras.values():
            camera.model = models.get(camera.model_id or 0)
        found = self.rows(Deployment)
        for one in found:
            one.site, one.camera, one.card = sites[one.site_id], cameras[one.camera_id], cards.get(one.card_id or 0)
        return found

    def visits(self) -> list[Visit]:
        """Every visit with the card put in, oldest first."""
        cards = {row.pk: row for row in self.rows(Card)}
        found = self.rows(Visit)
        for one in found:
            one.card_in = cards.get(one.card_in_id or 0)
        return sorted(found, key=lambda v: (v.at, v.uuid))


def tables(reserve: Reserve) -> tuple[QuerySet[Any], ...]:
    """The tables of the record, each narrowed to a reserve, in an order that does not depend on when rows came."""
    mine = Deployment.objects.filter(site__reserve=reserve)
    cameras = Camera.objects.filter(deployments__in=mine.order_by().values("pk")).distinct()
    within = {"deployment__site__reserve": reserve}
    return (
        Reserve.objects.filter(pk=reserve.pk),
        Site.objects.filter(reserve=reserve),
        mine,
        cameras,
        CameraModel.objects.all(),
        Card.objects.all(),
        Visit.objects.filter(**within),
        WalkTest.objects.filter(**within),
        Silence.objects.filter(**within),
        Incident.objects.filter(site__reserve=reserve),
        ClockCorrection.objects.filter(**within),
        Import.objects.filter(**within, state=Import.State.WHOLE),
    )


def read(reserve: Reserve, *more: Any) -> Basis:
    """The record as it is now. A fixed number of quick queries."""
    found = {query.model._meta.db_table: _table(query) for query in tables(reserve)}
    last = Identification.objects.aggregate(last=Max("id"))["last"] or 0
    return Basis(tables=found, words=last // WORDS_A_STEP, more=more)


def _table(query: QuerySet[Any]) -> Table:
    """A table's rows without turning each value into Python's own: a stamp asks for no more, and is asked often."""
    names = [field.attname for field in query.model._meta.concrete_fields]
    compiler = query.order_by("pk").values_list(*names).query.get_compiler(DEFAULT_DB_ALIAS)
    chunks = compiler.execute_sql(chunked_fetch=False)
    return Table(raw=tuple(tuple(row) for chunk in chunks or () for row in chunk), compiler=compiler)
