"""A card that was put to the wrong place, or to none yet, goes where it belongs, with all that hangs on it.

Its bag moves whole. Its pictures are timed by the clock of the deployment that they now lie with, and parted into
events there. An event goes with its key picture, and what people said of it goes along; what they said is copied to
the words beside the bag, so that the folder tells it alone. Without a deployment there are no events: the words wait
in `unplaced/words.jsonl` until the card is placed. Moved back, everything is as it was.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction

from trod.archive import sidecar
from trod.errors import WrongInput
from trod.web import home
from trod.web.catalogue import facts, ledger, standing, take_in, watch, words
from trod.web.catalogue.line import Line
from trod.web.models import Deployment, Event, Intake, Picture, Word

CHUNK = 400


@dataclass(frozen=True)
class Cargo:
    """What moves with a card. shared : events that hold pictures of another card too; the pictures part."""

    pictures: int
    events: int
    words: int
    shared: int


def cargo(intake: Intake) -> Cargo:
    """What a move would take along. Looks only."""
    mine = Event.objects.filter(pictures__intake=intake).distinct()
    return Cargo(
        pictures=intake.pictures.count(),
        events=mine.count(),
        words=Word.objects.filter(event__in=mine, undone_at__isnull=True).count(),
        shared=mine.filter(pk__in=Picture.objects.exclude(intake=intake).values("event")).count(),
    )


def back_to(intake: Intake) -> tuple[bool, Deployment | None]:
    """Whether the last move can be taken back, and to where (None: unplaced)."""
    if not intake.moves:
        return False, None
    slug = intake.moves[-1].get("from")
    if slug is None:
        return True, None
    before = Deployment.objects.select_related("site", "camera").filter(slug=slug).first()
    return before is not None, before


def move(
    intake: Intake, deployment: Deployment | None, *, line: Line, now: datetime, by: str = ""
) -> dict[str, Any]:
    """Give an intake another deployment, or (None) lay it aside as unplaced.

    Called again after a death it finishes what it began. Raises WrongInput while the intake is being made.
    """
    if intake.state != Intake.State.WHOLE:
        raise WrongInput("intake", got=intake.get_state_display(), needed="an intake that is whole")
    before = intake.deployment
    if before == deployment:
        return _arrive(intake, _said_of(intake, deployment), line)
    standing.require()
    root = home.archive_root()
    settle(intake)
    where, old = take_in.placement(deployment), intake.folder
    places = (sidecar.deployment_folder(root, where), root.joinpath(*old.split("/")).parent)
    standing.expect_move(*places)
    said = _said_of(intake, before)
    with ledger.quiet():
        with transaction.atomic():
            _carry_words(said, deployment)
            _hand_over(intake, before, deployment)
            fresh = {"taken_at": None, "trigger": Picture.Trigger.UNKNOWN}  # told anew in the new place
            Picture.objects.filter(intake=intake).update(deployment=deployment, **fresh)
            intake.deployment = deployment
            step = {"from": _slug(before), "to": _slug(deployment), "at": ledger.moment(now), "by": by[:80]}
            intake.moves = [*intake.moves, step]
            _moved(intake, f"{where.folder}/{intake.name}")
            told = watch.follow(before, line) if before is not None else []
            if told:
                intake.notes = list(dict.fromkeys([*intake.notes, *told]))
                intake.save(update_fields=["notes"])
            if old != intake.folder and root.joinpath(*old.split("/")).exists():
                sidecar.move_bag(root, old, where, now=now)
            for folder in places:
                if folder.name != ledger.UNPLACED:
                    standing.reread(folder)
        found = _arrive(intake, said, line)
    if before is not None:  # after the paper that the intake went to
        ledger.write_sidecar(before)
    ledger.write_ledger()
    return found


def _arrive(intake: Intake, said: list[dict[str, Any]], line: Line) -> dict[str, Any]:
    """Times, events and words in the new place."""
    found = take_in.finish(intake, line=line)
    if said and intake.deployment is not None:
        words.replay(said)
    return found


def _slug(deployment: Deployment | None) -> str | None:
    return deployment.slug if deployment is not None else None


# What people said -------------------------------------------------------------------------------------------


def _words_folder(deployment: Deployment | None) -> Path:
    root = home.archive_root()
    return root / ledger.UNPLACED if deployment is None else root / deployment.site.slug / deployment.slug


def _said_of(intake: Intake, deployment: Deployment | None) -> list[dict[str, Any]]:
    """The lines of a place's words that speak of a card's pictures, undone and all, in their order."""
    root = home.archive_root()
    folders = [_words_folder(None)] if deployment is None else sorted(root.glob(f"*/{deployment.slug}"))
    lines = [act for folder in folders for act in sidecar.read_words(folder).lines]
    mine = set(intake.pictures.values_list("sha256", flat=True)) if lines else set()
    says = {
        str(act.get("uuid"))
        for act in lines
        if act.get("act") == "say" and (str(act.get("event") or "").rpartition(".")[2] or act.get("first")) in mine
    }
    return [act for act in lines if str(act.get("uuid" if act.get("act") == "say" else "word")) in says]


def _carry_words(said: list[dict[str, Any]], deployment: Deployment | None) -> None:
    folder = _words_folder(deployment)
    known = {str(act.get("uuid")) for act in sidecar.read_words(folder).lines}
    new = [act for act in said if str(act.get("uuid")) not in known]
    sidecar.append_words(folder, new)
    if new and deployment is not None:  # nothing is read from those of unplaced bags before they are placed
        standing.add_lines(folder, len(new))


# Events -----------------------------------------------------------------------------------------------------


def _hand_over(intake: Intake, before: Deployment | None, deployment: Deployment | None) -> None:
    """Let events go with their key picture; pictures of another card stay, and are in no event for the moment."""
    if before is None:
        return
    going = _going(intake, before)
    for chunk in _chunks(going):
        if deployment is None:
            Event.objects.filter(pk__in=chunk).delete()
        else:
            Picture.objects.filter(event__in=chunk).exclude(intake=intake).update(event=None)
            Event.objects.filter(pk__in=chunk).update(deployment=deployment)
    here = Event.objects.filter(deployment=deployment) if deployment is not None else Event.objects.none()
    Picture.objects.filter(intake=intake).exclude(event__in=here).update(event=None)


def _going(intake: Intake, before: Deployment) -> list[int]:
    """The events of the old place that go along: those whose key picture is of this card; where that is in none of
    them any more, those of which most pictures are."""
    mine: dict[int, set[str]] = {}
    others: dict[int, set[str]] = {}
    events = Event.objects.filter(deployment=before, pictures__intake=intake)
    keys = dict(events.values_list("pk", "key").distinct())
    for event, sha256 in intake.pictures.filter(event__in=events).values_list("event_id", "sha256"):
        mine.setdefault(event, set()).add(sha256)
    strangers = Picture.objects.filter(event__in=events).exclude(intake=intake)
    for event, sha256 in strangers.values_list("event_id", "sha256").distinct():
        others.setdefault(event, set()).add(sha256)
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


def _moved(intake: Intake, folder: str) -> None:
    """Let the rows follow a bag to another folder."""
    head = f"{intake.folder}/"
    for rows in (Picture.objects.filter(intake=intake), intake.kept_files.all()):
        there = rows.filter(path__startswith=head).values_list("pk", "path")
        facts.write_many(
            rows.model, ("path",), [(f"{folder}/{path.removeprefix(head)}", pk) for pk, path in there]
        )
    intake.folder = folder
    intake.save(update_fields=["folder", "deployment", "moves"])


def settle(intake: Intake) -> None:
    """Find a bag again that was moved while the database did not come to know of it."""
    root = home.archive_root()
    if not intake.new or root.joinpath(*intake.folder.split("/")).exists():
        return
    for found in (*root.glob(f"*/*/{intake.name}"), *root.glob(f"{ledger.UNPLACED}/{intake.name}")):
        with transaction.atomic():
            _moved(intake, found.relative_to(root).as_posix())
        return
