"""What `trod card` does: choose where a source comes from, take it in, stay and watch. Needs Django ready."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import click
from django.db import close_old_connections

from trod.archive import disk
from trod.archive.card import CardListing, Entry, scan
from trod.archive.card_import import source_alone
from trod.archive.content import DAMAGE, look_inside
from trod.archive.names import printable
from trod.catalogue import home
from trod.catalogue.imports import import_card, propose, records
from trod.catalogue.line import Line
from trod.catalogue.models import Card, Deployment, Import
from trod.catalogue.who import machine_person
from trod.errors import NothingFound, SourceBusy, TrodError, WrongInput

SETTLED_S = 2.0  # a file that was changed less long ago may still grow
PATIENCE_S = 120.0  # one that breaks off may still be on its way; after this it is taken as it is


class Unknown(TrodError):
    """It is not certain where the pictures come from, and nobody is there to be asked."""


class CardWork:
    """One source and what is to be done with it."""

    def __init__(
        self,
        path: Path,
        *,
        camera: str | None,
        site: str | None,
        yes: bool,
        read_back: bool,
        accept_changes: bool,
        ask: bool,
        accept_damaged: bool = False,
    ) -> None:
        self.path, self.camera, self.site, self.yes = path, camera, site, yes
        self.read_back, self.accept_changes, self.ask = read_back, accept_changes, ask
        self.accept_damaged = accept_damaged
        self.told: list[str] = []

    def take(self, line: Line, listing: CardListing | None = None) -> dict[str, Any]:
        """Take the source in, going on with what was broken off. Returns the summary with its sentence."""
        with source_alone(home.archive_root(), self.path):
            return self._take(line, listing)

    def _take(self, line: Line, listing: CardListing | None) -> dict[str, Any]:
        self.told = []
        card_import = import_card.broken_off(self.path)
        if card_import is not None and not self._still_meant(card_import):
            card_import = None
        if card_import is not None:
            self.told.append(f"Went on with the import {card_import.name}, which was broken off.")
            if listing is None:
                listing = scan(self.path, inside=False)
        else:
            if listing is None:
                listing = scan(self.path, inside=False)
            if not listing.taken:
                raise NothingFound(
                    f"No picture or clip lies below {self.path}. Give the folder of the card, or the one above DCIM."
                )
            deployment, card = self._choose(listing)
            card_import = import_card.begin(
                import_card.Asked(self.path, deployment, card, machine_person(), self.read_back), now=_now()
            )
        found = import_card.import_card(
            card_import, line=line, now=_now(), listing=listing, accept_changes=self.accept_changes
        )
        if import_card.read_the_rest(line):
            self.told.append("Finished reading pictures of earlier imports that were broken off.")
        card_import.refresh_from_db()
        if self.accept_damaged and card_import.verdict.has_damage:
            import_card.accept_damage(card_import, by=machine_person(), now=_now())
            found = import_card.summary(card_import)
        return found

    def _still_meant(self, card_import: Import) -> bool:
        """Whether a broken-off import is of the camera and site that are named now."""
        deployment = card_import.deployment
        if deployment is None:
            return not (self.camera or self.site)
        return (not self.camera or records.find_camera(self.camera) == deployment.camera) and (
            not self.site or records.find_site(self.site) == deployment.site
        )

    # Where it comes from

    def _choose(self, listing: CardListing) -> tuple[Deployment | None, Card | None]:
        found = propose.propose(listing, now=_now())
        if self.camera or self.site:
            return self._named(found)
        best = found.best
        if self.ask and not self.yes:
            return self._asked(found)
        if best is not None and found.sure and self.yes:
            self.told.append(f"{found.sentence} {' '.join(best.reasons)}")
            return best.deployment, best.card
        if self.yes:
            self.told.append(f"Imported as unplaced. {found.sentence}")
            return None, propose.card_by_label(self.path, found.label)
        raise Unknown(self._needed(found))

    def _needed(self, found: propose.Proposal) -> str:
        lines = [found.sentence]
        for candidate in found.candidates[:3]:
            d = candidate.deployment
            lines.append(f"  --camera {d.camera.serial} --site {json.dumps(d.site.name, ensure_ascii=False)}")
            lines += [f"      {reason}" for reason in (*candidate.reasons, *candidate.against)]
        serial = next(iter(found.marks.serials), None)
        if not found.candidates:
            lines.append(
                f"Name both, and they are made: --camera {serial or 'SERIAL'} --site NAME. "
                "Or add --yes to take it in as unplaced."
            )
        else:
            lines.append("Nobody can be asked here: name the camera and site, or add --yes.")
        return "\n".join(lines)

    def _named(self, found: propose.Proposal) -> tuple[Deployment, Card | None]:
        camera = records.find_camera(self.camera) if self.camera else None
        site = records.find_site(self.site) if self.site else None
        fitting = Deployment.objects.select_related("camera", "site__reserve")
        if self.camera:
            fitting = fitting.filter(camera=camera) if camera else fitting.none()
        if self.site:
            fitting = fitting.filter(site=site) if site else fitting.none()
        ranked = {c.deployment.pk: c for c in found.candidates}
        known = sorted(fitting, key=lambda d: (-(ranked[d.pk].score if d.pk in ranked else -1.0), -d.start.timestamp()))
        in_time = [d for d in known if _covers(d, found.marks)]
        if len(in_time) == 1 or (in_time and (self.camera or self.site)):
            chosen = in_time[0]
            candidate = ranked.get(chosen.pk)
            if candidate:
                self.told += [f"Note: {text}" for text in candidate.against]
            return chosen, candidate.card if candidate else propose.card_by_label(self.path, found.label)
        if len(known) == 1:
            self.told.append(f"The pictures' dates lie outside the deployment {known[0].slug}, the only one that fits.")
            return known[0], propose.card_by_label(self.path, found.label)
        serial = self.camera or next(iter(found.marks.serials), "")
        if not serial or not self.site:
            missing = "--camera SERIAL" if not serial else "--site NAME"
            raise Unknown(
                f"No deployment of {self.camera or self.site} is known at the pictures' time. Name "
                f"{missing} too, and a "
                "new one is made."
            )
        deployment, told = records.make(
            serial=serial, site_name=self.site, marks=found.marks, now=_now(), by=machine_person()
        )
        self.told += told
        return deployment, propose.card_by_label(self.path, found.label)

    def _asked(self, found: propose.Proposal) -> tuple[Deployment | None, Card | None]:
        marks = found.marks
        click.echo(
            f"{found.files} files, {found.size_bytes / 1e6:.1f} MB, below {printable(str(found.source))}",
            err=True,
        )
        if marks.first and marks.last:
            click.echo(f"Dates by the camera's clock: {marks.first:%Y-%m-%d} to {marks.last:%Y-%m-%d}", err=True)
        for note in found.notes:
            click.echo(f"– {note}", err=True)
        click.echo(found.sentence, err=True)
        for number, c in enumerate(found.candidates[:5], 1):
            click.echo(f"  {number}  {c.deployment.site.name}, camera {c.deployment.camera}", err=True)
            for text in c.reasons:
                click.echo(f"       {text}", err=True)
            for text in c.against:
                click.echo(f"       But: {text}", err=True)
        many = min(5, len(found.candidates))
        click.echo(
            "  n  a new deployment (you name camera and site)\n  u  leave it unplaced for now\n  q  stop",
            err=True,
        )
        answer = click.prompt("Where does it come from?", default="1" if many and found.sure else None, err=True)
        answer = str(answer).strip().lower()
        if answer.isdigit() and 1 <= int(answer) <= many:
            chosen = found.candidates[int(answer) - 1]
            return chosen.deployment, chosen.card
        if answer == "u":
            return None, propose.card_by_label(self.path, found.label)
        if answer == "n":
            usual = next(iter(marks.serials), None)
            self.camera = click.prompt("Camera's serial", default=usual, err=True)
            self.site = click.prompt("Site", err=True)
            return self._named(found)
        raise Unknown("Nothing was imported.")

    # Staying

    def watch(self, every_s: float, bar: Callable[[], AbstractContextManager[Line]]) -> Iterator[dict[str, Any]]:
        """Import what comes to the folder, a bag for each batch of files that have stopped growing."""
        memory = _Memory(self.path)
        before: dict[str, tuple[int, int]] = {}
        while True:
            close_old_connections()
            listing = self._list()
            if listing is not None:
                now_s = time.time()
                state = {e.path: (e.size_bytes, e.mtime_ns) for e in listing.taken}
                ready = [
                    e
                    for e in listing.taken
                    if before.get(e.path) == state[e.path] and now_s - e.mtime_ns / 1e9 >= SETTLED_S
                ]
                fresh = [e for e in ready if not memory.knows(e) and _seems_whole(listing, e, now_s)]
                before = state
                if fresh:
                    waiting = [e for e in listing.taken if e not in fresh and not memory.knows(e)]
                    try:
                        found = self._take_batch(listing, fresh, waiting, bar)
                    except SourceBusy as trouble:
                        click.echo(str(trouble), err=True)
                        time.sleep(every_s)
                        continue
                    memory.keep(fresh)
                    if found["new"] or found["notes"]:
                        yield found
            time.sleep(every_s)

    def _list(self) -> CardListing | None:
        try:
            return scan(self.path, inside=False)
        except TrodError as trouble:  # a network folder that is away for a while
            click.echo(f"{trouble} It is looked for again.", err=True)
            return None

    def _take_batch(
        self,
        listing: CardListing,
        fresh: list[Entry],
        waiting: list[Entry],
        bar: Callable[[], AbstractContextManager[Line]],
    ) -> dict[str, Any]:
        batch = replace(listing, entries=tuple(fresh), waiting=tuple(e.path for e in waiting))
        with bar() as line:
            found = self.take(line, batch)
        if not found["new"] and not found["damaged"]:
            # All of it was in the archive before: such an import is nothing to remember.
            with contextlib.suppress(Import.DoesNotExist):
                Import.objects.get(name=found["card_import"], new=0).delete()
        return found


def _seems_whole(listing: CardListing, entry: Entry, now_s: float) -> bool:
    """Whether a file has its end, or has had time enough to get one."""
    if now_s - entry.mtime_ns / 1e9 >= PATIENCE_S:
        return True
    try:
        fd = disk.open_source(listing.place_of(entry))
    except OSError:
        return False
    try:
        return DAMAGE.isdisjoint(look_inside(fd, entry.path, entry.size_bytes).problems)
    except OSError:
        return False
    finally:
        os.close(fd)


class _Memory:
    """Which files of a watched folder were imported, so that a new start need not read them all again."""

    def __init__(self, path: Path) -> None:
        name = hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]
        self.file = home.home() / "cache" / "watched" / f"{name}.json"
        try:
            self.seen: dict[str, list[int]] = json.loads(self.file.read_bytes())
        except (OSError, ValueError):
            self.seen = {}

    def knows(self, entry: Entry) -> bool:
        return self.seen.get(ascii(entry.path)) == [entry.size_bytes, entry.mtime_ns]

    def keep(self, entries: list[Entry]) -> None:
        self.seen.update({ascii(e.path): [e.size_bytes, e.mtime_ns] for e in entries})
        self.file.parent.mkdir(parents=True, exist_ok=True)
        aside = self.file.with_suffix(".new")
        aside.write_text(json.dumps(self.seen))
        aside.replace(self.file)


def _covers(deployment: Deployment, marks: propose.Marks) -> bool:
    """Whether most of the pictures' dates lie within a deployment."""
    if not marks.times:
        return True
    offset = timedelta(minutes=deployment.utc_offset_min)
    low: datetime = deployment.start.replace(tzinfo=None) + offset - propose.SLACK
    high: datetime = (deployment.end or _now()).replace(tzinfo=None) + offset + propose.SLACK
    inside = sum(1 for t in marks.times if low <= t <= high)
    return 2 * inside >= len(marks.times)


def _now() -> datetime:
    return datetime.now(UTC)


__all__ = ["CardWork", "WrongInput"]
