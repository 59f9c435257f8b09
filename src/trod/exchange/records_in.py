"""Somebody else's records read: each row held against what it must say, and put together to deployments and sequences.

Rows go through a small SQLite file beside, so that memory holds one deployment at a time, however many there are.

An event's observations make one sequence. Where it has observations of the event as a whole, these are what was seen;
where only single pictures were identified, each kind counts as often as in the picture with most of it. A picture that
no observation covers belongs to a sequence that nobody has looked at yet, as one does that is called unclassified.
"""

from __future__ import annotations

import bisect
import contextlib
import json
import sqlite3
import tempfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import TracebackType
from typing import Any

from trod.exchange import package_tables as tables
from trod.exchange.records_source import FLAT, Source
from trod.exchange.stated import Skipped, StatedDeployment, StatedLine, StatedSequence
from trod.pictures.sequences import BURST_GAP_S

MOST_ANIMALS = 999  # more in one line is taken for a slip
EVERY = 2000  # rows between two tellings of progress
Progress = Callable[[int, int], None]

# Without these right a row says nothing; what is wrong in any other cell leaves that cell out.
HARD = {
    "deployments": ("deploymentID", "latitude", "longitude", "deploymentStart", "deploymentEnd"),
    "media": ("mediaID", "deploymentID", "timestamp"),
    "observations": (
        "observationID", "deploymentID", "eventStart", "eventEnd", "observationLevel", "observationType", "count",
    ),
}  # fmt: skip
_FIELDS = {table: {field.name: field for field in fields} for table, fields in tables.TABLES.items()}

_SCHEMA = """
CREATE TABLE deployments (id TEXT PRIMARY KEY, row INTEGER, start_s REAL, end_s REAL, offset_min INTEGER,
  stated INTEGER, cells TEXT) WITHOUT ROWID;
CREATE TABLE media (id TEXT PRIMARY KEY, row INTEGER, deployment TEXT, at_s REAL, path TEXT,
  lapse INTEGER) WITHOUT ROWID;
CREATE TABLE observations (id TEXT PRIMARY KEY, row INTEGER, deployment TEXT, media TEXT, event TEXT, start_s REAL,
  end_s REAL, level TEXT, what TEXT, latin TEXT, name TEXT, count INTEGER, sex TEXT, stage TEXT, machine INTEGER,
  by TEXT, at_s REAL, note TEXT) WITHOUT ROWID;
CREATE TABLE skipped (file TEXT, row INTEGER, reason TEXT);
CREATE TABLE kinds (latin TEXT, name TEXT, n INTEGER, PRIMARY KEY (latin, name)) WITHOUT ROWID;
"""


