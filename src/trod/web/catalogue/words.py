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

import json
import math
import uuid as uuids
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Max
from django.utils.text import slugify

from trod.archive import sidecar
from trod.errors import ArchiveUnwritable, TrodError, WrongInput
from trod.web import home
from trod.web.models import Deployment, Event, Mark, Picture, Sighting, Species, Word

MOST_ANIMALS = 999
LONGEST_NOTE = 500
CHUNK = 400  # values in one IN (…); SQLite allowed 999 variables for long
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


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A dot on one animal. picture : SHA-256. x, y : 0 left/top to 1 right/bottom."""

    picture: str
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of a word: what, species (by slug), how many, sex, age class, and the dots counted."""

    what: str
    species: str | None = None
    count: int = 1
    sex: str = "unknown"
    age_class: str = "unknown"
    dots: tuple[Dot, ...] = ()

    def __post_init__(self) -> None:
        _one_of("what", self.what, Sighting.What.values)
        _one_of("sex", self.sex, Sighting.Sex.values)
        _one_of("age_class", self.age_class, Sighting.AgeClass.values)
        if self.species is not None and self.what != "animal":
            raise WrongInput("species", got=self.species, needed=f"no species beside {self.what!r}")
        if (
            isinstance(self.count, bool)
            or not isinstance(self.count, int)
            or not 1 <= self.count <= MOST_ANIMALS
        ):
            raise WrongInput("count", got=self.count, needed=f"a whole number from 1 to {MOST_ANIMALS}")
        for dot in self.dots:
            for axis in (dot.x, dot.y):
                if not (isinstance(axis, (int, float)) and math.isfinite(axis) and 0 <= axis <= 1):
                    raise WrongInput(
                        "dot", got=axis, needed="a place from 0 to 1 across and down the picture"
                    )


class Anything:
    """Stands for 'do not compare with the word that stands'."""


ANYTHING = Anything()


def _one_of(name: str, got: Any, allowed: Sequence[str]) -> None:
    if got not in allowed:
        raise WrongInput(name, got=got, needed="one of " + ", ".join(allowed))


def line_from(raw: Mapping[str, Any]) -> Line:
    """A Line from JSON. Raises WrongInput for whatever does not fit."""
    try:
        dots = tuple(Dot(picture=_text(d["picture"]), x=d["x"], y=d["y"]) for d in raw.get("dots") or ())
        return Line(
            what=raw["what"],
            species=_text(raw["species"]) if raw.get("species") else None,
            count=raw.get("count", 1),
            sex=raw.get("sex") or "unknown",
            age_class=raw.get("age_class") or "unknown",
            dots=dots,
        )
    except (KeyError, TypeError, AttributeError) as problem:
        raise WrongInput(
            "sighting", got=str(raw)[:120], needed="what, species, count, sex, age_class, dots"
        ) from problem


# Telling
# ---------------------------------------------------------------------------------------------------------


def tell(word: Word) -> str:
    """A word as one written line: “3 × Red deer (1 female, adult; 2 young), 1 × Red fox; note”."""
    return tell_lines(
        [
            (row.what, row.species.name if row.species else None, row.count, row.sex, row.age_class)
            for row in word.sightings.all()
        ],
        word.note,
    )


def tell_lines(rows: Iterable[tuple[str, str | None, int, str, str]], note: str = "") -> str:
    """rows : (what, species' name, count, sex, age_class). The lines of one species are told together."""
    groups: dict[str, list[tuple[str, int, str]]] = {}
    for what, name, count, sex, age in rows:
        label = name or ("animal, kind not told" if what == "animal" else what)
        shown = ", ".join(
            text
            for value, text in ((sex, sex), (age, "young" if age == "juvenile" else age))
            if value != "unknown"
        )
        groups.setdefault(label, []).append((what, count, shown))
    parts = []
    for label, lines in groups.items():
        whole = sum(count for _, count, _ in lines)
        if lines[0][0] in ("blank", "unsure"):
            parts.append(label)
            continue
        classes = [(count, shown) for _, count, shown in lines if shown]
        text = f"{whole} × {label}"
        if len(lines) == 1 and classes:
            text += f" ({classes[0][1]})"
        elif classes:
            text += " (" + "; ".join(f"{count} {shown}" for count, shown in classes) + ")"
        parts.append(text)
    return "; ".join(filter(None, [", ".join(parts), note]))


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


