"""What people say of sequences: said, undone, said again, and read back from the archive.

A person's identification goes to the deployment's `identifications.jsonl` first, flushed to the disk, and then to the
database, in one transaction. Whatever dies in between, the file is the truth: `replay` brings the database up to it.
Each line of the file is an *act*, known by its own uuid:

    {"act": "say",  "uuid": …, "by": …, "at": …, "sequence": key, "first": sha, "last": sha, "note": …,
     "reached": "time" | "content", "observations": […]}
    {"act": "undo", "uuid": …, "by": …, "at": …, "sequence": key, "identification": uuid of the identification}
    {"act": "redo", "uuid": …, "by": …, "at": …, "sequence": key, "identification": uuid of the identification}

The identification that stands for a sequence is its latest one that is not undone. Nothing is ever taken out of the
file.
"""

from __future__ import annotations

import uuid as uuids
from collections import abc
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.identifications.identification_lines import (
    LONGEST_NOTE,
    Dot,
    Line,
    line_from,
    name_of,
    tell,
    tell_lines,
    text,
    uuid_of,
)
from trod.catalogue.identifications.replay import Replayed, replay, stand
from trod.catalogue.models import (
    Deployment,
    Identification,
    Mark,
    Observation,
    Picture,
    Sequence,
    Species,
)
from trod.catalogue.models.sums import summing_up
from trod.catalogue.papers import standing
from trod.catalogue.rows import rollups, taxa
from trod.errors import ArchiveUnwritable, TrodError, WrongInput

__all__ = [
    "ANYTHING", "Dot", "Line", "Replayed", "SaidMeanwhile", "Told", "history", "line_from", "lines_of",
    "redo", "redoable", "replay", "say", "tell", "tell_lines", "undo",
]  # fmt: skip

TICK = timedelta(microseconds=1)


class SaidMeanwhile(TrodError):
    """Another person's identification came to stand since the look. identification : theirs. Nothing was written."""

    def __init__(self, identification: Identification) -> None:
        super().__init__(identification)
        self.identification = identification

    def __str__(self) -> str:
        return (
            f"{self.identification.by} said “{tell(self.identification)}” of this sequence just now. Yours is not written yet: "  # noqa: E501
            "let theirs stand, or say yours all the same."
        )


class Anything:
    """Stands for 'do not compare with the identification that stands'."""


ANYTHING = Anything()


@dataclass(frozen=True, kw_only=True)
class Told:
    """One entry of a sequence's story."""

    uuid: str
    by: str
    at: datetime
    text: str
    stands: bool
    undone_at: datetime | None
    undone_by: str


def history(sequence: Sequence) -> list[Told]:
    """Who said what of this sequence and when, newest first, with what was undone."""
    words = list(sequence.identifications.prefetch_related("observations__species").order_by("-at", "-uuid"))
    stands = next((w.pk for w in words if w.undone_at is None), None)
    return [
        Told(
            uuid=str(w.uuid),
            by=w.by,
            at=w.at,
            text=tell(w),
            stands=w.pk == stands,
            undone_at=w.undone_at,
            undone_by=w.undone_by,
        )
        for w in words
    ]


def say(
    sequence: Sequence,
    lines: abc.Sequence[Line],
    *,
    by: str,
    at: datetime,
    marks: abc.Sequence[tuple[int, Dot]] = (),
    note: str = "",
    saw: str | Anything | None = ANYTHING,
    uuid: str | uuids.UUID | None = None,
    reached: str = "",
) -> Identification:
    """Write one person's identification about one sequence: to the archive first, then to the database.

    lines : at least one; a blank stands alone. marks : further dots, each with the number of its line.
    saw : uuid of the identification that stood when the person looked (None: none did). When another person's other
    identification stands by now, SaidMeanwhile is raised and nothing is written. ANYTHING: do not compare.
    reached : how the sequence came up, see `Identification.Reached`; of one that was reviewed before the first counts.
    uuid : of the identification, when the caller may have to ask twice; an identification that is there already is
    given back as it is. Raises WrongInput, SaidMeanwhile, DiskFull, ArchiveUnwritable.
    """
    lines = _checked(lines, marks)
    by, note = name_of(by), text(note).strip()[:LONGEST_NOTE]
    uuid = uuid_of(uuid) if uuid else uuids.uuid4()
    with transaction.atomic():
        sequence = _locked(sequence)
        known = Identification.objects.filter(uuid=uuid).first()
        if known:
            if known.sequence_id != sequence.pk or known.by != by:
                raise WrongInput("uuid", got=str(uuid), needed="a new one: this one names another word")
            return known
        lines = _on_the_list(lines)
        stands = sequence.identification
        compare = not isinstance(saw, Anything)
        if (
            compare
            and stands is not None
            and stands.by != by
            and str(stands.uuid) != str(saw or "")
            and not _same(stands, lines)
        ):
            raise SaidMeanwhile(stands)
        species = _species(lines)
        pictures = _pictures(sequence, lines)
        at = _after_all(sequence, by, at)
        before = sequence.identifications.filter(undone_at__isnull=True).order_by("at", "uuid").first()
        reached = before.reached if before else reached
        _keep(sequence.deployment, [_say_act(sequence, uuid, by, at, note, reached, lines, species)])
        identification = Identification.objects.create(
            uuid=uuid, sequence=sequence, by=by, at=at, note=note, reached=reached
        )
        rows = Observation.objects.bulk_create(
            Observation(
                identification=identification,
                what=line.what,
                species=species.get(line.species or ""),
                count=line.count,
                sex=line.sex,
                life_stage=line.life_stage,
            )
            for line in lines
        )
        Mark.objects.bulk_create(
            Mark(observation=row, picture_id=pictures[dot.picture], x=dot.x, y=dot.y)
            for row, line in zip(rows, lines, strict=True)
            for dot in line.dots
        )
        with summing_up():
            Sequence.objects.filter(pk=sequence.pk).update(identification=identification)
        rollups.refresh_days(sequence.deployment, [sequence.start_at])
    return identification


