"""What the review's pages hold: the sequence as it is shown, the keys, the place where a person left."""

from __future__ import annotations

from collections import Counter, abc, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db.models import F, QuerySet, Window
from django.db.models.functions import Mod, RowNumber

from trod import sky, wording
from trod.catalogue.identifications.identification_lines import ALONE, MOST_ANIMALS, TOLD, UNSET
from trod.catalogue.identifications.identifications import redoable, tell
from trod.catalogue.models import (
    Identification,
    Mark,
    Observation,
    Picture,
    Reserve,
    Sequence,
    Site,
    Species,
    Suggestion,
)
from trod.catalogue.rows import taxa
from trod.findings.taxa import unknown_kind
from trod.telling import measures
from trod.units import system_of
from trod.web.shared.seeing import SHOWS_PEOPLE, SUGGESTION_SCORE, WITHHELD, verdict

MOST_FRAMES = 80  # on the strip; of a longer sequence evenly chosen ones
NEAR_TWILIGHT = timedelta(hours=2)
RECENT_OBSERVATIONS = 3000  # from which each site's usual animals are counted

# What a key does that says nothing of an animal; the page's script has them from here. A quote needs no Shift on some
# keyboards, the plus sign on others.
SIGNS = {
    '"': "again", "'": "again", "&": "several", ";": "note", ">": "play", ",": "brighter", "?": "help", "/": "find",
    ".": "dot",
}  # fmt: skip
# With Shift: a letter that says a sex or a life stage.
CLASS_KEYS: dict[str, dict[str, Observation.Sex | Observation.LifeStage]] = {
    "sex": {"f": Observation.Sex.FEMALE, "m": Observation.Sex.MALE, "u": Observation.Sex.UNKNOWN},
    "life_stage": {
        "a": Observation.LifeStage.ADULT, "s": Observation.LifeStage.SUBADULT, "j": Observation.LifeStage.JUVENILE,
        "n": Observation.LifeStage.UNKNOWN,
    },
}  # fmt: skip
# Keys that mean something else in the review, so that no species may have them.
TAKEN = {*SIGNS, *"0123456789 +-=<\\"}
WHATS = {"blank": (" ",), "human": tuple("phonsxq"), "vehicle": tuple("vceikyz"), "unknown": tuple("uryezx")}


