"""One fault each: made, judged at once, recovered from as a person would, and judged again."""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import random
import shutil
import subprocess
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from faulting import child, errands
from faulting.book import Book, bags_in, open_to_others, unsound
from faulting.child import Ended, trod
from faulting.errands import VERBS, Errand, bare
from faulting.house import House, clear
from faulting.layer import Plan

STATES = ("missing", "archive alone", "zero", "cut", "flipped", "older", "foreign")  # of a catalogue


@dataclass
class Result:
    """What became of one fault. found : of damage, whether verify found it and named it; None where nothing is sought.

    bare : it ended in a traceback or an unknown status. inert : the fault did not come about (work was quicker).
    """

    kind: str
    verb: str
    number: int = 0
    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    found: bool | None = None
    bare: list[str] = field(default_factory=list)
    inert: bool = False
    note: str = ""

    @property
    def bad(self) -> bool:
        return bool(self.lost or self.wrong or self.bare) or self.found is False

    def plain(self) -> dict[str, Any]:
        return asdict(self)


class Trials:
    """The trials of one worker and its house."""

    def __init__(self, house: House, *, sabotage: bool = False) -> None:
        """sabotage : after each errand a picture is taken out of the archive unseen, to try whether the book sees it."""
        self.h, self.sabotage = house, sabotage
        self.steps: dict[str, int] = {}
        self.seconds: dict[str, float] = {}
        self.root_may = os.geteuid() == 0 and _own_mounts()

    # Errands under a fault

    def errand(self, verb: str, rng: random.Random) -> tuple[Book, Errand]:
        book = self.h.fresh()
        errand = VERBS[verb](self.h, rng)
        errand.prepare()
        errand.sent(book)
        return book, errand

    def measured(self, verb: str, what: str, rng: random.Random) -> tuple[int, float]:
        """How many steps an errand takes when nothing goes wrong, and how long."""
        key = f"{verb} {what}"
        if key not in self.steps:
            _, errand = self.errand(verb, random.Random(rng.random()))
            folder = errand.source if what in ("unreadable", "vanish") else errand.place or self.h.home
            what = what if what in ("unreadable", "vanish") else "count"
            ended = child.run(errand.work, Plan(what, str(folder), 0))
            self.steps[key], self.seconds[verb] = max(1, ended.steps), ended.seconds
        return self.steps[key], self.seconds[verb]

    def kill_step(self, verb: str, rng: random.Random) -> Result:
        return self._at_step("killed at a step", "kill", verb, rng)

    def full_step(self, verb: str, rng: random.Random) -> Result:
        return self._at_step("disk full at a step", "full", verb, rng)

    def readonly_step(self, verb: str, rng: random.Random) -> Result:
        return self._at_step("read-only from a step on", "readonly", verb, rng)

    def pulled(self, verb: str, rng: random.Random) -> Result:
        what = rng.choice(("unreadable", "vanish")) if verb in ("card", "worker") else "unreadable"
        result = self._at_step("source pulled", what, verb, rng)
        return result

    def _at_step(self, kind: str, what: str, verb: str, rng: random.Random) -> Result:
        steps, _ = self.measured(verb, what, rng)
        at = rng.randint(1, steps)
        book, errand = self.errand(verb, rng)
        folder = errand.source if what in ("unreadable", "vanish") else errand.place or self.h.home
        ended = child.run(errand.work, Plan(what, str(folder), at))
        result = Result(kind, verb, note=f"step {at} of {steps}", inert=ended.steps < at)
        return self.judged(result, book, errand, ended)

    def kill_time(self, verb: str, rng: random.Random) -> Result:
        _, seconds = self.measured(verb, "count", rng)
        book, errand = self.errand(verb, rng)
        after = rng.uniform(0, seconds * 1.1)
        ended = child.run(errand.work, kill_after_s=after)
        result = Result("killed at a moment", verb, note=f"{after:.4f} s", inert=not ended.killed)
        return self.judged(result, book, errand, ended)

    def small_disk(self, verb: str, rng: random.Random) -> Result:
        """A real disk with little room left, or one that can only be read, mounted over the data folder."""
        book, errand = self.errand(verb, rng)
        h, full = self.h, rng.random() < 0.7
        kind = "disk really full" if full else "disk really read-only"
        if not self.root_may:
            return Result(kind, verb, inert=True, note="only root may mount")
        aside = h.root / "aside"
        shutil.rmtree(aside, ignore_errors=True)
        h.home.rename(aside)
        h.home.mkdir()
        used = sum(-(-p.stat().st_size // 4096) * 4096 + 4096 for p in aside.rglob("*"))
        room = rng.choice((0, rng.randint(0, 40_000), rng.randint(0, 400_000), rng.randint(0, 4_000_000)))
        size = f"size={(used + room) // 4096 * 4096 + 65536}"
        _sh("mount", "-t", "tmpfs", "-o", size, "tmpfs", str(h.home))
        try:
            shutil.copytree(aside, h.home, dirs_exist_ok=True)
            if not full:
                _sh("mount", "-o", "remount,ro", str(h.home))
            ended = child.run(errand.work)
            clear(aside)
            shutil.copytree(h.home, aside, dirs_exist_ok=True)
        finally:
            _sh("umount", "-l", str(h.home))
            h.home.rmdir()
            aside.rename(h.home)
        result = Result(kind, verb, note=f"{room} bytes left")
        return self.judged(result, book, errand, ended)

    def judged(self, result: Result, book: Book, errand: Errand, ended: Ended) -> Result:
        """What was promised is in the archive now; and after a person did what one does, all is."""
        h = self.h
        if self.sabotage:
            next(p for p in sorted(h.archive.rglob("data/**/*.JPG")) if ".incoming" not in p.parts).unlink()
        self.heard(result, book, errand, ended)
        if not errand.gone:  # half restored is no loss: the backup has it
            result.lost += book.lost_in_archive(h.archive)
        result.lost += [f"{x} (backup)" for x in _base_book(h).lost_in_archive(h.backup, earlier=True)
                        if "after the backup" not in x] if errand.verb == "backup" else []  # fmt: skip
        pulled = h.cards / "new.pulled", h.cards / "odd.pulled"
        for card in pulled:
            if card.is_dir():
                card.rename(card.with_name(card.name.removesuffix(".pulled")))
        errands.waited(h)
        if errand.then_serve:
            self.served(result)
            result.lost += [f"{x}, after serving" for x in book.lost_in_archive(h.archive)]
        if errand.again is not None:
            again = child.run(errand.again)
            self.heard(result, book, errand, again)
            if again.status != 0 and errand.clean:
                result.wrong.append(f"doing it again ends with {again.status}: {again.err[-300:]}")
            if errand.verb == "card":
                self.once_more(result, errand)
        else:
            self.served(result)
        self.finally_whole(result, book)
        return result

    def once_more(self, result: Result, errand: Errand) -> None:
        """The same card again adds nothing."""
        before = list(bags_in(self.h.archive))
        ended = child.run(errand.work)
        if ended.said.get("bag") or list(bags_in(self.h.archive)) != before:
            result.wrong.append(f"the same card once more made a bag: {ended.said.get('bag')}")

    def heard(self, result: Result, book: Book, errand: Errand, ended: Ended) -> None:
        if not ended.killed or ended.out:
            errand.kept(book, ended)
        with contextlib.suppress(OSError):
            result.wrong += errand.believes(book, ended)
        if errand.command and bare(ended):
            result.bare.append(f"status {ended.status}: {ended.err.strip()[-200:]}")
        if ended.hung:
            result.wrong.append("hung")

    def served(self, result: Result) -> None:
        ended = errands.serve(self.h)
        if bare(ended) or ended.hung:
            result.bare.append(f"serve: status {ended.status}: {ended.err.strip()[-200:]}")

    def finally_whole(self, result: Result, book: Book) -> None:
        """Nothing lost; verify agrees; the catalogue, where it is not in doubt, has it too."""
        h = self.h
        result.lost += [f"{x}, in the end" for x in book.lost_in_archive(h.archive)]
        ended = child.run(trod("verify", "--json"))
        if ended.status != 0:
            result.wrong.append(f"verify in the end: {ended.status} {ended.said.get('sentence')} {_named(ended)[:200]}")
        if ajar := open_to_others(h.home):
            result.wrong.append(f"others may read {', '.join(ajar[:3])}")
        own = unsound(h.archive)
        if own and ended.status == 0:
            result.wrong.append(f"verify says all is well; not so: {own[:3]}")
        result.lost += [f"{x}, in the end" for x in book.lost_in_catalogue(h.catalogue)]

    # Two at once

    def two(self, verb: str, rng: random.Random) -> Result:
        first, second = verb.split(" + ")
        book, one = self.errand(first, rng)
        other = VERBS[second](self.h, rng)
        other.prepare()
        other.sent(book)
        at_work = [child.begin(one.work), child.begin(other.work)]
        ends = [c.wait() for c in at_work]
        result = Result("two at once", verb)
        before = book.copy()  # a backup is held to what was kept when it began
        for errand, ended in zip((one, other), ends, strict=True):
            self.heard(result, before if errand.verb == "backup" else book, errand, ended)
        result.lost += book.lost_in_archive(self.h.archive)
        for errand in (one, other):
            if errand.again is not None:
                self.heard(result, book, errand, child.run(errand.again))
        self.served(result)
        self.finally_whole(result, book)
        return result

    # Damage to the archive, and what verify says

    def damage(self, what: str, rng: random.Random, *, then: str = "verify") -> Result:
        """A flip, a cut, an emptying or a removal anywhere in the archive. then : verify, backup or restore."""
        h = self.h
        h.fresh()
        root = h.backup if then == "restore" else h.archive
        path, done = spoil(root, what, rng)
        result = Result(f"{what}", f"{then}: {kind_of_file(path)}", note=f"{path}{done}")
        if then == "verify":
            ended = child.run(trod("verify", "--json"))
            result.found = ended.status == 1 and path in _named(ended)
            if ended.status == 0:
                result.wrong.append("verify says that all is well")
        elif then == "backup":
            before = _base_book(h)
            ended = child.run(trod("backup", str(h.backup), "--json"))
            result.lost += before.lost_in_archive(h.backup, earlier=True)
            if ended.status == 0:
                result.wrong += [f"backup done, and it lacks {x}" for x in h.book.lost_in_archive(h.backup)]
        else:
            shutil.rmtree(h.archive)
            ended = child.run(trod("restore", str(h.backup), "--json"))
            if ended.status == 0:
                result.wrong += [f"restore done; lacks {x}" for x in _base_book(h).lost_in_archive(h.archive)]
        if bare(ended):
            result.bare.append(f"{then}: status {ended.status}: {ended.err.strip()[-200:]}")
        return result

    def healed(self, what: str, rng: random.Random) -> Result:
        """Something is taken away; a restore from the backup brings it back."""
        h = self.h
        book = h.fresh()
        h.must(trod("backup", str(h.backup), "--json"))
        path, _ = spoil(h.archive, what, rng, kept=False)  # a backup has no kept states
        result = Result(what, f"then restored: {kind_of_file(path)}", note=path)
        ended = child.run(trod("restore", str(h.backup), "--json"))
        if bare(ended) or ended.status != 0:
            result.bare.append(f"restore: status {ended.status}: {ended.out[-300:]} {ended.err.strip()[-200:]}")
        self.served(result)
        going_on = VERBS["page"](h, rng)  # the next change mends what a register's file has lost
        going_on.sent(book)
        self.heard(result, book, going_on, child.run(going_on.work))
        self.finally_whole(result, book)
        return result

    # The catalogue is not what it should be

    def catalogue(self, verb: str, rng: random.Random) -> Result:
        """A catalogue that is missing, empty, cut, spoilt, older, foreign or half built; then somebody goes on."""
        h = self.h
        state = rng.choice((*STATES, "half built"))
        book = h.fresh()
        self._spoil_catalogue(state, rng)
        result = Result(f"catalogue {state}", f"then {verb}")
        if verb == "serve":
            self.served(result)
            errand = None
        else:
            errand = VERBS[verb](h, rng)
            errand.sent(book)
            ended = child.run(errand.work)
            self.heard(result, book, errand, ended)
        result.lost += book.lost_in_archive(h.archive)
        if verb != "serve":
            self.served(result)
            result.lost += [f"{x}, after serving" for x in book.lost_in_archive(h.archive)]
        # Whatever the archive has become, the backup must not follow it downwards.
        child.run(trod("backup", str(h.backup), "--json"))
        result.lost += [f"{x} (backup)" for x in _base_book(h).lost_in_archive(h.backup)]
        again = child.run(trod("rebuild", "--yes", "--json"))
        if bare(again) or again.status != 0:
            result.bare.append(f"rebuild: status {again.status}: {again.out[-200:]}{again.err.strip()[-200:]}")
        if errand is not None and errand.verb == "card":
            self.heard(result, book, errand, child.run(errand.work))
        self.finally_whole(result, book)
        return result

    def _spoil_catalogue(self, state: str, rng: random.Random) -> None:
        h = self.h
        file = h.catalogue
        if state == "half built":
            errand = VERBS["rebuild"](h, rng)
            steps, seconds = self.measured("rebuild", "count", rng)
            if rng.random() < 0.5:
                child.run(errand.work, Plan("kill", str(h.home), rng.randint(1, steps)))
            else:
                child.run(errand.work, kill_after_s=rng.uniform(0, seconds))
            return
        for tail in ("-wal", "-shm"):
            file.with_name(file.name + tail).unlink(missing_ok=True)
        if state == "missing":
            file.unlink()
        elif state == "archive alone":
            for item in h.home.iterdir():
                if item.name != "archive":
                    shutil.rmtree(item) if item.is_dir() else item.unlink()
        elif state == "zero":
            file.write_bytes(b"")
        elif state == "cut":
            os.truncate(file, rng.randrange(1, file.stat().st_size))
        elif state == "flipped":
            data = bytearray(file.read_bytes())
            for _ in range(rng.choice((1, 20, 400))):
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
            file.write_bytes(data)
        else:
            shutil.copy(h.stray / f"{state}.sqlite3", file)

    # Serving, killed

    def serve_killed(self, verb: str, rng: random.Random) -> Result:
        book = self.h.fresh()
        result = Result("killed at a moment", "serve")
        longest_s = 0.6
        if rng.random() < 0.5:  # then it makes the catalogue anew first, and is killed at that
            state, honest = rng.choice(STATES), rng.random() < 0.2
            self._spoil_catalogue(state, rng)
            result.verb, longest_s = f"serve, catalogue {state}", 4.0 if honest else 1.2
            os.environ["TROD_FAULTS_MIGRATE"] = "1" if honest else ""
        ended = errands.serve(self.h, kill_after_s=rng.uniform(0, longest_s))
        os.environ.pop("TROD_FAULTS_MIGRATE", None)
        result.inert = ended.flag
        result.lost += book.lost_in_archive(self.h.archive)
        self.served(result)
        result.lost += [f"{x}, after serving" for x in book.lost_in_archive(self.h.archive)]
        if result.verb != "serve":
            again = child.run(trod("rebuild", "--yes", "--json"))
            if bare(again) or again.status != 0:
                result.bare.append(f"rebuild: status {again.status}: {again.out[-200:]}{again.err.strip()[-200:]}")
        self.finally_whole(result, book)
        return result

    def demo_killed(self, verb: str, rng: random.Random) -> Result:
        """Building the demo is broken off; called again it stands, and is whole."""
        h = self.h
        h.fresh()
        clear(h.home)
        words = ("demo", "--no-browser", "--pictures", "400", "--until", "2026-06-30", "--json")
        ended = child.run(trod(*words), kill_after_s=rng.uniform(0.1, 12.0))
        result = Result("killed at a moment", "demo", inert=not ended.killed)
        again = child.begin(trod(*words)).wait(patience_s=600)
        if again.status != 0:
            result.wrong.append(f"the demo is not built: {again.status} {again.err[-300:]}")
        ended = child.run(trod("verify", "--json"))
        if ended.status != 0:
            result.wrong.append(f"verify: {ended.status} {ended.said.get('sentence')}")
        return result


# Spoiling -------------------------------------------------------------------------------------------------------


def spoil(root: Path, what: str, rng: random.Random, *, kept: bool = True) -> tuple[str, str]:
    """Do one damage below a folder. Returns the path below it, and words on how. kept : kept earlier states, too."""
    files = [p for p in sorted(root.rglob("*")) if p.is_file() and not _hidden(p.relative_to(root), kept)]
    if what == "folder removed":
        folders = sorted({f for p in files for f in p.relative_to(root).parents if f != Path()})
        folder = rng.choice(folders)
        shutil.rmtree(root / folder)
        return folder.as_posix(), ""
    path = rng.choice(files)
    while what in ("bit flipped", "cut", "emptied", "cut at a line end") and not path.stat().st_size:
        path = rng.choice(files)
    data, how = path.read_bytes(), ""
    if what == "cut at a line end":
        while data.count(b"\n") < 2 or b"\0" in data:
            path = rng.choice(files)
            data = path.read_bytes()
        ends = [k + 1 for k, byte in enumerate(data[:-1]) if byte == 10]
        end = rng.choice(ends)
        path.write_bytes(data[:end])
        how = f", to {end} of {len(data)}"
    elif what == "bit flipped":
        at, bit = rng.randrange(len(data)), rng.randrange(8)
        spoilt = bytearray(data)
        spoilt[at] ^= 1 << bit
        path.write_bytes(spoilt)
        how = f", byte {at} bit {bit}"
    elif what == "cut":
        end = rng.randrange(len(data))
        path.write_bytes(data[:end])
        how = f", to {end} of {len(data)}"
    elif what == "emptied":
        path.write_bytes(b"")
    elif what == "file removed":
        path.unlink()
    else:
        raise ValueError(what)
    return path.relative_to(root).as_posix(), how


def _hidden(path: Path, kept: bool) -> bool:
    """Locks, unfinished work, and, unless they are meant too, kept earlier states."""
    return any(part.startswith(".") and not (kept and part in (".papers", ".earlier")) for part in path.parts)


def kind_of_file(path: str) -> str:
    """The row's name of a file: a paper by its own, everything else by what it is."""
    name = path.rsplit("/", 1)[-1]
    if path.startswith("."):
        return "a kept state"
    if "/data/" in path or name == "data" or "/data" in path:
        return "a picture"
    if path.startswith("field-notes"):
        return "a field note" if name.endswith(".json") else "a photo" if "." in name else "field notes"
    if "." not in name:
        return "a folder"
    if name in ("ledger.json", "private.json", "sidecar.json", "identifications.jsonl"):
        return name
    return "a bag's paper" if path.count("/") >= 2 else name


def _named(ended: Ended) -> str:
    """All that an answer says, for a path to be found in it."""
    return json.dumps(ended.said, ensure_ascii=False)


def _base_book(h: House) -> Book:
    """The book of what the backup holds: all but what came after it."""
    book = h.book.copy()
    last = list(book.words)[-1]
    del book.words[last]
    book.records["site grey-lick"].may = [{"slug": "grey-lick"}]
    return book


def _own_mounts() -> bool:
    """A mount namespace of this process's own, so that nothing stays mounted when it is killed."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.unshare(0x00020000) != 0:  # CLONE_NEWNS
        return False
    return _sh("mount", "--make-rprivate", "/", check=False) == 0


def _sh(*words: str, check: bool = True) -> int:
    return subprocess.run(words, check=check, capture_output=True).returncode