def undo(
    *, by: str, at: datetime, identification: str | uuids.UUID | None = None, uuid: str | None = None
) -> Identification | None:
    """Take back this person's latest identification that is not undone yet, or the one that is named.

    None when there is none.

    Asked again, it goes further back. It asks the catalogue, not the session, so it works after a crash too. Asking
    twice for a named identification does no harm. Raises WrongInput when the named identification is unknown or another
    person's.
    """
    by = name_of(by)
    with transaction.atomic():
        mine = Identification.objects.filter(by=by)
        if identification is None:
            found = mine.filter(undone_at__isnull=True).order_by("-at", "-uuid").first()
            if found is None:
                return None
        else:
            found = _mine(mine, identification)
        sequence = _locked(found.sequence)
        found.refresh_from_db()
        if found.undone_at is not None:
            return found
        at = _after_all(sequence, by, at)
        _keep(sequence.deployment, [_turn_act("undo", sequence, found, by, at, uuid)])
        found.undone_at, found.undone_by = at, by
        found.save(update_fields=["undone_at", "undone_by"])
        stand([sequence.pk])
        rollups.refresh_days(sequence.deployment, [sequence.start_at])
    return found


def redo(
    *, by: str, at: datetime, identification: str | uuids.UUID | None = None, uuid: str | None = None
) -> Identification | None:
    """Take back the latest undo, as long as this person has said nothing since; None when there is none."""
    by = name_of(by)
    with transaction.atomic():
        mine = Identification.objects.filter(by=by)
        found = _mine(mine, identification) if identification is not None else redoable(by).first()
        if found is None:
            return None
        sequence = _locked(found.sequence)
        found.refresh_from_db()
        if found.undone_at is None:
            return found
        if found.undone_by != by:
            raise WrongInput("identification", got=str(found.uuid), needed="one you undid yourself")
        at = _after_all(sequence, by, at)
        _keep(sequence.deployment, [_turn_act("redo", sequence, found, by, at, uuid)])
        found.undone_at, found.undone_by = None, ""
        found.save(update_fields=["undone_at", "undone_by"])
        stand([sequence.pk])
        rollups.refresh_days(sequence.deployment, [sequence.start_at])
    return found


def redoable(by: str) -> Any:
    """This person's identifications that a redo would bring back, next one first."""
    last = Identification.objects.filter(by=by).aggregate(at=Max("at"))["at"]
    mine = Identification.objects.filter(by=by, undone_by=by, undone_at__isnull=False)
    return (mine.filter(undone_at__gt=last) if last else mine.none()).order_by("-undone_at", "-uuid")


def lines_of(identification: Identification) -> list[Line]:
    """An identification's lines as records, with their dots."""
    return [
        Line(
            what=row.what,
            species=row.species.slug if row.species else None,
            count=row.count,
            sex=row.sex,
            life_stage=row.life_stage,
            dots=tuple(Dot(picture=m.picture.sha256, x=m.x, y=m.y) for m in row.marks.select_related("picture")),
        )
        for row in identification.observations.select_related("species")
    ]


def _checked(lines: abc.Sequence[Line], marks: abc.Sequence[tuple[int, Dot]]) -> list[Line]:
    if not lines:
        raise WrongInput("observations", got="none", needed="at least one: an animal, blank, person, vehicle or unknown")
    out = list(lines)
    for number, dot in marks:
        if not 0 <= number < len(out):
            raise WrongInput("mark", got=number, needed=f"the number of a line, 0 to {len(out) - 1}")
        out[number] = replace(out[number], dots=(*out[number].dots, dot))
    if len(out) > 1 and any(line.what == "blank" for line in out):
        raise WrongInput("observations", got="blank and something else", needed="blank alone, or what is there")
    if len(out) > 60:
        raise WrongInput("observations", got=len(out), needed="at most 60 lines")
    return out