class Records:
    """Records as they were read; to be used with `with`, for what it keeps lies in a folder of its own."""

    def __init__(self, source: Source, *, zone: str = "UTC") -> None:
        """zone : of times that are written without one; each deployment keeps the offset of its first."""
        self.source, self.zone = source, zone
        self._folder = tempfile.TemporaryDirectory(prefix="trod-records-")
        self._db = sqlite3.connect(Path(self._folder.name) / "rows.sqlite3", isolation_level=None)
        self._db.execute("PRAGMA synchronous = OFF")
        self._db.execute("PRAGMA journal_mode = OFF")
        self._db.executescript(_SCHEMA)

    def __enter__(self) -> Records:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self._db.close()
        self._folder.cleanup()

    # Read ---------------------------------------------------------------------------------------------------

    def read(self, progress: Progress = lambda done, total: None) -> Records:
        """Read all rows. progress : told bytes done and in all, about. Raises WrongInput."""
        from trod.exchange.records_flat import observations_of

        sizes = {table: self.source.path(table).stat().st_size for table in self.source.files}
        total, done = max(1, sum(sizes.values())), 0
        self._db.execute("BEGIN")
        for table in (FLAT,) if self.source.flat else tables.NAMES:
            if table not in self.source.files:
                continue
            rows = observations_of(self) if self.source.flat else self.source.rows(table)
            take = self._observation if table == FLAT else getattr(self, f"_{table.removesuffix('s')}")
            for number, cells in rows:
                take(number, {name: tables.told(cell) for name, cell in cells.items()})
                if number % EVERY == 0:
                    progress(min(total, done + number * 100), total)
            done += sizes[table]
            progress(done, total)
        self._strangers()
        self._db.execute("COMMIT")
        for index in ("media (deployment, at_s)", "observations (deployment, start_s)"):
            self._db.execute(f"CREATE INDEX {index.split()[0]}_of ON {index}")
        return self

    def skip(self, table: str, row: int, reason: str) -> None:
        """Leave a row out, and say why."""
        self._db.execute("INSERT INTO skipped VALUES (?, ?, ?)", (self.source.files.get(table, table), row, reason))

    def _wrong(self, table: str, row: int, cells: dict[str, str]) -> bool:
        """Whether a row is left out; a cell of less weight that is wrong is emptied."""
        for name, field in _FIELDS[table].items():
            text = cells.get(name, "")
            if text and "\0" in text:
                text = cells[name] = text.replace("\0", "")
            if not (text or field.required):
                continue
            why = tables.trouble(field, text)
            if why and name in HARD[table]:
                self.skip(table, row, f"{name} {why}.")
                return True
            if why:
                cells[name] = ""
        return False

    def _insert(self, table: str, row: int, values: tuple[Any, ...], what: str) -> bool:
        marks = ", ".join("?" * len(values))
        try:
            self._db.execute(f"INSERT INTO {table} VALUES ({marks})", values)
        except sqlite3.IntegrityError:
            self.skip(table, row, f"{what} “{str(values[0])[:60]}” stands in a row before it too.")
            return False
        return True

    def _deployment(self, row: int, cells: dict[str, str]) -> None:
        if self._wrong("deployments", row, cells):
            return
        start, end = tables.moment(cells["deploymentStart"]), tables.moment(cells["deploymentEnd"])
        if end <= start:
            self.skip("deployments", row, "it ends before it starts.")
            return
        self.put_deployment(cells["deploymentID"], row, start, end, cells, stated=True)

    def put_deployment(
        self, key: str, row: int, start: datetime, end: datetime, cells: Mapping[str, str], *, stated: bool
    ) -> None:
        """Keep a deployment."""
        offset = start.utcoffset() or timedelta(0)
        minutes = round(offset.total_seconds() / 60)
        values = (key, row, start.timestamp(), end.timestamp(), minutes, int(stated), json.dumps(dict(cells)))
        self._insert("deployments", row, values, "deploymentID")

    def _media(self, row: int, cells: dict[str, str]) -> None:
        if self._wrong("media", row, cells):
            return
        at_s = tables.moment(cells["timestamp"]).timestamp()
        lapse = int(cells.get("captureMethod") == "timeLapse")
        values = (cells["mediaID"], row, cells["deploymentID"], at_s, cells.get("filePath", ""), lapse)
        self._insert("media", row, values, "mediaID")

    def _observation(self, row: int, cells: dict[str, str]) -> None:
        table = FLAT if self.source.flat else "observations"
        if self._wrong("observations", row, cells):
            return
        start, end = tables.moment(cells["eventStart"]), tables.moment(cells["eventEnd"])
        what, count = cells["observationType"], int(cells.get("count") or 1)
        if end < start:
            self.skip(table, row, "eventEnd lies before eventStart.")
            return
        if count > MOST_ANIMALS:
            self.skip(table, row, f"count is {count}, more than {MOST_ANIMALS}.")
            return
        said_s = None
        with contextlib.suppress(ValueError):
            said_s = tables.moment(cells.get("classificationTimestamp", "")).timestamp()
        level = cells["observationLevel"]
        event = cells.get("eventID", "")
        if not event and level == "event":
            event = f"{start.timestamp():.0f}-{end.timestamp():.0f}"
        latin, name = cells.get("scientificName", ""), cells.get("name", "")
        if not latin and not name:  # a kind without a scientific name, as Trod itself writes it
            name = next((t.strip()[5:] for t in cells.get("observationTags", "").split("|") if "name:" in t[:6]), "")
        values = (
            cells["observationID"], row, cells["deploymentID"], cells.get("mediaID", ""), event, start.timestamp(),
            end.timestamp(), level, what, latin, name, count, cells.get("sex") or "unknown",
            cells.get("lifeStage") or "unknown", int(cells.get("classificationMethod") == "machine"),
            cells.get("classifiedBy", ""), said_s, cells.get("observationComments", ""),
        )  # fmt: skip
        if self._insert("observations", row, values, "observationID") and what == "animal" and (latin or name):
            self._db.execute(
                "INSERT INTO kinds VALUES (?, ?, 1) ON CONFLICT (latin, name) DO UPDATE SET n = n + 1", (latin, name)
            )

    def _strangers(self) -> None:
        """Leave out rows that name a deployment which is not there, or lie outside of its time."""
        for table, start, end in (("media", "at_s", "at_s"), ("observations", "start_s", "end_s")):
            file = self.source.files.get(FLAT if self.source.flat else table, table)
            no_such = (
                f"SELECT ?, row, 'its deployment “' || deployment || '” is not among the deployments.' FROM {table} "
            )
            no_such += "WHERE deployment NOT IN (SELECT id FROM deployments)"
            outside = (
                f"SELECT ?, t.row, 'its time lies outside its deployment “' || d.id || '”.' FROM {table} AS t "
                f"JOIN deployments AS d ON d.id = t.deployment WHERE t.{start} < d.start_s OR t.{end} > d.end_s"
            )
            for found in (no_such, outside):
                self._db.execute(f"INSERT INTO skipped {found}", (file,))
            self._db.execute(
                f"DELETE FROM {table} WHERE NOT EXISTS (SELECT 1 FROM deployments AS d WHERE d.id = {table}.deployment "
                f"AND {table}.{start} >= d.start_s AND {table}.{end} <= d.end_s)"
            )

    # Told ---------------------------------------------------------------------------------------------------

    def count(self, table: str) -> int:
        """How many rows of a table are kept (skipped: how many are not)."""
        return int(self._db.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0])

    def skipped(self, most: int = -1) -> list[Skipped]:
        """Rows that were left out, in the files' order."""
        rows = self._db.execute("SELECT file, row, reason FROM skipped ORDER BY file, row LIMIT ?", (most,))
        return [Skipped(file=file, row=row, reason=reason) for file, row, reason in rows]

    def kinds(self) -> list[tuple[str, str, int]]:
        """(scientific name, name, rows) of the animals named, the most frequent first."""
        return list(self._db.execute("SELECT latin, name, n FROM kinds ORDER BY n DESC, latin, name"))

    def deployments(self) -> list[StatedDeployment]:
        """The deployments, by their start."""
        return [self._stated(*row) for row in self._db.execute("SELECT * FROM deployments ORDER BY start_s, id")]

    @staticmethod
    def _stated(
        key: str, row: int, start_s: float, end_s: float, offset_min: int, stated: int, text: str
    ) -> StatedDeployment:
        cells: dict[str, str] = json.loads(text)
        offset = timezone(timedelta(minutes=offset_min))

        def number(name: str, low: float, high: float) -> float | None:
            try:
                value = float(cells.get(name) or "nan")
            except ValueError:
                return None
            return value if low <= value <= high else None

        tilt = number("cameraTilt", -90, 90)
        return StatedDeployment(
            key=key,
            row=row,
            start=datetime.fromtimestamp(start_s, offset),
            end=datetime.fromtimestamp(end_s, offset),
            stated=bool(stated),
            place_key=cells.get("locationID", ""),
            place_name=cells.get("locationName", ""),
            latitude_deg=number("latitude", -90, 90),
            longitude_deg=number("longitude", -180, 180),
            uncertainty_m=number("coordinateUncertainty", 1, 1e7),
            camera=cells.get("cameraID", ""),
            camera_model=cells.get("cameraModel", ""),
            height_m=number("cameraHeight", 0, 30),
            tilt_deg=None if tilt is None else 0.0 - tilt,
            heading_deg=number("cameraHeading", 0, 360),
            delay_s=number("cameraDelay", 0, 1e6),
            set_by=cells.get("setupBy", ""),
            feature=cells.get("featureType", ""),
            note=cells.get("deploymentComments", ""),
        )

    # Put together ---------------------------------------------------------------------------------------------

    def sequences(self, deployment: str) -> list[StatedSequence]:
        """The sequences of one deployment, by their start."""
        media = list(
            self._db.execute(
                "SELECT at_s, id, row, path, lapse FROM media WHERE deployment = ? ORDER BY at_s, id", (deployment,)
            )
        )
        times = [one[0] for one in media]
        events, _ = self._events(deployment)
        out, covered = [], [False] * len(media)
        for key, rows in events.items():
            start_s, end_s = min(r[_START] for r in rows), max(r[_END] for r in rows)
            low, high = bisect.bisect_left(times, start_s), bisect.bisect_right(times, end_s)
            for at in range(low, high):
                covered[at] = True
            out.append(self._sequence(deployment, key, rows, start_s, end_s, media[low:high]))
        rest = [one for one, known in zip(media, covered, strict=True) if not known]
        for lapse in (0, 1):
            group: list[Any] = []
            for one in [*(m for m in rest if m[4] == lapse), None]:
                if group and (one is None or one[0] - group[-1][0] > BURST_GAP_S):
                    out.append(_unseen(deployment, group, lapse=bool(lapse)))
                    group = []
                if one is not None:
                    group.append(one)
        return sorted(out, key=lambda s: (s.start, s.key))

    def event_of(self, deployment: str) -> dict[str, str]:
        """{observation: key of the sequence that it belongs to} of one deployment."""
        return self._events(deployment)[1]

    def _events(self, deployment: str) -> tuple[dict[str, list[Any]], dict[str, str]]:
        """Rows of observations by their sequence's key, and which key each has."""
        rows = self._db.execute(
            "SELECT id, row, start_s, end_s, level, what, latin, name, count, sex, stage, machine, by, at_s, note, "
            "event, media FROM observations WHERE deployment = ? ORDER BY start_s, end_s, row",
            (deployment,),
        ).fetchall()
        events: dict[str, list[Any]] = {}
        of_row: dict[str, str] = {}
        whole = sorted((r[_START], r[_END], r[15]) for r in rows if r[4] == "event")
        longest = max((end - start for start, end, _ in whole), default=0.0)
        loose_key, loose_end = "", float("-inf")
        for row in rows:
            key = row[15]
            if not key:
                key = _covering(whole, longest, row[_START])
            if not key:  # of single pictures, and told of no event: by their times
                if row[_START] - loose_end > BURST_GAP_S:
                    loose_key = f"from-{row[_START]:.0f}"
                key, loose_end = loose_key, max(loose_end if key == loose_key else row[_END], row[_END])
            events.setdefault(key, []).append(row)
            of_row[row[0]] = key
        return events, of_row

    def _sequence(
        self, deployment: str, key: str, rows: list[Any], start_s: float, end_s: float, media: list[Any]
    ) -> StatedSequence:
        whole = [r for r in rows if r[4] == "event"]
        told = [r for r in (whole or rows) if r[5] != "unclassified"]
        people = [r for r in told if not r[11]]
        machine = bool(told) and not people
        told = people or told
        lines = _lines(told, of_pictures=not whole)
        last = max(told, key=lambda r: (r[13] or 0.0, r[1]), default=None)
        notes = "; ".join(dict.fromkeys(r[14] for r in told if r[14]))
        return StatedSequence(
            key=key,
            row=min(r[1] for r in rows),
            start=datetime.fromtimestamp(start_s, UTC),
            end=datetime.fromtimestamp(end_s, UTC),
            frames=max(1, len(media)),
            time_lapse=bool(media) and all(one[4] for one in media),
            lines=lines,
            by=next((r[12] for r in sorted(told, key=lambda r: -(r[13] or 0.0)) if r[12]), ""),
            at=datetime.fromtimestamp(last[13], UTC) if last is not None and last[13] is not None else None,
            note=notes,
            machine=machine,
            observations=len(rows),
            files=tuple(one[3] for one in media if one[3]),
            media=tuple(one[1] for one in media),
        )


