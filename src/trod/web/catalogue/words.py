"""What people say of events: said, undone, said again, and read back from the archive.

A person's word goes to the deployment's `words.jsonl` first, flushed to the disk, and then to the database,
in one transaction. Whatever dies in between, the file is the truth: `replay` brings the database up to it.
Each line of the file is an *act*, known by its own uuid:

    {"act": "say",  "uuid": …, "by": …, "at": …, "event": key, "first": sha, "last": sha, "note": …,
     "sightings": […]}
    {"act": "undo", "uuid": …, "by": …, "at": …, "event": key, "word": uuid of the word}
    {"act": "redo", "uuid": …, "by": …, "at": …, "event": key, "word": uuid of the word}

The word that stands for an event is its latest one that is not undone. Nothing is ever taken out of the file.
"""

from __future__ import annotations

import uuid as uuids
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from trod.archive import sidecar
from trod.errors import ArchiveUnwritable, TrodError, WrongInput
from trod.web import home
from trod.web.catalogue import rollups, standing, taxa
from trod.web.catalogue.replay import Replayed, replay, stand
from trod.web.catalogue.wordlines import (
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
from trod.web.models import Deployment, Event, Mark, Picture, Sighting, Species, Word
from trod.web.models.sums import summing_up

__all__ = [
    "ANYTHING", "Dot", "Line", "Replayed", "SaidMeanwhile", "Told", "history", "line_from", "lines_of",
    "redo", "redoable", "replay", "same_again", "say", "tell", "tell_lines", "undo",
]  # fmt: skip

TICK = timedelta(microseconds=1)


class SaidMeanwhile(TrodError):
    """Another person's word came to stand since the look. word : theirs. Nothing was written."""

    def __init__(self, word: Word) -> None:
        super().__init__(word)
        self.word = word

    def __str__(self) -> str:
        return (
            f"{self.word.by} said “{tell(self.word)}” of this event just now. Yours is not written yet: "
            "let theirs stand, or say yours all the same."
        )


class Anything:
    """Stands for 'do not compare with the word that stands'."""


ANYTHING = Anything()


@dataclass(frozen=True, kw_only=True)
class Told:
    """One entry of an event's story."""

    uuid: str
    by: str
    at: datetime
    text: str
    stands: bool
    undone_at: datetime | None
    undone_by: str


def history(event: Event) -> list[Told]:
    """Who said what of this event and when, newest first, with what was undone."""
    words = list(event.words.prefetch_related("sightings__species").order_by("-at", "-uuid"))
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
    event: Event,
    lines: Sequence[Line],
    *,
    by: str,
    at: datetime,
    marks: Sequence[tuple[int, Dot]] = (),
    note: str = "",
    saw: str | Anything | None = ANYTHING,
    uuid: str | uuids.UUID | None = None,
) -> Word:
    """Write one person's word about one event: to the archive first, then to the database.

    lines : at least one; a blank stands alone. marks : further dots, each with the number of its line.
    saw : uuid of the word that stood when the person looked (None: none did). When another person's other
    word
        stands by now, SaidMeanwhile is raised and nothing is written. ANYTHING: do not compare.
    uuid : of the word, when the caller may have to ask twice; a word that is there already is given back as
    it is. Raises WrongInput, SaidMeanwhile, DiskFull, ArchiveUnwritable.
    """
    lines = _checked(lines, marks)
    by, note = name_of(by), text(note).strip()[:LONGEST_NOTE]
    uuid = uuid_of(uuid) if uuid else uuids.uuid4()
    with transaction.atomic():
        event = _locked(event)
        known = Word.objects.filter(uuid=uuid).first()
        if known:
            if known.event_id != event.pk or known.by != by:
                raise WrongInput("uuid", got=str(uuid), needed="a new one: this one names another word")
            return known
        lines = _on_the_list(lines)
        stands = event.word
        compare = not isinstance(saw, Anything) and stands is not None and stands.by != by
        if compare and str(stands.uuid) != str(saw or "") and not _same(stands, lines):
            raise SaidMeanwhile(stands)
        species = _species(lines)
        pictures = _pictures(event, lines)
        at = _after_all(event, by, at)
        _keep(event.deployment, [_say_act(event, uuid, by, at, note, lines, species)])
        word = Word.objects.create(uuid=uuid, event=event, by=by, at=at, note=note)
        rows = Sighting.objects.bulk_create(
            Sighting(
                word=word,
                what=line.what,
                species=species.get(line.species or ""),
                count=line.count,
                sex=line.sex,
                age_class=line.age_class,
            )
            for line in lines
        )
        Mark.objects.bulk_create(
            Mark(sighting=row, picture_id=pictures[dot.picture], x=dot.x, y=dot.y)
            for row, line in zip(rows, lines, strict=True)
            for dot in line.dots
        )
        with summing_up():
            Event.objects.filter(pk=event.pk).update(word=word)
        rollups.refresh_days(event.deployment, [event.start_at])
    return word


