"""A card that was put to the wrong place, or to none yet, goes where it belongs, with all that hangs on it.

Its bag moves whole. Its pictures are timed by the clock of the deployment that they now lie with, and parted into
sequences there. A sequence goes with its key picture, and what people said of it goes along; what they said is copied
to the identifications beside the bag, so that the folder tells it alone. Without a deployment there are no sequences:
the identifications wait in `unplaced/identifications.jsonl` until the card is placed. Moved back, everything is as it
was.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.imports import clocks, facts, import_card
from trod.catalogue.line import Line
from trod.catalogue.models import Deployment, Identification, Import, Picture, RecordImport, Sequence
from trod.catalogue.papers import ledger, standing
from trod.errors import WrongInput

CHUNK = 400


@dataclass(frozen=True)
class Cargo:
    """What moves with a card. shared : sequences that hold pictures of another card too; the pictures part."""

    pictures: int
    sequences: int
    identifications: int
    shared: int


def cargo(card_import: Import) -> Cargo:
    """What a move would take along. Looks only."""
    mine = Sequence.objects.filter(pictures__card_import=card_import).distinct()
    return Cargo(
        pictures=card_import.pictures.count(),
        sequences=mine.count(),
        identifications=Identification.objects.filter(sequence__in=mine, undone_at__isnull=True).count(),
        shared=mine.filter(pk__in=Picture.objects.exclude(card_import=card_import).values("sequence")).count(),
    )


def back_to(card_import: Import) -> tuple[bool, Deployment | None]:
    """Whether the last move can be taken back, and to where (None: unplaced)."""
    if not card_import.moves:
        return False, None
    slug = card_import.moves[-1].get("from")
    if slug is None:
        return True, None
    before = Deployment.objects.select_related("site", "camera").filter(slug=slug).first()
    return before is not None, before


def move(
    card_import: Import, deployment: Deployment | None, *, line: Line, now: datetime, by: str = ""
) -> dict[str, Any]:
    """Give an import another deployment, or (None) lay it aside as unplaced.

    Called again after a death it finishes what it began. Raises WrongInput while the import is being made.
    """
    if card_import.state != Import.State.WHOLE:
        raise WrongInput("card_import", got=card_import.get_state_display(), needed="an import that is whole")
    if RecordImport.objects.filter(bag=card_import.name).exists():
        raise WrongInput(
            "card_import", got="imported records", needed="a card; records say themselves where they belong"
        )
    before = card_import.deployment
    if before == deployment:
        return _arrive(card_import, _said_of(card_import, deployment), line)
    standing.require()
    root = home.archive_root()
    settle(card_import)
    where, old = import_card.placement(deployment), card_import.folder
    places = (sidecar.deployment_folder(root, where), root.joinpath(*old.split("/")).parent)
    standing.expect_move(*places)
    said = _said_of(card_import, before)
    with ledger.quiet():
        with transaction.atomic():
            _carry_words(said, deployment)
            _hand_over(card_import, before, deployment)
            fresh = {"taken_at": None, "trigger": Picture.Trigger.UNKNOWN}  # told anew in the new place
            Picture.objects.filter(card_import=card_import).update(deployment=deployment, **fresh)
            card_import.deployment = deployment
            step = {"from": _slug(before), "to": _slug(deployment), "at": ledger.moment(now), "by": by[:80]}
            card_import.moves = [*card_import.moves, step]
            _moved(card_import, f"{where.folder}/{card_import.name}")
            told = clocks.follow(before, line) if before is not None else []
            if told:
                card_import.notes = list(dict.fromkeys([*card_import.notes, *told]))
                card_import.save(update_fields=["notes"])
            if old != card_import.folder and root.joinpath(*old.split("/")).exists():
                sidecar.move_bag(root, old, where, now=now)
            for folder in places:
                if folder.name != ledger.UNPLACED:
                    standing.reread(folder)
        found = _arrive(card_import, said, line)
    if before is not None:  # after the paper that the import went to
        ledger.write_sidecar(before)
    ledger.write_ledger()
    return found


def _arrive(card_import: Import, said: list[dict[str, Any]], line: Line) -> dict[str, Any]:
    """Times, sequences and identifications in the new place."""
    found = import_card.finish(card_import, line=line)
    if said and card_import.deployment is not None:
        identifications.replay(said)
    return found


def _slug(deployment: Deployment | None) -> str | None:
    return deployment.slug if deployment is not None else None


# What people said -------------------------------------------------------------------------------------------


def _words_folder(deployment: Deployment | None) -> Path:
    root = home.archive_root()
    return root / ledger.UNPLACED if deployment is None else root / deployment.site.slug / deployment.slug


def _said_of(card_import: Import, deployment: Deployment | None) -> list[dict[str, Any]]:
    """The lines of a place's identifications that speak of a card's pictures, undone and all, in their order."""
    root = home.archive_root()
    folders = [_words_folder(None)] if deployment is None else sorted(root.glob(f"*/{deployment.slug}"))
    lines = [act for folder in folders for act in sidecar.read_identifications(folder).lines]
    mine = set(card_import.pictures.values_list("sha256", flat=True)) if lines else set()
    says = {
        str(act.get("uuid"))
        for act in lines
        if act.get("act") == "say" and (str(act.get("sequence") or "").rpartition(".")[2] or act.get("first")) in mine
    }
    return [act for act in lines if str(act.get("uuid" if act.get("act") == "say" else "identification")) in says]


def _carry_words(said: list[dict[str, Any]], deployment: Deployment | None) -> None:
    folder = _words_folder(deployment)
    known = {str(act.get("uuid")) for act in sidecar.read_identifications(folder).lines}
    new = [act for act in said if str(act.get("uuid")) not in known]
    sidecar.append_identifications(folder, new)
    if new and deployment is not None:  # nothing is read from those of unplaced bags before they are placed
        standing.add_lines(folder, len(new))


# Sequences -----------------------------------------------------------------------------------------------------


def _hand_over(card_import: Import, before: Deployment | None, deployment: Deployment | None) -> None:
    """Let sequences go with their key picture; pictures of another card stay, and are in no sequence for the moment."""
    if before is None:
        return
    going = _going(card_import, before)
    for chunk in _chunks(going):
        if deployment is None:
            Sequence.objects.filter(pk__in=chunk).delete()
        else:
            Picture.objects.filter(sequence__in=chunk).exclude(card_import=card_import).update(sequence=None)
            Sequence.objects.filter(pk__in=chunk).update(deployment=deployment)
    here = Sequence.objects.filter(deployment=deployment) if deployment is not None else Sequence.objects.none()
    Picture.objects.filter(card_import=card_import).exclude(sequence__in=here).update(sequence=None)


def _going(card_import: Import, before: Deployment) -> list[int]:
    """The sequences of the old place that go along: those whose key picture is of this card.

    Where that is in none of them any more, those of which most pictures are.
    """
    mine: dict[int, set[str]] = {}
    others: dict[int, set[str]] = {}
    sequences = Sequence.objects.filter(deployment=before, pictures__card_import=card_import)
    keys = dict(sequences.values_list("pk", "key").distinct())
    for sequence, sha256 in card_import.pictures.filter(sequence__in=sequences).values_list("sequence_id", "sha256"):
        mine.setdefault(sequence, set()).add(sha256)
    strangers = Picture.objects.filter(sequence__in=sequences).exclude(card_import=card_import)
    for sequence, sha256 in strangers.values_list("sequence_id", "sha256").distinct():
        others.setdefault(sequence, set()).add(sha256)
    going = []
    for pk, key in keys.items():
        sha256 = key.rpartition(".")[2]
        stays = others.get(pk, set())
        if sha256 in mine[pk] or (sha256 not in stays and len(mine[pk]) > len(stays)):
            going.append(pk)
    return going


def _chunks(values: Iterable[int]) -> Iterable[list[int]]:
    values = list(values)
    return (values[start : start + CHUNK] for start in range(0, len(values), CHUNK))


# Where the bag lies -----------------------------------------------------------------------------------------


def _moved(card_import: Import, folder: str) -> None:
    """Let the rows follow a bag to another folder."""
    head = f"{card_import.folder}/"
    for rows in (Picture.objects.filter(card_import=card_import), card_import.kept_files.all()):
        there = rows.filter(path__startswith=head).values_list("pk", "path")
        facts.write_many(rows.model, ("path",), [(f"{folder}/{path.removeprefix(head)}", pk) for pk, path in there])
    card_import.folder = folder
    card_import.save(update_fields=["folder", "deployment", "moves"])


def settle(card_import: Import) -> None:
    """Find a bag again that was moved while the database did not come to know of it."""
    root = home.archive_root()
    if not card_import.new or root.joinpath(*card_import.folder.split("/")).exists():
        return
    for found in (*root.glob(f"*/*/{card_import.name}"), *root.glob(f"{ledger.UNPLACED}/{card_import.name}")):
        with transaction.atomic():
            _moved(card_import, found.relative_to(root).as_posix())
        return
