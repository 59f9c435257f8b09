"""What the look-through's pages hold: the event as it is shown, the keys, the place where a person left."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db.models import F, QuerySet, Window
from django.db.models.functions import Mod, RowNumber

from trod import sky
from trod.findings.taxa import unknown_kind
from trod.web.catalogue import taxa
from trod.web.catalogue.words import redoable, tell
from trod.web.models import Event, Hunch, Mark, Picture, Reserve, Sighting, Site, Species, Word
from trod.web.pictures.people import HUNCH_SCORE, SHOWS_PEOPLE, WITHHELD, verdict

MOST_FRAMES = 80  # on the strip; of a longer event evenly chosen ones
NEAR_TWILIGHT = timedelta(hours=2)
RECENT_SIGHTINGS = 3000  # from which each site's usual animals are counted

# Keys that mean something else in the look-through, so that no species may have them.
TAKEN = set("0123456789 /?.,;&+-\"'=<>\\")
WHATS = {"blank": (" ",), "person": tuple("phonsxq"), "vehicle": tuple("vceikyz"), "unsure": tuple("uryezx")}


@dataclass(frozen=True, kw_only=True)
class Key:
    """One thing that can be said with one key. what : blank, person, …; or animal with a species' slug."""

    key: str
    what: str
    name: str
    species: str = ""
    also: str = ""
    """Further words by which typing finds it."""
    named: str = ""
    """The name by which it is said while it is on no list yet."""


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One picture of an event. after_s : since the event's first. [s]"""

    sha: str
    clip: bool
    after_s: float
    name: str
    infrared: bool
    wide: int
    high: int


@dataclass(frozen=True, kw_only=True)
class Said:
    """A word as it is shown beside its event."""

    uuid: str
    by: str
    when: str
    text: str
    stands: bool
    undone: str


@dataclass(frozen=True, kw_only=True)
class Card:
    """One event as the page holds it. saw : uuid of the word that stands, '' for none."""

    id: int
    key: str
    site: str
    site_id: int
    sentence: str
    short: str
    saw: str
    person: bool
    withheld: bool
    """Its pictures are not for this caller, so nothing can be said of it."""
    infrared: bool
    frames: list[Frame]
    whole: int
    first: int
    words: list[Said]
    hidden: int
    """Words of others that are not told before this person has said theirs."""
    hunch: str
    standing: Standing | None
    """The word that stands, to begin a correction with; None where none does, or it is not told yet."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A word that stands, with its lines as they would be said again: counts, classes, dots."""

    by: str
    text: str
    note: str
    lines: list[dict[str, Any]]


def cards(events: QuerySet[Event], *, person: str, may: bool, blind: bool = False) -> list[Card]:
    """Events as cards, in a fixed number of queries.

    may : this person holds the right to see people. blind : a second look; others' words are not told.
    """
    rows = list(events.select_related("deployment__site__reserve", "word"))
    ids = [e.pk for e in rows]
    frames = _frames(ids)
    said = _said(ids)
    people = set(
        Sighting.objects.filter(word__in=[e.word_id for e in rows if e.word_id], what__in=SHOWS_PEOPLE)
        .values_list("word_id", flat=True)
    )
    hunches = _hunches(ids)
    dots = _dots([e.word_id for e in rows if e.word_id])
    made = []
    for event in rows:
        pk = event.pk
        guess = hunches.get(pk, [])
        guessed = any(h.what == "person" and h.score >= HUNCH_SCORE for h in guess)
        seen = verdict(
            reviewed=event.word_id is not None, people=event.word_id in people, guessed=guessed, may=may, chosen=False
        )
        words = said.get(pk, [])
        mine_said = any(w.by == person and w.undone_at is None for w in words)
        closed = blind and not mine_said
        shown = [w for w in words if not closed or w.by == person]
        zone = event.deployment.site.reserve.zone_info
        strip = frames.get(pk, [])
        first = next((i for i, (sha, _) in enumerate(strip) if event.cover_id == sha), 0)
        made.append(
            Card(
                id=pk,
                key=event.key,
                site=event.deployment.site.name,
                site_id=event.deployment.site_id,
                sentence=sentence(event, [f for _, f in strip]),
                short=f"{event.deployment.site.name}, {_when(event.start_at, zone)}",
                saw=str(event.word.uuid) if event.word else "",
                person=seen in ("hidden", "people"),
                withheld=seen in WITHHELD,
                infrared=bool(event.infrared),
                frames=[f for _, f in strip],
                whole=event.frames,
                first=first,
                words=[_told(w, event, zone) for w in shown],
                hidden=len(words) - len(shown),
                hunch="" if closed or not guess else _guess(guess),
                standing=None
                if closed or seen in WITHHELD
                else next((_standing(w, dots) for w in words if w.pk == event.word_id), None),
            )
        )
    return made


