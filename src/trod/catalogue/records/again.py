"""Sequences and identifications of imported records, made from their bag: by the import itself and by a rebuild alike.

Nothing of them stands in a sidecar: the bag is their paper, and what the import chose stands in the ledger. Keys of
sequences and uuids of identifications follow from the records, so that what people say of them later finds them again.
"""

from __future__ import annotations

import json
import uuid as uuids
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.db import transaction

from trod.archive.making import UNPLACED
from trod.catalogue import home
from trod.catalogue.imports import facts
from trod.catalogue.line import Line
from trod.catalogue.models import (
    Deployment,
    Identification,
    Import,
    Observation,
    Picture,
    RecordImport,
    Sequence,
    Species,
)
from trod.catalogue.models.sums import summing_up
from trod.catalogue.records.plan import PlannedDeployment, counts, fresh, key_of
from trod.catalogue.rows import rollups
from trod.errors import TrodError
from trod.exchange import records_source
from trod.exchange.records_in import Records
from trod.exchange.stated import StatedSequence

NAMESPACE = uuids.UUID("5d0a1c1e-9f3b-5c52-8a4e-6f8f1f6f2a10")  # of identifications of imported records; ours
NOT_TOLD = "imported records"  # who said so, where the records do not tell
TOGETHER = 500
MESSAGE = "Putting records together"


def uuid_of(key: str) -> uuids.UUID:
    """The uuid of the identification that imported records give of a sequence."""
    return uuids.uuid5(NAMESPACE, key)


def bag_of(row: RecordImport) -> Path:
    """Where the files of an import lie."""
    return home.archive_root() / UNPLACED / row.bag / "data"


def source_of(row: RecordImport) -> records_source.Source:
    """The records of an import, as they lie in its bag. Raises WrongInput."""
    folder = bag_of(row)
    if not row.columns:
        return records_source.look(folder)
    (file,) = sorted(folder.iterdir())
    return records_source.look(file, row.columns)


def read_all(line: Line) -> list[str]:
    """Bring back what the records of all imports give, in a rebuild. Returns what could not be, in sentences."""
    told = []
    for row in RecordImport.objects.filter(undone_at__isnull=True).order_by("at", "id"):
        try:
            with Records(source_of(row), zone=row.zone) as records:
                records.read()
                fill(row, records, line)
        except (TrodError, OSError, ValueError) as problem:
            told.append(f"The imported records “{row}” did not come back ({problem}); run trod verify.")
    return told


def fill(row: RecordImport, records: Records, line: Line) -> dict[str, int]:
    """Make the sequences of an import with what was seen, and sum up. Returns how many of what."""
    species = dict(Species.objects.filter(slug__in=set(row.species.values())).values_list("slug", "pk"))
    kinds = {called: species[slug] for called, slug in row.species.items() if slug in species}
    here = {d.slug: d for d in Deployment.objects.filter(slug__in=set(row.deployments.values()))}
    done = {"sequences": 0, "identified": 0, "observations": 0}
    every = records.deployments()
    pictures = _pictures(row)
    with transaction.atomic(), summing_up():
        for number, stated in enumerate(every):
            line.step(number, len(every), MESSAGE)
            deployment = here.get(row.deployments.get(stated.key, ""))
            if deployment is None:
                continue
            planned = PlannedDeployment(stated=stated, known=deployment)
            new = [one for one, is_here in fresh(records, planned) if not is_here]
            for start in range(0, len(new), TOGETHER):
                _make(row, deployment, stated.key, new[start : start + TOGETHER], kinds, pictures, done)
            rollups.refresh(deployment)
        line.step(len(every), len(every), MESSAGE)
    return done


def _make(
    row: RecordImport,
    deployment: Deployment,
    stated_key: str,
    new: list[StatedSequence],
    kinds: Mapping[str, int],
    pictures: Mapping[str, int],
    done: dict[str, int],
) -> None:
    keys = [key_of(deployment.slug, stated_key, one.key) for one in new]
    rows = Sequence.objects.bulk_create(
        Sequence(
            key=key,
            deployment=deployment,
            start_at=one.start,
            end_at=one.end,
            frames=one.frames,
            time_lapse=one.time_lapse,
            record_import=row,
        )
        for key, one in zip(keys, new, strict=True)
    )
    said = [(s, one) for s, one in zip(rows, new, strict=True) if counts(one, machine=row.machine)]
    words = Identification.objects.bulk_create(
        Identification(
            uuid=uuid_of(s.key),
            sequence=s,
            by=(one.by or NOT_TOLD)[:80],
            at=min(one.at or row.at, row.at),
            note=one.note[:500],
        )
        for s, one in said
    )
    lines = [(word, told) for word, (_, one) in zip(words, said, strict=True) for told in one.lines]
    Observation.objects.bulk_create(
        [
            Observation(
                identification=word,
                what=told.what,
                species_id=kinds.get(told.kind) if told.kind else None,
                count=told.count,
                sex=told.sex,
                life_stage=told.life_stage,
            )
            for word, told in lines
        ],
        batch_size=TOGETHER,
    )
    facts.write_many(Sequence, ("identification",), [(w.pk, s.pk) for w, (s, _) in zip(words, said, strict=True)])
    done["sequences"] += len(rows)
    done["identified"] += len(said)
    done["observations"] += len(lines)
    if pictures:
        _link(deployment, list(zip(rows, new, strict=True)), pictures)


def _pictures(row: RecordImport) -> dict[str, int]:
    """{path as the records name it: number} of the pictures that came with them."""
    card_import = Import.objects.filter(name=row.bag).first()
    if card_import is None:
        return {}
    names = _card_names(row)
    head = f"{card_import.folder}/data/"
    out = {}
    for pk, path in card_import.pictures.values_list("pk", "path"):
        below = path.removeprefix(head)
        out[names.get(f"data/{below}", below)] = pk
    return out


def _card_names(row: RecordImport) -> dict[str, str]:
    """{path below the bag: as the package named it}, where the two differ."""
    place = bag_of(row).parent / "card-names.jsonl"
    if not place.is_file():
        return {}
    found = [json.loads(text) for text in place.read_text("utf-8").splitlines() if text.strip()]
    return {str(one["path"]): str(one["card_path"]) for one in found if "path" in one and "card_path" in one}


def _link(deployment: Deployment, new: list[tuple[Sequence, StatedSequence]], pictures: Mapping[str, int]) -> None:
    """Give pictures to their sequences; they take its time, for the records tell when each was taken to the second."""
    linked: list[tuple[Any, ...]] = []
    covers = []
    taken: set[int] = set()
    for row, one in new:
        mine = [pictures[file] for file in one.files if file in pictures and pictures[file] not in taken]
        taken |= set(mine)
        for at, pk in enumerate(mine):
            linked.append((deployment.pk, row.pk, min(row.start_at + timedelta(milliseconds=at), row.end_at), pk))
        if mine:
            covers.append((mine[len(mine) // 2], row.pk))
    facts.write_many(Picture, ("deployment", "sequence", "taken_at"), linked)
    facts.write_many(Sequence, ("cover",), covers)