def undo(*, by: str, at: datetime, word: str | uuids.UUID | None = None, uuid: str | None = None) -> Word | None:
    """Take back this person's latest word that is not undone yet, or the one that is named; None when there
    is none.

    Asked again, it goes further back. It asks the catalogue, not the session, so it works after a crash too.
    Asking twice for a named word does no harm. Raises WrongInput when the named word is unknown or another
    person's.
    """
    by = name_of(by)
    with transaction.atomic():
        mine = Word.objects.filter(by=by)
        if word is None:
            found = mine.filter(undone_at__isnull=True).order_by("-at", "-uuid").first()
            if found is None:
                return None
        else:
            found = _mine(mine, word)
        event = _locked(found.event)
        found.refresh_from_db()
        if found.undone_at is not None:
            return found
        at = _after_all(event, by, at)
        _keep(event.deployment, [_turn_act("undo", event, found, by, at, uuid)])
        found.undone_at, found.undone_by = at, by
        found.save(update_fields=["undone_at", "undone_by"])
        stand([event.pk])
        rollups.refresh_days(event.deployment, [event.start_at])
    return found


def redo(*, by: str, at: datetime, word: str | uuids.UUID | None = None, uuid: str | None = None) -> Word | None:
    """Take back the latest undo, as long as this person has said nothing since; None when there is none."""
    by = name_of(by)
    with transaction.atomic():
        mine = Word.objects.filter(by=by)
        found = _mine(mine, word) if word is not None else redoable(by).first()
        if found is None:
            return None
        event = _locked(found.event)
        found.refresh_from_db()
        if found.undone_at is None:
            return found
        if found.undone_by != by:
            raise WrongInput("word", got=str(found.uuid), needed="one you undid yourself")
        at = _after_all(event, by, at)
        _keep(event.deployment, [_turn_act("redo", event, found, by, at, uuid)])
        found.undone_at, found.undone_by = None, ""
        found.save(update_fields=["undone_at", "undone_by"])
        stand([event.pk])
        rollups.refresh_days(event.deployment, [event.start_at])
    return found


def redoable(by: str) -> Any:
    """This person's words that a redo would bring back, next one first."""
    last = Word.objects.filter(by=by).aggregate(at=Max("at"))["at"]
    mine = Word.objects.filter(by=by, undone_by=by, undone_at__isnull=False)
    return (mine.filter(undone_at__gt=last) if last else mine.none()).order_by("-undone_at", "-uuid")


def same_again(
    event: Event, *, by: str, at: datetime, saw: str | Anything | None = ANYTHING, uuid: str | None = None
) -> Word | None:
    """Say of this event what this person said last, without the dots; None when that is nothing."""
    last = (
        Word.objects.filter(by=name_of(by), undone_at__isnull=True)
        .prefetch_related("sightings__species")
        .order_by("-at", "-uuid")
        .first()
    )
    if last is None:
        return None
    return say(event, [replace(line, dots=()) for line in lines_of(last)], by=by, at=at, saw=saw, uuid=uuid)


def lines_of(word: Word) -> list[Line]:
    """A word's lines as records, with their dots."""
    return [
        Line(
            what=row.what,
            species=row.species.slug if row.species else None,
            count=row.count,
            sex=row.sex,
            age_class=row.age_class,
            dots=tuple(Dot(picture=m.picture.sha256, x=m.x, y=m.y) for m in row.marks.select_related("picture")),
        )
        for row in word.sightings.select_related("species")
    ]


def _checked(lines: Sequence[Line], marks: Sequence[tuple[int, Dot]]) -> list[Line]:
    if not lines:
        raise WrongInput("sightings", got="none", needed="at least one: an animal, blank, person, vehicle or unsure")
    out = list(lines)
    for number, dot in marks:
        if not 0 <= number < len(out):
            raise WrongInput("mark", got=number, needed=f"the number of a line, 0 to {len(out) - 1}")
        out[number] = replace(out[number], dots=(*out[number].dots, dot))
    if len(out) > 1 and any(line.what == "blank" for line in out):
        raise WrongInput("sightings", got="blank and something else", needed="blank alone, or what is there")
    if len(out) > 60:
        raise WrongInput("sightings", got=len(out), needed="at most 60 lines")
    return out