@dataclass(frozen=True, kw_only=True)
class Key:
    """One thing that can be said with one key. what : blank, person, …; or animal with a species' slug."""

    key: str
    what: str
    name: str
    species: str = ""
    also: str = ""
    """Further identifications by which typing finds it."""
    named: str = ""
    """The name by which it is said while it is on no list yet."""
    kind: str = ""
    """The bare name of a kind of which no more is known: 'Deer'."""


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One picture of a sequence. after_s : since the sequence's first. [s] air_c : by the camera's thermometer."""

    sha: str
    clip: bool
    after_s: float
    name: str
    infrared: bool
    air_c: float | None
    wide: int
    high: int


@dataclass(frozen=True, kw_only=True)
class Said:
    """An identification as it is shown beside its sequence."""

    uuid: str
    by: str
    when: str
    text: str
    stands: bool
    undone: str


@dataclass(frozen=True, kw_only=True)
class Card:
    """One sequence as the page holds it. saw : uuid of the identification that stands, '' for none."""

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
    """Identifications of others that are not told before this person has said theirs."""
    suggestion: str
    standing: Standing | None
    """The identification that stands, to begin a correction with; None where none does, or it is not told yet."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """An identification that stands, with its lines as they would be said again: counts, classes, dots."""

    by: str
    text: str
    note: str
    lines: list[dict[str, Any]]


def cards(sequences: QuerySet[Sequence], *, person: str, may: bool, blind: bool = False) -> list[Card]:
    """Sequences as cards, in a fixed number of queries.

    may : this person holds the right to see people. blind : a second look; others' identifications are not told.
    """
    rows = list(sequences.select_related("deployment__site__reserve", "identification"))
    ids = [e.pk for e in rows]
    frames = _frames(ids)
    said = _said(ids)
    people = set(
        Observation.objects.filter(
            identification__in=[e.identification_id for e in rows if e.identification_id], what__in=SHOWS_PEOPLE
        ).values_list("identification_id", flat=True)
    )
    suggestions = _suggestions(ids)
    dots = _dots([e.identification_id for e in rows if e.identification_id])
    made = []
    for sequence in rows:
        pk = sequence.pk
        guess = suggestions.get(pk, [])
        guessed = any(h.what == "human" and h.score >= SUGGESTION_SCORE for h in guess)
        seen = verdict(
            reviewed=sequence.identification_id is not None,
            people=sequence.identification_id in people,
            guessed=guessed,
            may=may,
            chosen=False,
        )
        words = said.get(pk, [])
        mine_said = any(w.by == person and w.undone_at is None for w in words)
        closed = blind and not mine_said
        shown = [w for w in words if not closed or w.by == person]
        zone = sequence.deployment.site.reserve.zone_info
        strip = frames.get(pk, [])
        first = next((i for i, (sha, _) in enumerate(strip) if sequence.cover_id == sha), 0)
        made.append(
            Card(
                id=pk,
                key=sequence.key,
                site=sequence.deployment.site.name,
                site_id=sequence.deployment.site_id,
                sentence=sentence(sequence, [f for _, f in strip]),
                short=f"{sequence.deployment.site.name}, {_when(sequence.start_at, zone)}",
                saw=str(sequence.identification.uuid) if sequence.identification else "",
                person=seen in ("hidden", "people"),
                withheld=seen in WITHHELD,
                infrared=bool(sequence.infrared),
                frames=[f for _, f in strip],
                whole=sequence.frames,
                first=first,
                words=[_told(w, sequence, zone) for w in shown],
                hidden=len(words) - len(shown),
                suggestion="" if closed or not guess else _guess(guess),
                standing=None
                if closed or seen in WITHHELD
                else next((_standing(w, dots) for w in words if w.pk == sequence.identification_id), None),
            )
        )
    return made


def _dots(word_ids: abc.Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """The dots of each line of these identifications."""
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    rows = Mark.objects.filter(observation__identification__in=word_ids).order_by("id")
    for line, sha, x, y in rows.values_list("observation", "picture__sha256", "x", "y"):
        found[line].append({"picture": sha, "x": x, "y": y})
    return found


def _standing(identification: Identification, dots: Mapping[int, list[dict[str, Any]]]) -> Standing:
    lines = [{**_line(row), "dots": dots.get(row.pk, [])} for row in identification.observations.all()]
    return Standing(by=identification.by, text=tell(identification), note=identification.note, lines=lines)


def _line(row: Observation) -> dict[str, Any]:
    """A line of an identification as the page says it again."""
    return {
        "what": row.what,
        "species": row.species.slug if row.species else "",
        "name": row.species.said_name if row.species else "",
        "count": row.count,
        "sex": row.sex,
        "life_stage": row.life_stage,
    }


def as_json(card: Card) -> dict[str, Any]:
    return asdict(card)


def _frames(ids: abc.Sequence[int]) -> dict[int, list[tuple[int, Frame]]]:
    turn = Window(RowNumber(), partition_by=F("sequence"), order_by=(F("taken_at"), F("file_order"), F("id")))
    rows = (
        Picture.objects.filter(sequence__in=ids)
        .annotate(turn=turn, step=1 + (F("sequence__frames") - 1) / MOST_FRAMES)
        # Of more frames than the strip holds, every second, third, … one.
        .annotate(left_over=Mod(F("turn") - 1, F("step")))
        .filter(left_over=0)
        .order_by("sequence", "turn")
        .values_list(
            "sequence", "pk", "sha256", "kind", "taken_at", "subsecond_ms", "path", "infrared", "temperature_c",
            "width", "height", "sequence__start_at",
        )
    )  # fmt: skip
    frames: dict[int, list[tuple[int, Frame]]] = defaultdict(list)
    for sequence, pk, sha, kind, at, ms, path, infrared, air_c, wide, high, start in rows:
        after = (at - start).total_seconds() + (0 if at.microsecond else ms / 1000) if at else 0.0
        frame = Frame(
            sha=sha,
            clip=kind == Picture.Kind.CLIP,
            after_s=round(after, 1),
            name=path.rsplit("/", 1)[-1],
            infrared=bool(infrared),
            air_c=air_c,
            wide=wide or 0,
            high=high or 0,
        )
        frames[sequence].append((pk, frame))
    return frames


def _said(ids: abc.Sequence[int]) -> dict[int, list[Identification]]:
    said: dict[int, list[Identification]] = defaultdict(list)
    for identification in (
        Identification.objects.filter(sequence__in=ids)
        .prefetch_related("observations__species")
        .order_by("-at", "-uuid")
    ):
        said[identification.sequence_id].append(identification)
    return said


def _suggestions(ids: abc.Sequence[int]) -> dict[int, list[Suggestion]]:
    found: dict[int, list[Suggestion]] = defaultdict(list)
    rows = (
        Suggestion.objects.filter(picture__sequence__in=ids)
        .select_related("species", "picture")
        .order_by("-score")[:500]
    )
    for suggestion in rows:
        if (sequence := suggestion.picture.sequence_id) is not None:
            found[sequence].append(suggestion)
    return found


def _guess(suggestions: abc.Sequence[Suggestion]) -> str:
    best = suggestions[0]
    return f"{best.species.name if best.species else best.what} ({wording.share(best.score)})"


def _told(identification: Identification, sequence: Sequence, zone: Any) -> Said:
    undone = (
        f"undone by {identification.undone_by}, {_when(identification.undone_at, zone)}"
        if identification.undone_at
        else ""
    )
    return Said(
        uuid=str(identification.uuid),
        by=identification.by,
        when=_when(identification.at, zone),
        text=tell(identification),
        stands=identification.pk == sequence.identification_id,
        undone=undone,
    )


def _when(at: datetime, zone: Any) -> str:
    return wording.moment(at.astimezone(zone))


def sentence(sequence: Sequence, frames: abc.Sequence[Frame]) -> str:
    """A sequence in words: “Alder Ford, 12 Nov 2025 06:41, infrared, 3 frames in 8 s; at civil dawn.”"""
    site = sequence.deployment.site
    reserve = site.reserve
    lasts = (sequence.end_at - sequence.start_at).total_seconds()
    clips = sum(f.clip for f in frames)
    if sequence.frames == 1:
        what = "1 clip" if clips else "1 frame"
    else:
        what = f"{sequence.frames} {'clips' if clips == len(frames) and clips else 'frames'} in {wording.lasting(lasts)}"
    parts = [f"{site.name}, {_when(sequence.start_at, reserve.zone_info)}"]
    if sequence.infrared:
        parts.append("infrared")
    if (air_c := next((f.air_c for f in frames if f.air_c is not None), None)) is not None:
        parts.append(f"{measures.air(air_c, system_of(reserve.units))} by the camera's own thermometer")
    parts.append(what)
    return ", ".join(parts) + "; " + light_words(sequence.start_at, reserve) + "."


def light_words(at: datetime, reserve: Reserve) -> str:
    """Where the moment stands in the sun's day: “14 min after civil dawn”, “by day”, “at night”."""
    zone = reserve.zone_info
    here = at.astimezone(zone)
    turns: list[tuple[str, datetime]] = []
    for shift in (-1, 0, 1):
        turns += _turns(here.date() + timedelta(days=shift), reserve.latitude, reserve.longitude, reserve.zone)
    if turns:
        name, moment = min(turns, key=lambda t: abs(at - t[1]))
        gap = at - moment
        if abs(gap) <= NEAR_TWILIGHT:
            minutes = round(abs(gap).total_seconds() / 60)
            return f"{minutes} min {'after' if gap >= timedelta(0) else 'before'} {name}" if minutes else f"at {name}"
    height, _ = sky.sun_position(at.timestamp(), latitude_deg=reserve.latitude, longitude_deg=reserve.longitude)
    return {"day": "by day", "night": "at night"}.get(sky.twilight_kind(float(height)), "in twilight")


