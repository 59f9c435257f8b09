"""A small invented house to do harm to: two sites, three bags, identifications, a lock, visits, a backup; and cards.

All of it is entered as a person would, by commands and pages, and each promise goes into the book.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import homecoming
import pulled

from faulting import child, pagework
from faulting.book import Book, Said
from faulting.child import Ended, trod

BEGUN = datetime(2026, 5, 1, 6)
VISIT = "11111111-2222-4333-8444-555555555555"
KEY, COMBINATION = "K 37", "4711"


class Broken(Exception):
    """The harness itself cannot go on: something failed although nobody had made a fault."""


class House:
    """The folders of one worker, what lies in them at first, and the book of it.

    Everything is at fixed paths, since Django's settings name the catalogue once. `fresh` puts all back.
    """

    def __init__(self, root: Path) -> None:
        self.root, self.home, self.backup = root, root / "home", root / "backup"
        self.cards, self.out, self.snap, self.stray = root / "cards", root / "out", root / "snap", root / "stray"
        self.book = Book()
        self.sequences: list[str] = []
        self.unplaced = ""
        self.unseen_species = "red-deer"

    @property
    def archive(self) -> Path:
        return self.home / "archive"

    @property
    def catalogue(self) -> Path:
        return self.home / "catalogue.sqlite3"

    # Making it

    def build(self) -> None:
        for folder in (self.home, self.cards, self.out, self.stray):
            folder.mkdir(parents=True)
        self._strange_catalogue()
        self._first_cards()
        self._records()
        copy_base(self.catalogue, self.stray / "older.sqlite3")
        self._later()
        self.must(trod("backup", str(self.backup), "--json"))
        self._new_cards()
        self._later_still()
        for folder in (self.home, self.backup, self.cards):
            shutil.copytree(folder, self.snap / folder.name)
        wrong = self.book.lost_in_archive(self.archive) + self.book.lost_in_catalogue(self.catalogue)
        if wrong:
            raise Broken(f"the house is not as the book has it: {wrong}")

    def must(self, work: Callable[[], Any], *, acked: bool | None = None) -> Ended:
        """Do what must go well when nobody makes a fault."""
        ended = child.run(work)
        if ended.status != 0 or (acked is not None and ended.said.get("acked") is not acked):
            raise Broken(f"status {ended.status}\n{ended.out[-1500:]}\n{ended.err[-3000:]}")
        return ended

    def _card(self, name: str, many: int, *, serial: str = "INV-001", after_days: int = 0) -> dict[str, str]:
        card = pulled.Pulled(self.cards / name, serial=serial)
        for k in range(many):
            card.shoot(BEGUN + timedelta(days=after_days + k // 2, seconds=k % 2))
        return pictures_on(self.cards / name)

    def _strange_catalogue(self) -> None:
        """A catalogue of another house, to be put in the place of this one's."""
        found = self._card("strange", 2, serial="OTH-9")
        self.must(trod("card", str(self.cards / "strange"), "--site", "Elsewhere", "--yes", "--json"))
        assert found
        copy_base(self.catalogue, self.stray / "foreign.sqlite3")
        shutil.rmtree(self.home)
        self.home.mkdir()

    def _first_cards(self) -> None:
        for name, serial, site in (("one", "INV-001", "Alder Track"), ("two", "INV-002", "Grey Lick")):
            found = self._card(name, 4, serial=serial)
            self.must(trod("card", str(self.cards / name), "--camera", serial, "--site", site, "--yes", "--json"))
            self.book.keep_pictures(found)
        found = self._card("nobody", 2, serial="", after_days=3)
        ended = self.must(trod("card", str(self.cards / "nobody"), "--yes", "--json"))
        self.unplaced = Path(ended.said["bag"]).name
        self.book.keep_pictures(found)
        for site, camera in (("alder-track", "INV-001"), ("grey-lick", "INV-002")):
            self.book.try_record(f"site {site}", "sites", {"slug": site})
            self.book.promised(f"site {site}")
            self.book.try_record(f"camera {camera}", "cameras", {"serial": camera})
            self.book.promised(f"camera {camera}")

    def _records(self) -> None:
        new = "/people/species/new/"
        self.record("species", "species", {"name": "Red deer"}, lambda: pagework.send(new, "name", name="Red deer"))
        where = "/map/sites/of/alder-track/change/"
        self.record(
            "site alder-track", "sites", {"slug": "alder-track", "note": "first"},
            lambda: pagework.send(where, "note", note="first"),
        )  # fmt: skip
        found = self.must(self.keys).said
        self.sequences, self.deployments = found["sequences"], found["deployments"]
        self.say(self.sequences[0])

    def _later(self) -> None:
        """What the older catalogue does not know."""
        self.say(self.sequences[1])
        undone = self.say(self.sequences[2])
        self.must(lambda: pagework.act(act="undo", identification=undone), acked=True)
        self.book.words[undone].undone = frozenset({True})
        self.record(
            "lock", "locks", {"label": "Box one", "key_number": KEY, "combination": COMBINATION},
            lambda: pagework.send(
                "/cameras/maintenance/locks/new/", "label", label="Box one", new_key_number=KEY,
                new_combination=COMBINATION,
            ),
        )  # fmt: skip
        photo = homecoming.jpeg()
        data = self.field_form(VISIT, "came home first", photo)
        self.must(lambda: pagework.bring(data), acked=True)
        self.book.notes[VISIT] = "came home first"
        self.book.photos[hashlib.sha256(photo).hexdigest()] = "of the visit"
        self.book.try_record("visit", "visits", {"uuid": VISIT})
        self.book.promised("visit")

    def _later_still(self) -> None:
        """What neither the older catalogue nor the backup knows."""
        self.say(self.sequences[3])
        where = "/map/sites/of/grey-lick/change/"
        self.record(
            "site grey-lick", "sites", {"slug": "grey-lick", "note": "after the backup"},
            lambda: pagework.send(where, "note", note="after the backup"),
        )  # fmt: skip

    def _new_cards(self) -> None:
        """Cards that no archive holds yet: a plain one, and one with what cards come to."""
        self._card("new", 5, after_days=20)
        shutil.copy(next((self.cards / "one").rglob("*.JPG")), self.cards / "new/DCIM/100TARNB/LANT0006.JPG")
        self._card("odd", 6, after_days=30)
        files = sorted((self.cards / "odd").rglob("*.JPG"))
        files[1].rename(files[1].with_name("FILE0000.CHK"))
        files[2].rename(files[2].with_name("LANT0003.JP_"))
        files[3].write_bytes(files[3].read_bytes()[:-40])
        files[4].write_bytes(b"")

    # What children do

    def keys(self) -> None:
        """Tell the sequences and deployments there are."""
        from trod.catalogue import models as m

        pagework.tell(
            sequences=list(m.Sequence.objects.order_by("key").values_list("key", flat=True)),
            deployments={d.site.slug: d.slug for d in m.Deployment.objects.select_related("site")},
        )

    def field_form(self, uid: str, note: str, photo: bytes | None) -> bytes:
        at = datetime(2026, 5, 6, 10, tzinfo=UTC)
        visit = homecoming.visit(
            at, uid=uid, site="alder-track", deployment=self.deployments["alder-track"], photo=photo, note=note,
            card_out="", card_in="",
        )  # fmt: skip
        told = json.loads(homecoming.field_form_file(str(uuid.UUID(int=7)), [visit], at=at))
        told["field_form"]["reserve"] = "My reserve"  # as `trod card` names the first one
        return json.dumps(told).encode()

    # With the book

    def say(self, sequence: str, *, count: int = 2) -> str:
        """Identify a sequence, and enter it in the book. Returns the word's uuid."""
        mine = str(uuid.uuid4())
        self.must(lambda: pagework.act(**said(mine, sequence, count)), acked=True)
        self.book.words[mine] = Said({"sequence": sequence, "act": "say"})
        return mine

    def record(self, handle: str, name: str, fields: dict[str, Any], work: Callable[[], Any]) -> None:
        self.must(work, acked=True)
        self.book.try_record(handle, name, fields)
        self.book.promised(handle)

    # Before each fault

    def fresh(self) -> Book:
        """Everything as it was at first. Returns a book of it that may be written in."""
        for folder in (self.home, self.backup, self.cards):
            clear(folder)
            shutil.copytree(self.snap / folder.name, folder, dirs_exist_ok=True)
        clear(self.out)
        for extra in self.cards.glob("*.pulled"):
            shutil.rmtree(extra)
        return self.book.copy()