def _dots(word_ids: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """The dots of each line of these words."""
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    rows = Mark.objects.filter(sighting__word__in=word_ids).order_by("id")
    for line, sha, x, y in rows.values_list("sighting", "picture__sha256", "x", "y"):
        found[line].append({"picture": sha, "x": x, "y": y})
    return found


def _standing(word: Word, dots: Mapping[int, list[dict[str, Any]]]) -> Standing:
    lines = [{**_line(row), "dots": dots.get(row.pk, [])} for row in word.sightings.all()]
    return Standing(by=word.by, text=tell(word), note=word.note, lines=lines)


def _line(row: Sighting) -> dict[str, Any]:
    """A line of a word as the page says it again."""
    return {
        "what": row.what,
        "species": row.species.slug if row.species else "",
        "name": row.species.said_name if row.species else "",
        "count": row.count,
        "sex": row.sex,
        "age_class": row.age_class,
    }


def as_json(card: Card) -> dict[str, Any]:
    return asdict(card)


def _frames(ids: Sequence[int]) -> dict[int, list[tuple[int, Frame]]]:
    turn = Window(RowNumber(), partition_by=F("event"), order_by=(F("taken_at"), F("file_order"), F("id")))
    rows = (
        Picture.objects.filter(event__in=ids)
        .annotate(turn=turn, step=1 + (F("event__frames") - 1) / MOST_FRAMES)
        # Of more frames than the strip holds, every second, third, … one.
        .annotate(left_over=Mod(F("turn") - 1, F("step")))
        .filter(left_over=0)
        .order_by("event", "turn")
        .values_list(
            "event", "pk", "sha256", "kind", "taken_at", "subsecond_ms", "path", "infrared", "width",
            "height", "event__start_at",
        )
    )  # fmt: skip
    frames: dict[int, list[tuple[int, Frame]]] = defaultdict(list)
    for event, pk, sha, kind, at, ms, path, infrared, wide, high, start in rows:
        after = (at - start).total_seconds() + (0 if at.microsecond else ms / 1000) if at else 0.0
        frame = Frame(
            sha=sha,
            clip=kind == Picture.Kind.CLIP,
            after_s=round(after, 1),
            name=path.rsplit("/", 1)[-1],
            infrared=bool(infrared),
            wide=wide or 0,
            high=high or 0,
        )
        frames[event].append((pk, frame))
    return frames


def _said(ids: Sequence[int]) -> dict[int, list[Word]]:
    said: dict[int, list[Word]] = defaultdict(list)
    for word in (
        Word.objects.filter(event__in=ids).prefetch_related("sightings__species").order_by("-at", "-uuid")
    ):
        said[word.event_id].append(word)
    return said


def _hunches(ids: Sequence[int]) -> dict[int, list[Hunch]]:
    found: dict[int, list[Hunch]] = defaultdict(list)
    rows = (
        Hunch.objects.filter(picture__event__in=ids)
        .select_related("species", "picture")
        .order_by("-score")[:500]
    )
    for hunch in rows:
        found[hunch.picture.event_id].append(hunch)
    return found


def _guess(hunches: Sequence[Hunch]) -> str:
    best = hunches[0]
    return f"{best.species.name if best.species else best.what} ({best.score:.0%})"


def _told(word: Word, event: Event, zone: Any) -> Said:
    undone = f"undone by {word.undone_by}, {_when(word.undone_at, zone)}" if word.undone_at else ""
    return Said(
        uuid=str(word.uuid),
        by=word.by,
        when=_when(word.at, zone),
        text=tell(word),
        stands=word.pk == event.word_id,
        undone=undone,
    )


def _when(at: datetime, zone: Any) -> str:
    here = at.astimezone(zone)
    return f"{here.day} {here:%b %Y}, {here:%H:%M}"


def sentence(event: Event, frames: Sequence[Frame]) -> str:
    """An event in words: “Alder Ford, 12 Nov 2025, 06:41, infrared, 3 frames in 8 s; at civil dawn.”"""
    site = event.deployment.site
    reserve = site.reserve
    lasts = (event.end_at - event.start_at).total_seconds()
    clips = sum(f.clip for f in frames)
    if event.frames == 1:
        what = "1 clip" if clips else "1 frame"
    else:
        what = (
            f"{event.frames} {'clips' if clips == len(frames) and clips else 'frames'} in {_lasting(lasts)}"
        )
    parts = [f"{site.name}, {_when(event.start_at, reserve.zone_info)}"]
    if event.infrared:
        parts.append("infrared")
    parts.append(what)
    return ", ".join(parts) + "; " + light_words(event.start_at, reserve) + "."


def _lasting(seconds: float) -> str:
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 6000 else f"{seconds / 3600:.1f} h"


def light_words(at: datetime, reserve: Reserve) -> str:
    """Where the moment stands in the sun's day: “14 min after civil dawn”, “by day”, “at night”."""
    zone = reserve.zone_info
    here = at.astimezone(zone)
    turns: list[tuple[str, datetime]] = []
    for shift in (-1, 0, 1):
        turns += _turns(
            here.date() + timedelta(days=shift), reserve.latitude, reserve.longitude, reserve.zone
        )
    if turns:
        name, moment = min(turns, key=lambda t: abs(at - t[1]))
        gap = at - moment
        if abs(gap) <= NEAR_TWILIGHT:
            minutes = round(abs(gap).total_seconds() / 60)
            return (
                f"{minutes} min {'after' if gap >= timedelta(0) else 'before'} {name}"
                if minutes
                else f"at {name}"
            )
    height, _ = sky.sun_position(
        at.timestamp(), latitude_deg=reserve.latitude, longitude_deg=reserve.longitude
    )
    return {"day": "by day", "night": "at night"}.get(sky.twilight_kind(float(height)), "in twilight")


@lru_cache(maxsize=4096)
def _turns(day: date, latitude_deg: float, longitude_deg: float, zone: str) -> list[tuple[str, datetime]]:
    from trod import watch

    sun = sky.sun_times(day, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone=watch.zone(zone))
    named = {
        "civil dawn": sun.civil_dawn,
        "sunrise": sun.rise,
        "sunset": sun.set,
        "civil dusk": sun.civil_dusk,
    }
    return [(name, at) for name, at in named.items() if at is not None]


# Keys
# ------------------------------------------------------------------------------------------------------------


def keys() -> tuple[list[Key], list[Key]]:
    """What one key says: the animals, and what is no animal. No key is given twice.

    A species keeps the key of its record. One without, or with a key that means something else here, gets the
    first free letter of its name, always the same for the same list of species.
    """
    species = list(Species.objects.filter(active=True, rank=Species.Rank.SPECIES).order_by("name"))
    given: dict[int, str] = {}
    used: set[str] = set()
    for row in species:
        key = (row.key or "").lower()
        if key and key not in TAKEN and key not in used:
            given[row.pk] = key
            used.add(key)
    others = []
    for what, wishes in WHATS.items():
        key = next((k for k in wishes if k not in used), "")
        used.add(key)
        others.append(Key(key=key, what=what, name=what))
    animals = []
    for row in species:
        key = given.get(row.pk) or next((c for c in row.name.lower() if c.isalpha() and c not in used), "")
        if key:
            used.add(key)
        animals.append(
            Key(
                key=key,
                what="animal",
                name=row.name,
                species=row.slug,
                also=f"{row.scientific_name} {row.group}".strip(),
            )
        )
    return animals, others


def kinds() -> list[Key]:
    """What can be said of an animal of which no more is known, by name: 'Deer, kind unknown'. Found by typing."""
    return [
        Key(
            key="",
            what="animal",
            name=unknown_kind(offer.name),
            species=offer.slug,
            named="" if offer.slug else offer.name,
            also=f"{offer.scientific_name} {offer.rank}",
        )
        for offer in taxa.offers()
    ]


def usual() -> dict[int, list[str]]:
    """For each site the species lately seen there, most frequent first; under 0 for all sites together."""
    rows = Sighting.objects.filter(species__isnull=False).order_by("-id")[:RECENT_SIGHTINGS]
    counts: dict[int, Counter[str]] = defaultdict(Counter)
    for slug, site in rows.values_list("species__slug", "word__event__deployment__site"):
        counts[site][slug] += 1
        counts[0][slug] += 1
    return {
        site: [slug for slug, _ in sorted(c.items(), key=lambda p: (-p[1], p[0]))]
        for site, c in counts.items()
    }


# A person's own acts
# ---------------------------------------------------------------------------------------------


def own_words(person: str, *, most: int = 40) -> dict[str, list[dict[str, Any]]]:
    """What this person can undo and redo, next one last, with the event each belongs to."""
    mine = Word.objects.filter(by=person, undone_at__isnull=True).order_by("-at", "-uuid")[:most]
    back = redoable(person)[:most]

    def told(rows: Iterable[Word]) -> list[dict[str, Any]]:
        out = []
        for word in rows:
            lines = [_line(row) for row in word.sightings.all()]
            out.append({"uuid": str(word.uuid), "event": word.event_id, "text": tell(word), "lines": lines})
        return out[::-1]

    return {
        "undo": told(mine.prefetch_related("sightings__species")),
        "redo": told(back.prefetch_related("sightings__species")),
    }


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What the filter's form offers."""

    sites: list[Site]
    species: list[Species]
    deployments: list[tuple[str, str]]


def choices(site: Site | None) -> Choices:
    from trod.web.models import Deployment

    rows = Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")
    if site:
        rows = rows.filter(site=site)
    return Choices(
        sites=list(Site.objects.order_by("name")),
        species=list(Species.objects.order_by("name")),
        deployments=[(d.slug, f"{d.site.name}, {d.camera}, from {d.start:%Y-%m-%d}") for d in rows[:500]],
    )