@lru_cache(maxsize=4096)
def _turns(day: date, latitude_deg: float, longitude_deg: float, zone: str) -> list[tuple[str, datetime]]:
    from trod import clock

    sun = sky.sun_times(day, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone=clock.zone(zone))
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
            kind=offer.name,
            also=f"{offer.scientific_name} {offer.rank}",
        )
        for offer in taxa.offers()
    ]


def vocabulary() -> dict[str, Any]:
    """The identifications of an observation that the page's script has to know."""
    what = Observation.What
    return {
        "animal": what.ANIMAL,
        "blank": what.BLANK,
        "alone": ALONE,
        "people": SHOWS_PEOPLE,
        "unset": UNSET,
        "told": TOLD,
        "most": MOST_ANIMALS,
    }


def class_keys() -> dict[str, tuple[str, str]]:
    """Letter → (sex or life_stage, value)."""
    return {key: (kind, value) for kind, keys in CLASS_KEYS.items() for key, value in keys.items()}


def class_buttons(kind: str) -> list[tuple[str, str, str]]:
    """(value, label, letter) of each sex or life stage."""
    return [(value, str(value.label), key.upper()) for key, value in CLASS_KEYS[kind].items()]


def usual() -> dict[int, list[str]]:
    """For each site the species lately seen there, most frequent first; under 0 for all sites together."""
    rows = Observation.objects.filter(species__isnull=False).order_by("-id")[:RECENT_OBSERVATIONS]
    counts: dict[int, Counter[str]] = defaultdict(Counter)
    for slug, site in rows.values_list("species__slug", "identification__sequence__deployment__site"):
        counts[site][slug] += 1
        counts[0][slug] += 1
    return {site: [slug for slug, _ in sorted(c.items(), key=lambda p: (-p[1], p[0]))] for site, c in counts.items()}