# Saying
# ----------------------------------------------------------------------------------------------------------


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
    by, note = _name(by), _text(note).strip()[:LONGEST_NOTE]
    uuid = _uuid(uuid) if uuid else uuids.uuid4()
    with transaction.atomic():
        event = _locked(event)
        known = Word.objects.filter(uuid=uuid).first()
        if known:
            if known.event_id != event.pk or known.by != by:
                raise WrongInput("uuid", got=str(uuid), needed="a new one: this one names another word")
            return known
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
        Event.objects.filter(pk=event.pk).update(word=word)
    return word


def undo(
    *, by: str, at: datetime, word: str | uuids.UUID | None = None, uuid: str | None = None
) -> Word | None:
    """Take back this person's latest word that is not undone yet, or the one that is named; None when there
    is none.

    Asked again, it goes further back. It asks the catalogue, not the session, so it works after a crash too.
    Asking twice for a named word does no harm. Raises WrongInput when the named word is unknown or another
    person's.
    """
    by = _name(by)
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
        _stand([event.pk])
    return found


def redo(
    *, by: str, at: datetime, word: str | uuids.UUID | None = None, uuid: str | None = None
) -> Word | None:
    """Take back the latest undo, as long as this person has said nothing since; None when there is none."""
    by = _name(by)
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
        _stand([event.pk])
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
        Word.objects.filter(by=_name(by), undone_at__isnull=True)
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
            dots=tuple(
                Dot(picture=m.picture.sha256, x=m.x, y=m.y) for m in row.marks.select_related("picture")
            ),
        )
        for row in word.sightings.select_related("species")
    ]


def _checked(lines: Sequence[Line], marks: Sequence[tuple[int, Dot]]) -> list[Line]:
    if not lines:
        raise WrongInput(
            "sightings", got="none", needed="at least one: an animal, blank, person, vehicle or unsure"
        )
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


def _text(value: Any) -> str:
    """A text that every database takes: PostgreSQL knows no NUL."""
    return str(value).replace("\0", "\ufffd")


def _name(by: str) -> str:
    name = _text(by).strip()[:80]
    if not name:
        raise WrongInput("by", got=by, needed="the name of whoever says it")
    return name


def _uuid(value: str | uuids.UUID) -> uuids.UUID:
    try:
        return value if isinstance(value, uuids.UUID) else uuids.UUID(str(value))
    except ValueError as problem:
        raise WrongInput("uuid", got=value, needed="a UUID (RFC 9562)") from problem


def _mine(mine: Any, word: str | uuids.UUID) -> Word:
    found = mine.filter(uuid=_uuid(word)).first()
    if found is None:
        raise WrongInput(
            "word", got=str(word), needed="one of your own words; another's is answered with a new word"
        )
    return found


def _locked(event: Event) -> Event:
    """The event as it is now, held. (SQLite holds the whole file from the transaction's start.)"""
    rows = Event.objects.select_related("deployment__site", "word")
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
    act = str(_uuid(uuid) if uuid else uuids.uuid4())
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
    folder = home.archive_root() / deployment.site.slug / deployment.slug
    try:
        sidecar.append_words(folder, acts)
    except TimeoutError as problem:
        raise ArchiveUnwritable(
            f"Another process has been writing in {folder} for long. The word is not written yet; try again."
        ) from problem


# Reading back
# ----------------------------------------------------------------------------------------------------


@dataclass(kw_only=True)
class Replayed:
    """What a replay did. Each `told` is a sentence for a person."""

    said: int = 0
    known: int = 0
    undone: int = 0
    told: list[str] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)
    """uuids of words whose pictures are in no event of the catalogue; they stay in the file."""
    species_made: list[str] = field(default_factory=list)


