"""The archive's identifications read back into the database."""

from __future__ import annotations

import json
import uuid as uuids
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.text import slugify

from trod.catalogue.identifications.identification_lines import (
    LONGEST_NOTE,
    Line,
    line_from,
    name_of,
    text,
)
from trod.catalogue.models import Identification, Mark, Observation, Picture, Sequence, Species
from trod.catalogue.models.sums import summing_up
from trod.catalogue.rows import rollups

CHUNK = 400  # values in one IN (…); SQLite allowed 999 variables for long


@dataclass(kw_only=True)
class Replayed:
    """What a replay did. Each `told` is a sentence for a person."""

    said: int = 0
    known: int = 0
    undone: int = 0
    told: list[str] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)
    """uuids of identifications whose pictures are in no sequence of the catalogue; they stay in the file."""
    species_made: list[str] = field(default_factory=list)


def replay(lines: Iterable[str | bytes | Mapping[str, Any]]) -> Replayed:
    """Bring the database up to these lines of one or more `identifications.jsonl` files.

    The order of the lines and how often one comes make no difference. An identification finds its sequence by the key,
    else by its first or last picture. An unknown species becomes a placeholder, which is told. A torn or
    foreign line is told and passed over. To be called with whole files: what an identification's undo and redo lines
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
            done.told.append(f"Line {number} of an identifications file cannot be read ({problem}); passed over.")
            continue
        if act["act"] == "say":
            says.setdefault(act["uuid"], act)
        else:
            turns.setdefault(act["identification"], {}).setdefault(act["uuid"], act)
    with transaction.atomic():
        touched = _add_said(says, done)
        touched |= _turn(turns, done)
        stand(touched)
        rollups.refresh_sequences(touched)
    return done


def _act(raw: str | bytes | Mapping[str, Any]) -> dict[str, Any]:
    act = dict(raw) if isinstance(raw, Mapping) else json.loads(raw)
    if not isinstance(act, dict):
        raise ValueError("not an object")
    act = {**act, "uuid": uuids.UUID(str(act["uuid"])), "at": datetime.fromisoformat(act["at"])}
    if act["at"].tzinfo is None:
        raise ValueError("a time without its zone")
    act["by"] = name_of(act["by"])
    act |= {name: text(act[name]) for name in ("sequence", "first", "last") if act.get(name)}
    if act["act"] == "say":
        act["lines"] = [(_line_of_file(row), row.get("species") or None) for row in act["observations"]]
        if not act["lines"]:
            raise ValueError("a word without an observation")
        return act
    if act["act"] not in ("undo", "redo"):
        raise ValueError(f"an unknown act {act['act']!r}")
    act["identification"] = uuids.UUID(str(act["identification"]))
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
        known |= set(Identification.objects.filter(uuid__in=chunk).values_list("uuid", flat=True))
    done.known = len(known)
    new = sorted((a for u, a in says.items() if u not in known), key=lambda a: (a["at"], a["uuid"]))
    species = _species_or_placeholders(new, done)
    by_key: dict[str, int] = {}
    for chunk in _chunks({a.get("sequence", "") for a in new}):
        by_key |= dict(Sequence.objects.filter(key__in=chunk).values_list("key", "pk"))
    shas = {sha for a in new for sha in (a.get("first"), a.get("last")) if sha}
    shas |= {dot.picture for a in new for line, _ in a["lines"] for dot in line.dots}
    pictures: dict[str, tuple[int, int | None]] = {}
    unplaced: set[str] = set()
    for chunk in _chunks(shas):
        rows = Picture.objects.filter(sha256__in=chunk).values_list("sha256", "pk", "sequence_id", "deployment_id")
        for sha, pk, in_sequence, deployment in rows:
            pictures[sha] = (pk, in_sequence)
            unplaced |= {sha} if deployment is None else set()

    placed = []
    for act in new:
        sequence = by_key.get(act.get("sequence", ""))
        for end in (act.get("first"), act.get("last")):
            sequence = sequence or pictures.get(end or "", (0, None))[1]
        if sequence is None:
            done.unplaced.append(str(act["uuid"]))
            if unplaced & {act.get("first"), act.get("last")}:
                continue  # its card was laid aside; the identification waits until somebody places that
            done.told.append(
                f"{act['by']}'s word of {act['at']:%Y-%m-%d %H:%M} has no pictures in "
                "the catalogue. It stays in the archive and is taken up when they come."
            )
        else:
            placed.append((act, sequence))
    words = Identification.objects.bulk_create(
        [
            Identification(
                uuid=a["uuid"],
                sequence_id=sequence,
                by=a["by"],
                at=a["at"],
                note=text(a.get("note") or "")[:LONGEST_NOTE],
                reached=a["reached"] if a.get("reached") in Identification.Reached.values else "",
            )
            for a, sequence in placed
        ],
        batch_size=CHUNK,
    )
    flat = [
        (identification, line)
        for identification, (act, _) in zip(words, placed, strict=True)
        for line, _ in act["lines"]
    ]
    observations = Observation.objects.bulk_create(
        [
            Observation(
                identification=identification,
                what=line.what,
                species_id=species[line.species] if line.species else None,
                count=line.count,
                sex=line.sex,
                life_stage=line.life_stage,
            )
            for identification, line in flat
        ],
        batch_size=CHUNK,
    )
    marks, lost = [], 0
    for observation, (_, line) in zip(observations, flat, strict=True):
        for dot in line.dots:
            if dot.picture in pictures:
                marks.append(Mark(observation=observation, picture_id=pictures[dot.picture][0], x=dot.x, y=dot.y))
            else:
                lost += 1
    Mark.objects.bulk_create(marks, batch_size=CHUNK)
    if lost:
        done.told.append(f"{lost} dots lie on pictures that are not in the catalogue; they stay in the archive.")
    done.said = len(words)
    return {sequence for _, sequence in placed}


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
        name = whole = text(row.get("name") or slug).strip()[:60] or clean
        number = 1
        while Species.objects.filter(name=name).exists():
            number += 1
            name = f"{whole} ({number})"
        made = Species.objects.create(
            slug=clean,
            name=name,
            scientific_name=text(row.get("scientific_name") or "")[:120],
            rank=row["rank"] if row.get("rank") in Species.Rank.values else Species.Rank.SPECIES,
            active=False,
            note="Named in words of the archive, not in its list of species.",
        )
        ids[slug] = made.pk
        done.species_made.append(name)
        done.told.append(f"“{name}” is named in words but not in the list of species; a placeholder was made.")
    return ids


def _turn(turns: dict[uuids.UUID, dict[uuids.UUID, dict[str, Any]]], done: Replayed) -> set[int]:
    touched: set[int] = set()
    for chunk in _chunks(turns):
        for identification in Identification.objects.filter(uuid__in=chunk):
            last = max(turns[identification.uuid].values(), key=lambda a: (a["at"], a["uuid"]))
            undone_at, undone_by = (last["at"], last["by"]) if last["act"] == "undo" else (None, "")
            done.undone += undone_at is not None
            if (identification.undone_at, identification.undone_by) != (undone_at, undone_by):
                identification.undone_at, identification.undone_by = undone_at, undone_by
                identification.save(update_fields=["undone_at", "undone_by"])
                touched.add(identification.sequence_id)
    return touched


def stand(sequences: Iterable[int]) -> None:
    """Let the latest identification that is not undone stand for each of these sequences.

    Their sums are for the caller.
    """
    for chunk in _chunks(sequences):
        stands: dict[int, int | None] = dict.fromkeys(chunk)
        rows = Identification.objects.filter(sequence__in=chunk, undone_at__isnull=True).order_by("at", "uuid")
        stands |= dict(rows.values_list("sequence_id", "pk"))
        changed = []
        for sequence in Sequence.objects.filter(pk__in=chunk).only("pk", "identification_id"):
            if sequence.identification_id != stands[sequence.pk]:
                sequence.identification_id = stands[sequence.pk]
                changed.append(sequence)
        with summing_up():
            Sequence.objects.bulk_update(changed, ["identification"], batch_size=CHUNK)