# A person's own acts
# ---------------------------------------------------------------------------------------------


def own_words(person: str, *, most: int = 40) -> dict[str, list[dict[str, Any]]]:
    """What this person can undo and redo, next one last, with the sequence each belongs to."""
    mine = Identification.objects.filter(by=person, undone_at__isnull=True).order_by("-at", "-uuid")[:most]
    back = redoable(person)[:most]

    def told(rows: Iterable[Identification]) -> list[dict[str, Any]]:
        out = []
        for identification in rows:
            lines = [_line(row) for row in identification.observations.all()]
            out.append(
                {
                    "uuid": str(identification.uuid),
                    "sequence": identification.sequence_id,
                    "text": tell(identification),
                    "lines": lines,
                }
            )
        return out[::-1]

    return {
        "undo": told(mine.prefetch_related("observations__species")),
        "redo": told(back.prefetch_related("observations__species")),
    }


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What the filter's form offers."""

    sites: list[Site]
    species: list[Species]
    deployments: list[tuple[str, str]]


def choices(site: Site | None) -> Choices:
    from trod.catalogue.models import Deployment

    rows = Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")
    if site:
        rows = rows.filter(site=site)
    return Choices(
        sites=list(Site.objects.order_by("name")),
        species=list(Species.objects.order_by("name")),
        deployments=[(d.slug, f"{d.site.name}, {d.camera}, from {d.start:%Y-%m-%d}") for d in rows[:500]],
    )