def replay(lines: Iterable[str | bytes | Mapping[str, Any]]) -> Replayed:
    """Bring the database up to these lines of one or more `words.jsonl` files.

    The order of the lines and how often one comes make no difference. A word finds its event by the key,
    else by its first or last picture. An unknown species becomes a placeholder, which is told. A torn or
    foreign line is told and passed over. To be called with whole files: what a word's undo and redo lines
    come to is judged among them.
    """
    done = Replayed()
    says: dict[uuids.UUID, dict[str, Any]] = {}
    turns: dict[uuids.UUID, dict[uuids.UUID, dict[str, Any]]] = {}
    for number, raw in enumerate(lines, 1):
        if isinstance(raw, (str, bytes)) and not raw.strip():
            continue
        try:
            act = _act(raw)
        except (ValueError, KeyError, TypeError, RecursionError) as problem:
            done.told.append(f"Line {number} of a words file cannot be read ({problem}); passed over.")
            continue
        if act["act"] == "say":
            says.setdefault(act["uuid"], act)
        else:
            turns.setdefault(act["word"], {}).setdefault(act["uuid"], act)
    with transaction.atomic():
        touched = _add_said(says, done)
        touched |= _turn(turns, done)
        _stand(touched)
    return done


def _act(raw: str | bytes | Mapping[str, Any]) -> dict[str, Any]:
    act = dict(raw) if isinstance(raw, Mapping) else json.loads(raw)
    if not isinstance(act, dict):
        raise ValueError("not an object")
    act = {**act, "uuid": uuids.UUID(str(act["uuid"])), "at": datetime.fromisoformat(act["at"])}
    if act["at"].tzinfo is None:
        raise ValueError("a time without its zone")
    act["by"] = _name(act["by"])
    act |= {name: _text(act[name]) for name in ("event", "first", "last") if act.get(name)}
    if act["act"] == "say":
        act["lines"] = [(_line_of_file(row), row.get("species") or None) for row in act["sightings"]]
        if not act["lines"]:
            raise ValueError("a word without a sighting")
        return act
    if act["act"] not in ("undo", "redo"):
        raise ValueError(f"an unknown act {act['act']!r}")
    act["word"] = uuids.UUID(str(act["word"]))
    return act


def _line_of_file(row: Mapping[str, Any]) -> Line:
    species = row.get("species") or None
    return line_from({**row, "species": species["slug"] if species else None})


def _chunks(values: Iterable[Any]) -> Iterable[list[Any]]:
    values = list(values)
    return (values[i : i + CHUNK] for i in range(0, len(values), CHUNK))


def _add_said(says: dict[uuids.UUID, dict[str, Any]], done: Replayed) -> set[int]:
    known: set[uuids.UUID] = set()
    for chunk in _chunks(says):
        known |= set(Word.objects.filter(uuid__in=chunk).values_list("uuid", flat=True))
    done.known = len(known)
    new = sorted((a for u, a in says.items() if u not in known), key=lambda a: (a["at"], a["uuid"]))
    species = _species_or_placeholders(new, done)
    by_key: dict[str, int] = {}
    for chunk in _chunks({a.get("event", "") for a in new}):
        by_key |= dict(Event.objects.filter(key__in=chunk).values_list("key", "pk"))
    shas = {sha for a in new for sha in (a.get("first"), a.get("last")) if sha}
    shas |= {dot.picture for a in new for line, _ in a["lines"] for dot in line.dots}
    pictures: dict[str, tuple[int, int | None]] = {}
    for chunk in _chunks(shas):
        rows = Picture.objects.filter(sha256__in=chunk).values_list("sha256", "pk", "event_id")
        pictures |= {sha: (pk, event) for sha, pk, event in rows}

    placed = []
    for act in new:
        event = by_key.get(act.get("event", ""))
        for sha in (act.get("first"), act.get("last")):
            event = event or pictures.get(sha or "", (0, None))[1]
        if event is None:
            done.unplaced.append(str(act["uuid"]))
            done.told.append(
                f"{act['by']}'s word of {act['at']:%Y-%m-%d %H:%M} has no pictures in "
                "the catalogue. It stays in the archive and is taken up when they come."
            )
        else:
            placed.append((act, event))
    words = Word.objects.bulk_create(
        [
            Word(
                uuid=a["uuid"],
                event_id=event,
                by=a["by"],
                at=a["at"],
                note=_text(a.get("note") or "")[:LONGEST_NOTE],
            )
            for a, event in placed
        ],
        batch_size=CHUNK,
    )
    flat = [(word, line) for word, (act, _) in zip(words, placed, strict=True) for line, _ in act["lines"]]
    sightings = Sighting.objects.bulk_create(
        [
            Sighting(
                word=word,
                what=line.what,
                species_id=species[line.species] if line.species else None,
                count=line.count,
                sex=line.sex,
                age_class=line.age_class,
            )
            for word, line in flat
        ],
        batch_size=CHUNK,
    )
    marks, lost = [], 0
    for sighting, (_, line) in zip(sightings, flat, strict=True):
        for dot in line.dots:
            if dot.picture in pictures:
                marks.append(Mark(sighting=sighting, picture_id=pictures[dot.picture][0], x=dot.x, y=dot.y))
            else:
                lost += 1
    Mark.objects.bulk_create(marks, batch_size=CHUNK)
    if lost:
        done.told.append(
            f"{lost} dots lie on pictures that are not in the catalogue; they stay in the archive."
        )
    done.said = len(words)
    return {event for _, event in placed}


