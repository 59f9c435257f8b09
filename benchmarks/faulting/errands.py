"""What people do with Trod that writes: each errand with what it promises, and what is done after it went wrong."""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import shutil
import sqlite3
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from faulting import child, pagework
from faulting.book import Book, Said, pictures_in, state_of
from faulting.child import Ended, trod
from faulting.house import House, job_clock_back, pictures_on, said
from faulting.layer import Plan

Work = Callable[[], Any]


@dataclass
class Errand:
    """One thing somebody does.

    work : done in a child. source : the folder it reads, for a pulled card. place : where its steps count.
    sent : enters in the book what may be there from now on; kept : what the answer promised.
    believes : sentences on what the answer says and is not so.
    again : done after a fault, as a person would. clean : then it must end with 0.
    command : it is one, so it must end in a sentence and a status; a page answers with a page, and a worker that falls
        is started again.
    gone : parts of the archive were taken away first, on purpose. then_serve : somebody serves before that.
    """

    verb: str
    work: Work
    source: Path | None = None
    place: Path | None = None
    prepare: Callable[[], Any] = lambda: None
    sent: Callable[[Book], Any] = lambda book: None
    kept: Callable[[Book, Ended], Any] = lambda book, ended: None
    believes: Callable[[Book, Ended], list[str]] = lambda book, ended: []
    again: Work | None = None
    clean: bool = True
    command: bool = True
    gone: bool = False
    then_serve: bool = False


# Serving --------------------------------------------------------------------------------------------------------


def serve(h: House, plan: Plan | None = None, *, kill_after_s: float | None = None, in_worker: bool = True) -> Ended:
    """`trod serve` and its worker, each in a child, until the worker has settled in and found nothing more to do."""

    def pages() -> Any:
        from trod.web import server

        honest = server.run

        def run(sock: Any, **more: Any) -> None:
            child.flag()
            honest(sock, **{**more, "worker": False})

        server.run = run
        return trod("serve", "--no-browser", "--port", "0")()

    def worker() -> Any:
        from trod.catalogue.work import handlers
        from trod.web import worker as work

        handlers.look_round = child.flag
        return work.main()

    front = child.begin(pages, None if in_worker else plan)
    began = front.began
    while not front.counter.read()[1] and not _ended(front.pid):
        if kill_after_s is not None and _now() - began > kill_after_s:
            front.kill()
    if not front.counter.read()[1]:
        return front.wait()
    keep, give = os.pipe()
    back = child.begin(worker, plan if in_worker else None, stdin=keep)
    os.close(keep)
    ended = back.wait(
        until_flag=True, kill_after_s=None if kill_after_s is None else max(0.001, kill_after_s - (_now() - began))
    )
    os.close(give)
    front.kill()
    of_front = front.wait()
    ended.err = of_front.err + ended.err
    if ended.flag:
        ended.status = 0
    return ended


def _now() -> float:
    import time

    return time.monotonic()


def _ended(pid: int) -> bool:
    import time

    time.sleep(0.002)
    return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


# Errands --------------------------------------------------------------------------------------------------------


def card(h: House, rng: random.Random, *, name: str = "new") -> Errand:
    """A card comes home."""
    folder = h.cards / name
    on_it = pictures_on(h.snap / "cards" / name)

    def believes(book: Book, ended: Ended) -> list[str]:
        safe = ended.said.get("safe_to_format")
        have = pictures_in(h.archive)
        wrong = []
        left = [path for path, sha in on_it.items() if sha not in have]
        if safe and left:
            wrong.append(f"“safe to format”, and {', '.join(left)} is not in the archive")
        if safe is not None and bool(safe) != (ended.status == 0):
            wrong.append(f"safe_to_format {safe} with status {ended.status}")
        return wrong

    def kept(book: Book, ended: Ended) -> None:
        if ended.said.get("safe_to_format"):
            book.keep_pictures(on_it)

    work = trod("card", str(folder), "--yes", "--json")
    return Errand("card", work, source=folder, kept=kept, believes=believes, again=work, clean=name == "new")


def odd_card(h: House, rng: random.Random) -> Errand:
    """A card with pictures under other names after a repair, a cut picture and an empty file."""
    return card(h, rng, name="odd")


def identify(h: House, rng: random.Random) -> Errand:
    """Somebody identifies a sequence."""
    mine, sequence, count = (
        str(uuid.UUID(int=rng.getrandbits(128), version=4)),
        rng.choice(h.sequences),
        rng.randint(1, 9),
    )

    def sent(book: Book) -> None:
        book.words[mine] = Said({"sequence": sequence, "act": "say"}, sure=False, undone=frozenset({False}))

    def kept(book: Book, ended: Ended) -> None:
        if ended.said.get("acked"):
            book.words[mine].sure = True

    return Errand("identify", lambda: pagework.act(**said(mine, sequence, count)), sent=sent, kept=kept, command=False)