def _mine(mine: Any, word: str | uuids.UUID) -> Word:
    found = mine.filter(uuid=uuid_of(word)).first()
    if found is None:
        raise WrongInput("word", got=str(word), needed="one of your own words; another's is answered with a new word")
    return found


def _locked(event: Event) -> Event:
    """The event as it is now, held. (SQLite holds the whole file from the transaction's start.)"""
    rows = Event.objects.select_related("deployment__site__reserve", "word")
    if connection.features.has_select_for_update:
        rows = rows.select_for_update(of=("self",))
    return rows.get(pk=event.pk)


def _after_all(event: Event, by: str, at: datetime) -> datetime:
    """A moment after every act on this event and of this person: a clock set back turns no order round."""
    latest = [
        Word.objects.filter(event=event).aggregate(a=Max("at"), b=Max("undone_at")),
        Word.objects.filter(by=by).aggregate(a=Max("at"), b=Max("undone_at")),
    ]
    return max([at, *(value + TICK for row in latest for value in row.values() if value)])


def _same(word: Word, lines: Sequence[Line]) -> bool:
    def essence(rows: Iterable[Line]) -> list[tuple[Any, ...]]:
        return sorted((r.what, r.species or "", r.count, r.sex, r.age_class) for r in rows)

    return essence(lines_of(word)) == essence(lines)


def _on_the_list(lines: Sequence[Line]) -> list[Line]:
    """The lines with every kind that was only named put on the list of species, where it is not there already."""
    return [
        replace(line, species=taxa.named(line.named).slug, named=None) if line.named is not None else line
        for line in lines
    ]


def _species(lines: Sequence[Line]) -> dict[str, Species]:
    wanted = {line.species for line in lines if line.species}
    found = {s.slug: s for s in Species.objects.filter(slug__in=wanted)}
    for slug in sorted(wanted - set(found)):
        raise WrongInput("species", got=slug, needed="a species of this reserve; add it under Settings first")
    return found


def _pictures(event: Event, lines: Sequence[Line]) -> dict[str, int]:
    wanted = {dot.picture for line in lines for dot in line.dots}
    found = dict(Picture.objects.filter(event=event, sha256__in=wanted).values_list("sha256", "pk"))
    for sha in sorted(wanted - set(found)):
        raise WrongInput("dot", got=sha[:12], needed="a picture of this event")
    return found


def _ends(event: Event) -> tuple[str, str]:
    """The first and the last picture's SHA-256, by which a word finds its event again after a regrouping."""
    rows = Picture.objects.filter(event=event)
    first = rows.order_by("taken_at", "file_order", "id").values_list("sha256", flat=True).first()
    last = rows.order_by("-taken_at", "-file_order", "-id").values_list("sha256", flat=True).first()
    return first or "", last or ""


def _say_act(
    event: Event,
    uuid: uuids.UUID,
    by: str,
    at: datetime,
    note: str,
    lines: Sequence[Line],
    species: Mapping[str, Species],
) -> dict[str, Any]:
    first, last = _ends(event)
    sightings = []
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
        if line.age_class != "unknown":
            row["age_class"] = line.age_class
        if line.dots:
            row["dots"] = [{"picture": d.picture, "x": round(d.x, 5), "y": round(d.y, 5)} for d in line.dots]
        sightings.append(row)
    act = {"act": "say", "uuid": str(uuid), "by": by, "at": at.isoformat(), "event": event.key}
    return {**act, "first": first, "last": last, "note": note, "sightings": sightings}


def _turn_act(kind: str, event: Event, word: Word, by: str, at: datetime, uuid: str | None) -> dict[str, Any]:
    act = str(uuid_of(uuid) if uuid else uuids.uuid4())
    return {
        "act": kind,
        "uuid": act,
        "by": by,
        "at": at.isoformat(),
        "event": event.key,
        "word": str(word.uuid),
    }


def _keep(deployment: Deployment, acts: Sequence[Mapping[str, Any]]) -> None:
    """To the disk, firmly, before the database hears of it."""
    standing.require()
    folder = home.archive_root() / deployment.site.slug / deployment.slug
    try:
        sidecar.append_words(folder, acts)
        standing.add_lines(folder, len(acts))
    except TimeoutError as problem:
        raise ArchiveUnwritable(
            f"Another process has been writing in {folder} for long. The word is not written yet; try again."
        ) from problem