def _mine(mine: Any, identification: str | uuids.UUID) -> Identification:
    found = mine.filter(uuid=uuid_of(identification)).first()
    if found is None:
        raise WrongInput(
            "identification",
            got=str(identification),
            needed="one of your own words; another's is answered with a new word",
        )
    return found


def _locked(sequence: Sequence) -> Sequence:
    """The sequence as it is now, held. (SQLite holds the whole file from the transaction's start.)"""
    rows = Sequence.objects.select_related("deployment__site__reserve", "identification")
    if connection.features.has_select_for_update:
        rows = rows.select_for_update(of=("self",))
    return rows.get(pk=sequence.pk)


def _after_all(sequence: Sequence, by: str, at: datetime) -> datetime:
    """A moment after every act on this sequence and of this person: a clock set back turns no order round."""
    latest = [
        Identification.objects.filter(sequence=sequence).aggregate(a=Max("at"), b=Max("undone_at")),
        Identification.objects.filter(by=by).aggregate(a=Max("at"), b=Max("undone_at")),
    ]
    return max([at, *(value + TICK for row in latest for value in row.values() if value)])


def _same(identification: Identification, lines: abc.Sequence[Line]) -> bool:
    def essence(rows: Iterable[Line]) -> list[tuple[Any, ...]]:
        return sorted((r.what, r.species or "", r.count, r.sex, r.life_stage) for r in rows)

    return essence(lines_of(identification)) == essence(lines)


def _on_the_list(lines: abc.Sequence[Line]) -> list[Line]:
    """The lines with every kind that was only named put on the list of species, where it is not there already."""
    return [
        replace(line, species=taxa.named(line.named).slug, named=None) if line.named is not None else line
        for line in lines
    ]


def _species(lines: abc.Sequence[Line]) -> dict[str, Species]:
    wanted = {line.species for line in lines if line.species}
    found = {s.slug: s for s in Species.objects.filter(slug__in=wanted)}
    for slug in sorted(wanted - set(found)):
        raise WrongInput("species", got=slug, needed="a species of this reserve; add it under Settings first")
    return found


def _pictures(sequence: Sequence, lines: abc.Sequence[Line]) -> dict[str, int]:
    wanted = {dot.picture for line in lines for dot in line.dots}
    found = dict(Picture.objects.filter(sequence=sequence, sha256__in=wanted).values_list("sha256", "pk"))
    for sha in sorted(wanted - set(found)):
        raise WrongInput("dot", got=sha[:12], needed="a picture of this sequence")
    return found


def _ends(sequence: Sequence) -> tuple[str, str]:
    """The first and the last picture's SHA-256.

    By them an identification finds its sequence again after a regrouping.
    """
    rows = Picture.objects.filter(sequence=sequence)
    first = rows.order_by("taken_at", "file_order", "id").values_list("sha256", flat=True).first()
    last = rows.order_by("-taken_at", "-file_order", "-id").values_list("sha256", flat=True).first()
    return first or "", last or ""


def _say_act(
    sequence: Sequence,
    uuid: uuids.UUID,
    by: str,
    at: datetime,
    note: str,
    reached: str,
    lines: abc.Sequence[Line],
    species: Mapping[str, Species],
) -> dict[str, Any]:
    first, last = _ends(sequence)
    observations = []
    for line in lines:
        row: dict[str, Any] = {"what": line.what, "count": line.count}
        if line.species:
            known = species[line.species]
            row["species"] = {
                "slug": known.slug,
                "name": known.name,
                "scientific_name": known.scientific_name,
            }
            if known.rank != Species.Rank.SPECIES:
                row["species"]["rank"] = known.rank
        if line.sex != "unknown":
            row["sex"] = line.sex
        if line.life_stage != "unknown":
            row["life_stage"] = line.life_stage
        if line.dots:
            row["dots"] = [{"picture": d.picture, "x": round(d.x, 5), "y": round(d.y, 5)} for d in line.dots]
        observations.append(row)
    act = {"act": "say", "uuid": str(uuid), "by": by, "at": at.isoformat(), "sequence": sequence.key}
    how = {"reached": reached} if reached else {}
    return {**act, "first": first, "last": last, "note": note, **how, "observations": observations}


def _turn_act(
    kind: str, sequence: Sequence, identification: Identification, by: str, at: datetime, uuid: str | None
) -> dict[str, Any]:
    act = str(uuid_of(uuid) if uuid else uuids.uuid4())
    return {
        "act": kind,
        "uuid": act,
        "by": by,
        "at": at.isoformat(),
        "sequence": sequence.key,
        "identification": str(identification.uuid),
    }


def _keep(deployment: Deployment, acts: abc.Sequence[Mapping[str, Any]]) -> None:
    """To the disk, firmly, before the database hears of it."""
    standing.require()
    folder = home.archive_root() / deployment.site.slug / deployment.slug
    try:
        sidecar.append_identifications(folder, acts)
        standing.add_lines(folder, len(acts))
    except TimeoutError as problem:
        raise ArchiveUnwritable(
            f"Another process has been writing in {folder} for long. The word is not written yet; try again."
        ) from problem