def undo(h: House, rng: random.Random) -> Errand:
    """Somebody takes an identification back."""
    mine = rng.choice([u for u, w in h.book.words.items() if w.undone == frozenset({False})])

    def sent(book: Book) -> None:
        book.words[mine].undone = frozenset({False, True})

    def kept(book: Book, ended: Ended) -> None:
        if ended.said.get("acked"):
            book.words[mine].undone = frozenset({True})

    return Errand("undo", lambda: pagework.act(act="undo", identification=mine), sent=sent, kept=kept, command=False)


def _record(verb: str, handle: str, name: str, fields: dict[str, Any], work: Work) -> Errand:
    def kept(book: Book, ended: Ended) -> None:
        if ended.said.get("acked"):
            book.promised(handle)

    return Errand(verb, work, sent=lambda book: book.try_record(handle, name, fields), kept=kept, command=False)


def record(h: House, rng: random.Random) -> Errand:
    """A page is filled in and sent: a site, a camera, a lock, a visit."""
    note = f"note {rng.getrandbits(32):08x}"
    which = rng.choice(("site", "camera", "lock", "visit", "sign"))
    if which == "site":
        slug = rng.choice(("alder-track", "grey-lick"))
        where = f"/map/sites/of/{slug}/change/"
        work = lambda: pagework.send(where, "note", note=note)  # noqa: E731
        return _record("page", f"site {slug}", "sites", {"slug": slug, "note": note}, work)
    if which == "camera":
        serial = note.replace("note ", "NEW-")
        work = lambda: pagework.send("/cameras/new/", "serial", serial=serial)  # noqa: E731
        return _record("page", f"camera {serial}", "cameras", {"serial": serial}, work)
    if which == "lock":
        add = {"label": note, "new_key_number": note[5:9], "new_combination": note[9:]}
        work = lambda: pagework.send("/cameras/maintenance/locks/new/", "label", **add)  # noqa: E731
        fields = {"label": note, "key_number": note[5:9], "combination": note[9:]}
        return _record("page", f"lock {note}", "locks", fields, work)
    if which == "visit":
        where = f"/cameras/visits/new/?deployment={h.deployments['alder-track']}"
        work = lambda: pagework.send(where, "arrival", note=note, at="2026-05-09T10:00")  # noqa: E731
        return _record("page", f"visit {note}", "visits", {"note": note}, work)
    work = lambda: pagework.send("/map/sign/new/?site=grey-lick", "kind", kind="scat", note=note)  # noqa: E731
    return _record("page", f"sign {note}", "signs", {"note": note}, work)


def upload(h: House, rng: random.Random) -> Errand:
    """A field form's file is brought home."""
    import hashlib

    import homecoming

    uid, note = str(uuid.UUID(int=rng.getrandbits(128), version=4)), f"note {rng.getrandbits(32):08x}"
    photo = homecoming.jpeg(colour=rng.randrange(256))
    data = h.field_form(uid, note, photo)

    def kept(book: Book, ended: Ended) -> None:
        if ended.said.get("acked"):
            book.notes[uid] = note
            book.photos[hashlib.sha256(photo).hexdigest()] = f"of {uid}"

    return Errand("upload", lambda: pagework.bring(data), kept=kept, command=False)


def place(h: House, rng: random.Random) -> Errand:
    """The unplaced bag is given its deployment: a page asks, the worker moves it."""
    slug = h.deployments[rng.choice(("alder-track", "grey-lick"))]

    def prepare() -> None:
        h.must(lambda: pagework.press(f"/cards/import/{h.unplaced}/place/", deployment=slug), acked=True)

    return Errand("move", _worker, prepare=prepare, again=_worker, command=False)


def card_import(h: House, rng: random.Random) -> Errand:
    """A card is begun from the page, and the worker takes it in."""

    def prepare() -> None:
        path, slug = str(h.cards / "new"), h.deployments["alder-track"]
        h.must(lambda: pagework.press("/cards/begin/", path=path, deployment=slug, read_back="1"), acked=True)

    def believes(book: Book, ended: Ended) -> list[str]:
        have, wrong = pictures_in(h.archive), []
        base = sqlite3.connect(h.catalogue)
        for (safe,) in base.execute("SELECT safe_to_format FROM trod_import WHERE source LIKE '%/new'"):
            wrong += [f"the page says safe, {p} is not kept" for p, s in pictures_on(h.snap / "cards/new").items()
                      if safe and s not in have]  # fmt: skip
        base.close()
        return wrong

    source = h.cards / "new"
    return Errand(
        "worker", _worker, source=source, prepare=prepare, believes=believes, again=_worker, command=False
    )  # fmt: skip


def _worker() -> None:
    """What the worker of `trod serve` does with the jobs there are, until none is left."""
    import threading

    from trod.catalogue.start import ready

    ready("trod serve", migrate=False)
    from trod.catalogue import jobs
    from trod.catalogue.work import handlers

    stop = threading.Event()
    jobs.work(stop=stop, settle_in=handlers.settle_in, look_round=stop.set)


