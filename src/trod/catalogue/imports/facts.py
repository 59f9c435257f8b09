"""What the files say, read into the catalogue: many at a time, and never twice.

Each batch of results is one transaction with the progress; a picture that was looked into is marked so. After
a kill the work goes on with those that are not.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import connection
from django.db.models import Count, Max, Min, QuerySet

from trod import engine
from trod.archive import times
from trod.catalogue import home
from trod.catalogue.imports import eye
from trod.catalogue.line import Line
from trod.catalogue.models import Deployment, Import, Picture
from trod.pictures import metadata_reader
from trod.pictures.metadata_reader import MetadataReader, ReaderSaid
from trod.telling import file_facts
from trod.telling.file_facts import FileFacts

TOGETHER = 256  # pictures a transaction
FEW = 24  # for so few, starting helpers costs more than they bring
MESSAGE = "Reading what the pictures say"
FIELDS = (
    "taken_raw", "subsecond_ms", "time_from", "width", "height", "duration_s", "make", "model", "serial",
    "temperature_c", "battery_v", "header_said", "exposure_s", "iso", "infrared", "brightness", "problem",
)  # fmt: skip
BLANKS: dict[str, Any] = {
    "subsecond_ms": 0, "time_from": "none", "make": "", "model": "", "serial": "", "problem": "",
}  # fmt: skip


def pictures_of(deployment: Deployment) -> QuerySet[Picture]:
    """The pictures that came on a deployment's own cards; those of imported records keep what the records say."""
    return Picture.objects.filter(deployment=deployment, card_import__deployment=deployment)