_START, _END = 2, 3


def _covering(whole: list[tuple[float, float, str]], longest: float, at_s: float) -> str:
    """The event in which an instant lies; '' for none."""
    place = bisect.bisect_right(whole, (at_s, float("inf"), ""))
    while place > 0 and at_s - whole[place - 1][0] <= longest:
        place -= 1
        if whole[place][0] <= at_s <= whole[place][1]:
            return whole[place][2]
    return ""


def _lines(rows: list[Any], *, of_pictures: bool) -> tuple[StatedLine, ...]:
    """What was seen, a line for each kind; blank only where nothing else was."""
    counted: dict[tuple[str, str, str, str, str], dict[str, int]] = {}
    out = []
    for row in rows:
        _, _, _, _, _, what, latin, name, count, sex, stage, *_, media = row
        if of_pictures:
            kind = (what, latin, name, sex, stage)
            in_it = counted.setdefault(kind, {})
            in_it[media] = in_it.get(media, 0) + count
        else:
            out.append(_line(what, latin, name, sex, stage, count))
    out += [_line(*kind, max(by_picture.values())) for kind, by_picture in counted.items()]
    seen = [line for line in out if line.what != "blank"]
    known = [line for line in seen if line.what != "unknown"]
    return tuple(known or seen[:1] or out[:1])


def _line(what: str, latin: str, name: str, sex: str, stage: str, count: int) -> StatedLine:
    if what != "animal":
        return StatedLine(what=what, count=count if what in ("human", "vehicle") else 1)
    return StatedLine(
        what=what, scientific_name=latin, name=name, count=min(count, MOST_ANIMALS), sex=sex, life_stage=stage
    )


def _unseen(deployment: str, group: list[Any], *, lapse: bool) -> StatedSequence:
    return StatedSequence(
        key=f"media-{group[0][1]}",
        row=group[0][2],
        start=datetime.fromtimestamp(group[0][0], UTC),
        end=datetime.fromtimestamp(group[-1][0], UTC),
        frames=len(group),
        time_lapse=lapse,
        files=tuple(one[3] for one in group if one[3]),
        media=tuple(one[1] for one in group),
    )