def _species_or_placeholders(acts: Iterable[Mapping[str, Any]], done: Replayed) -> dict[str, int]:
    named: dict[str, Mapping[str, Any]] = {}
    for act in acts:
        for line, row in act["lines"]:
            if line.species:
                named.setdefault(line.species, row)
    ids: dict[str, int] = {}
    for chunk in _chunks(named):
        ids |= dict(Species.objects.filter(slug__in=chunk).values_list("slug", "pk"))
    for slug in sorted(set(named) - set(ids)):
        row = named[slug]
        clean = slugify(slug)[:64].strip("-") or "species"
        known = Species.objects.filter(slug=clean).first()
        if known:
            ids[slug] = known.pk
            continue
        name = whole = _text(row.get("name") or slug).strip()[:60] or clean
        number = 1
        while Species.objects.filter(name=name).exists():
            number += 1
            name = f"{whole} ({number})"
        made = Species.objects.create(
            slug=clean,
            name=name,
            scientific_name=_text(row.get("scientific_name") or "")[:120],
            active=False,
            note="Named in words of the archive, not in its list of species.",
        )
        ids[slug] = made.pk
        done.species_made.append(name)
        done.told.append(
            f"“{name}” is named in words but not in the list of species; a placeholder was made."
        )
    return ids


def _turn(turns: dict[uuids.UUID, dict[uuids.UUID, dict[str, Any]]], done: Replayed) -> set[int]:
    touched: set[int] = set()
    for chunk in _chunks(turns):
        for word in Word.objects.filter(uuid__in=chunk):
            last = max(turns[word.uuid].values(), key=lambda a: (a["at"], a["uuid"]))
            undone_at, undone_by = (last["at"], last["by"]) if last["act"] == "undo" else (None, "")
            done.undone += undone_at is not None
            if (word.undone_at, word.undone_by) != (undone_at, undone_by):
                word.undone_at, word.undone_by = undone_at, undone_by
                word.save(update_fields=["undone_at", "undone_by"])
                touched.add(word.event_id)
    return touched


def _stand(events: Iterable[int]) -> None:
    """Let the latest word that is not undone stand for each of these events."""
    for chunk in _chunks(events):
        stands: dict[int, int | None] = dict.fromkeys(chunk)
        rows = Word.objects.filter(event__in=chunk, undone_at__isnull=True).order_by("at", "uuid")
        stands |= dict(rows.values_list("event_id", "pk"))
        changed = []
        for event in Event.objects.filter(pk__in=chunk).only("pk", "word_id"):
            if event.word_id != stands[event.pk]:
                event.word_id = stands[event.pk]
                changed.append(event)
        Event.objects.bulk_update(changed, ["word"], batch_size=CHUNK)