def write_many(model: Any, fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """UPDATE many rows, each with its own values and its number last. Quicker than bulk_update."""
    known = [model._meta.get_field(name) for name in fields]
    quote = connection.ops.quote_name
    places = ", ".join(f"{quote(f.column)} = %s" for f in known)
    sql = f"UPDATE {quote(model._meta.db_table)} SET {places} WHERE {quote(model._meta.pk.column)} = %s"  # noqa: S608 - our tables
    prepared = [
        [*(f.get_db_prep_save(value, connection) for f, value in zip(known, row, strict=False)), row[-1]] for row in rows
    ]
    if prepared:
        with connection.cursor() as cursor:
            cursor.executemany(sql, prepared)


def read(pictures: QuerySet[Picture], line: Line, *, workers: int | None = None, remake: bool = False) -> int:
    """Look into the pictures of a query that nobody has looked into. Returns how many that were.

    workers : local processes; by default as many as there are processors.
    remake : make thumbnails anew also where there are some.
    Where a general metadata reader is on this machine it is asked for each batch, too, while the helpers go on.
    Raises Stopped; DiskFull when there is no room for thumbnails.
    """
    root = home.archive_root()
    todo = list(
        pictures.filter(looked=False)
        .order_by("card_import_id", "file_order")
        .values_list("pk", "path", "sha256", "kind", "problem")
    )
    if not todo:
        return 0
    tasks = []
    changed: dict[str, dict[str, int]] = {}  # by bag
    for pk, path, sha256, kind, told in todo:
        bag, _, below = path.partition("/data/")
        if bag not in changed:
            changed[bag] = times.read(root.joinpath(*bag.split("/")))
        thumb = home.thumb_path(sha256)
        wanted = remake or not thumb.exists()
        tasks.append(
            eye.Task(
                pk,
                str(root.joinpath(*path.split("/"))),
                sha256,
                kind == Picture.Kind.CLIP,
                str(thumb) if wanted else None,
                told,
                changed[bag].get(f"data/{below}"),
            )
        )
    if workers is None:
        workers = engine.usual_workers()
    if len(tasks) < FEW:
        workers = 1
    done = 0
    results: list[Any] = []
    reader = metadata_reader.find(os.environ)
    line.step(0, len(tasks), MESSAGE)
    for outcome in engine.run(tasks, eye.look, workers=workers, stop=line.stop):
        values = outcome.value
        if values is None:
            error = outcome.error
            if error is not None and error.kind in ("DiskFull",):
                _keep(results, done, len(tasks), line, reader)
                from trod.errors import DiskFull

                raise DiskFull(error.text)
            values = {"problem": f"could not be looked into: {error}"[:200]}
        results.append((outcome.task, values))
        if len(results) >= TOGETHER:
            done += len(results)
            _keep(results, done, len(tasks), line, reader)
            results = []
    done += len(results)
    _keep(results, done, len(tasks), line, reader)
    return done


def remake(line: Line, *, all_of_them: bool = False, workers: int | None = None) -> int:
    """Make thumbnails that are not there, or all of them anew. The catalogue's facts stay as they are."""
    root = home.archive_root()
    tasks = [
        eye.Task(pk, str(root.joinpath(*path.split("/"))), sha256, kind == Picture.Kind.CLIP, str(thumb))
        for pk, path, sha256, kind in Picture.objects.order_by("pk").values_list("pk", "path", "sha256", "kind")
        if not (thumb := home.thumb_path(sha256)).exists() or all_of_them
    ]
    workers = 1 if len(tasks) < FEW else workers or engine.usual_workers()
    for number, _ in enumerate(engine.run(tasks, eye.look, workers=workers, stop=line.stop), 1):
        line.step(number, len(tasks), "Making thumbnails")
    return len(tasks)


def _keep(
    results: list[tuple[eye.Task, dict[str, Any]]], done: int, total: int, line: Line, reader: MetadataReader | None
) -> None:
    if reader is not None and results:
        said = reader.read((Path(task.path) for task, _ in results), stop=line.stop)
        for task, values in results:
            if (found := said.get(Path(task.path))) is not None:
                values.update(_with(values, found, reader.name))
    with line.saving(done, total, MESSAGE):
        write_many(
            Picture,
            (*FIELDS, "looked"),
            [[*(values.get(name, BLANKS.get(name)) for name in FIELDS), True, task.pk] for task, values in results],
        )


def _with(values: Mapping[str, Any], found: ReaderSaid, by: str) -> dict[str, Any]:
    """What the general reader adds to what we read ourselves by the standard's own tags, which comes first."""
    own = values.get("temperature_c")
    return {
        "header_said": {"by": by, "told": dict(found.raw)},
        "serial": values.get("serial") or found.serial,
        "temperature_c": found.temperature_c if own is None else own,
        "battery_v": found.battery_v,
    }


# Whose pictures ---------------------------------------------------------------------------------------------


def same_serial(one: str, other: str) -> bool:
    """Whether two serials mean one camera; blanks, dashes, case and leading zeros do not count."""
    return bool(_bare(one)) and _bare(one) == _bare(other)


def _bare(serial: str) -> str:
    return "".join(c for c in serial.casefold() if c.isalnum()).lstrip("0")


@dataclass(frozen=True)
class Makers:
    """Which camera made the pictures of an import: the serial or make and model most of them bear.

    told : what does not fit, in sentences.
    """

    home: tuple[str, str, str]
    foreign: tuple[int, ...]
    told: tuple[str, ...] = ()


MOST = 0.6  # of the pictures must bear one mark for it to be the camera's own. Ours.


def whose(rows: Iterable[tuple[int, str, str, str]], deployment: Deployment | None) -> Makers:
    """Tell another camera's pictures apart.

    rows : (picture's number, make, model, serial). A picture without any mark is nobody's and not foreign.
    """
    rows = list(rows)
    marked = [row for row in rows if row[1] or row[2] or row[3]]
    counts = Counter((make, model, serial) for _, make, model, serial in marked)
    if not counts:
        return Makers(("", "", ""), ())
    usual, number = counts.most_common(1)[0]
    camera = deployment.camera if deployment else None
    told: list[str] = []
    if camera is not None:
        own = [mark for mark in counts if same_serial(mark[2], camera.serial)]
        if own:
            usual = max(own, key=lambda mark: counts[mark])
        elif stranger := _stranger(counts, camera.serial):
            told.append(stranger)
        elif number < MOST * len(marked):
            return Makers(usual, (), tuple(told))
    foreign = tuple(pk for pk, *mark in marked if not _one_camera(tuple(mark), usual))
    return Makers(usual, foreign, tuple(told))


def _stranger(counts: Counter[tuple[str, str, str]], serial: str) -> str:
    """What is to be said where most pictures bear one serial, and none that of the camera on record."""
    if not counts or any(same_serial(mark[2], serial) for mark in counts):
        return ""
    usual, number = counts.most_common(1)[0]
    return file_facts.another_camera(usual[2], serial) if usual[2] and number >= MOST * counts.total() else ""


def _one_camera(mark: tuple[str, ...], usual: tuple[str, ...]) -> bool:
    if mark[2] and usual[2]:
        return same_serial(mark[2], usual[2])
    return not (mark[0] and usual[0] and mark[:2] != usual[:2])


def tell_foreign(card_import: Import) -> Makers:
    """Mark the pictures of another camera in an import, and count them."""
    rows = list(card_import.pictures.values_list("pk", "make", "model", "serial"))
    makers = whose(rows, card_import.deployment)
    card_import.pictures.filter(foreign=True).exclude(pk__in=makers.foreign[:500]).update(foreign=False)
    for start in range(0, len(makers.foreign), 500):
        card_import.pictures.filter(pk__in=makers.foreign[start : start + 500]).update(foreign=True)
    card_import.foreign = len(makers.foreign)
    return makers


def what_files_say(card_import: Import) -> FileFacts:
    """What the headers of an import's own files tell of the air and the batteries. At most four queries."""
    own = card_import.pictures.filter(foreign=False)
    many = own.aggregate(
        files=Count("pk"),
        with_air=Count("temperature_c"),
        coldest_c=Min("temperature_c"),
        warmest_c=Max("temperature_c"),
        with_voltage=Count("battery_v"),
    )
    readers: list[str] = []
    first_v, last_v = voltage_ends(own) if many["with_voltage"] else (None, None)
    if many["with_air"] or many["with_voltage"]:
        readers = sorted(filter(None, own.order_by().values_list("header_said__by", flat=True).distinct()))
    return FileFacts(**many, first_v=first_v, last_v=last_v, readers=readers)


def voltage_ends(pictures: QuerySet[Picture]) -> tuple[float | None, float | None]:
    """The voltage in the first and in the last of some pictures that tell one."""
    told = pictures.filter(battery_v__isnull=False, taken_at__isnull=False).values_list("battery_v", flat=True)
    return told.order_by("taken_at", "pk").first(), told.order_by("-taken_at", "-pk").first()


def another_camera(card_import: Import) -> str:
    """What is to be said where an import's pictures bear another serial than its deployment's camera; "" else."""
    if card_import.deployment is None:
        return ""
    marks = card_import.pictures.order_by().values_list("make", "model", "serial").annotate(n=Count("pk"))
    counts = Counter({(make, model, serial): n for make, model, serial, n in marks if make or model or serial})
    return _stranger(counts, card_import.deployment.camera.serial)
