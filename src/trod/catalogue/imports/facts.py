"""What the files say, read into the catalogue: many at a time, and never twice.

Each batch of results is one transaction with the progress; a picture that was looked into is marked so. After
a kill the work goes on with those that are not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import QuerySet

from trod import engine
from trod.archive import times
from trod.catalogue import home
from trod.catalogue.imports import eye
from trod.catalogue.line import Line
from trod.catalogue.models import Deployment, Import, Picture

TOGETHER = 256  # pictures a transaction
FEW = 24  # for so few, starting helpers costs more than they bring
MESSAGE = "Reading what the pictures say"
FIELDS = (
    "taken_raw", "subsecond_ms", "time_from", "width", "height", "duration_s", "make", "model", "serial",
    "exposure_s", "iso", "infrared", "brightness", "problem",
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
    line.step(0, len(tasks), MESSAGE)
    for outcome in engine.run(tasks, eye.look, workers=workers, stop=line.stop):
        values = outcome.value
        if values is None:
            error = outcome.error
            if error is not None and error.kind in ("DiskFull",):
                _keep(results, done, len(tasks), line)
                from trod.errors import DiskFull

                raise DiskFull(error.text)
            values = {"problem": f"could not be looked into: {error}"[:200]}
        results.append((outcome.task.pk, values))
        if len(results) >= TOGETHER:
            done += len(results)
            _keep(results, done, len(tasks), line)
            results = []
    done += len(results)
    _keep(results, done, len(tasks), line)
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


def _keep(results: list[tuple[int, dict[str, Any]]], done: int, total: int, line: Line) -> None:
    with line.saving(done, total, MESSAGE):
        write_many(
            Picture,
            (*FIELDS, "looked"),
            [[*(values.get(name, BLANKS.get(name)) for name in FIELDS), True, pk] for pk, values in results],
        )


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
        elif usual[2] and number >= MOST * len(marked):
            told.append(
                f"The pictures bear the serial {usual[2]}; the camera of this deployment is entered as "
                f"{camera.serial}. "
                "If it is the same, mend its serial under Cameras; if not, place this import elsewhere."
            )
        elif number < MOST * len(marked):
            return Makers(usual, (), tuple(told))
    foreign = tuple(pk for pk, *mark in marked if not _one_camera(tuple(mark), usual))
    return Makers(usual, foreign, tuple(told))


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