def said(mine: str, sequence: str, count: int) -> dict[str, Any]:
    """The body of an identification."""
    return {
        "act": "say", "uuid": mine, "sequence": sequence, "saw": None,
        "lines": [{"what": "animal", "species": "red-deer", "count": count}],
    }  # fmt: skip


def copy_base(base: Path, copy: Path) -> None:
    """A catalogue with what stands in its log, as one file."""
    with sqlite3.connect(base) as source, sqlite3.connect(copy) as target:
        source.backup(target)
    for opened in (source, target):
        opened.close()


def clear(folder: Path) -> None:
    """Empty a folder, and leave it."""
    folder.mkdir(parents=True, exist_ok=True)
    for item in os.scandir(folder):
        if item.is_dir(follow_symlinks=False):
            shutil.rmtree(item.path)
        else:
            Path(item.path).unlink()


def pictures_on(card: Path) -> dict[str, str]:
    """{path: SHA-256} of what is a picture by its content: it begins as a JPEG does. Empty files are none."""
    found = {}
    for path in sorted(card.rglob("*")):
        if path.is_file() and path.read_bytes()[:3] == b"\xff\xd8\xff":
            found[path.relative_to(card).as_posix()] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def job_clock_back(catalogue: Path) -> None:
    """As if a person had waited: a dead worker's job is stale at once."""
    base = sqlite3.connect(catalogue)
    with base:
        base.execute("UPDATE trod_job SET heartbeat = '2020-01-01 00:00:00' WHERE heartbeat IS NOT NULL")
    base.close()