def backup(h: House, rng: random.Random) -> Errand:
    """The backup is brought up to date, or made anew."""
    dest = h.backup if rng.random() < 0.7 else h.out / "second"

    def believes(book: Book, ended: Ended) -> list[str]:
        return [f"backup done, and it lacks {x}" for x in book.lost_in_archive(dest)] if ended.status == 0 else []

    work = trod("backup", str(dest), "--json")
    return Errand("backup", work, believes=believes, again=work, place=h.root, source=h.archive)


def restore(h: House, rng: random.Random) -> Errand:
    """A part of the archive is gone and comes back from the backup; what the backup never had is not in the book."""
    names = ("alder-track", "grey-lick", "unplaced", "field-notes", "ledger.json", "private.json")
    gone = [h.archive / name for name in rng.sample(names, rng.randint(1, len(names)))]

    def prepare() -> None:
        h.must(trod("backup", str(h.backup), "--json"))
        for path in gone:
            shutil.rmtree(path) if path.is_dir() else path.unlink()

    def believes(book: Book, ended: Ended) -> list[str]:
        lost = book.lost_in_archive(h.archive) if ended.status == 0 else []
        return [f"restore done, and the archive lacks {x}" for x in lost]

    work = trod("restore", str(h.backup), "--json")
    return Errand("restore", work, prepare=prepare, believes=believes, again=work, source=h.backup, gone=True)


def rebuild(h: House, rng: random.Random) -> Errand:
    """The catalogue is made anew."""

    def believes(book: Book, ended: Ended) -> list[str]:
        lost = book.lost_in_catalogue(h.catalogue) if ended.status == 0 else []
        return [f"rebuild done, and {x} is missing" for x in lost]

    work = trod("rebuild", "--yes", "--json")
    return Errand("rebuild", work, believes=believes, again=work, then_serve=rng.random() < 0.5)


def export(h: House, rng: random.Random) -> Errand:
    """Records and a report go into files; nothing of the archive changes, and no half file bears a whole one's name."""
    before = state_of(h.snap / "home/archive")
    if rng.random() < 0.7:
        work, made = trod("export", str(h.out / "tables"), "--json"), h.out / "tables"
    else:
        day = f"{datetime.now(UTC) + timedelta(days=2):%Y-%m-%d}"
        words = ("--day", day, "--lat", "47.3", "--lon", "13.9", "--gpx", str(h.out / "r.gpx"))
        work, made = trod("rounds", *words, "--csv", str(h.out / "r.csv")), h.out

    def believes(book: Book, ended: Ended) -> list[str]:
        wrong = []
        if {k: v for k, v in state_of(h.archive).items() if k in before} != before:
            wrong.append("an export changed the archive")
        if ended.status == 0 and not any(made.glob("*")):
            wrong.append("written, and nothing is there")
        for path in made.rglob("*.gpx"):
            if not path.name.startswith(".") and not path.read_text("utf-8", "replace").rstrip().endswith("</gpx>"):
                wrong.append(f"half a file under the name {path.name}")
        for path in made.rglob("description.json"):
            try:
                json.loads(path.read_bytes())
            except ValueError:
                wrong.append("half a description.json")
        return wrong

    return Errand("export", work, believes=believes, again=work, place=h.root)


def report(h: House, rng: random.Random) -> Errand:
    """A report as a PDF."""
    file = h.out / "report.pdf"

    def believes(book: Book, ended: Ended) -> list[str]:
        wrong = ["made, and no PDF is there"] if ended.status == 0 and not file.is_file() else []
        if file.is_file() and not file.read_bytes().rstrip().endswith(b"%%EOF"):
            wrong.append("half a PDF under its name")
        return wrong

    work = trod("report", "--out", str(file), "--csv", str(h.out / "tables"))
    return Errand("report", work, believes=believes, again=work, place=h.root)


VERBS: dict[str, Callable[[House, random.Random], Errand]] = {
    "card": card, "odd card": odd_card, "identify": identify, "undo": undo, "page": record, "upload": upload,
    "move": place, "worker": card_import, "backup": backup, "restore": restore, "rebuild": rebuild, "export": export,
    "report": report,
}  # fmt: skip


def waited(h: House) -> None:
    """A person has waited until a dead worker's job may be taken over."""
    with contextlib.suppress(sqlite3.DatabaseError):
        job_clock_back(h.catalogue)


TRACEBACK = re.compile(r"^Traceback \(most recent call last\)", re.M)


def bare(ended: Ended) -> bool:
    """Whether a command ended in a traceback, or with a status that no help knows."""
    if ended.killed:
        return False
    return ended.status not in (0, 1, 2, 3) or bool(TRACEBACK.search(ended.err))
