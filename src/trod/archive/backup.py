"""A second copy of the archive, and the way back.

A bag is never changed, so one that is in the backup already is left alone; what is missing is copied,
flushed, read back and compared with its manifest, and only then gets its place. The papers beside the bags do
change: of each that did, the earlier state is kept under `.earlier/<time>/`. A backup is laid out as the
archive is and has a register of its own, with the archive's identity, so `verify` works on it. What is not as the
source's register says is told and not copied. Nothing is ever deleted, and no bag that differs is overwritten.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from trod.archive import disk, formats, papers, register, rows, upgrade
from trod.archive.card import Progress, Stop
from trod.archive.folders import bag_folders
from trod.archive.making import is_whole
from trod.archive.manifest import MANIFEST, PAYLOAD, TAG_MANIFEST, hash_file, read_manifest
from trod.archive.papers import EARLIER, IDENTIFICATIONS, SIDECAR
from trod.archive.register import BAG_KIND, GONE, Thing
from trod.archive.result import Told
from trod.errors import ArchiveDamage, FileChanged, FileMissing, FileUnreadable, Stopped, WrongInput

COPYING = ".copying"
PART = "part"
TRIES = 4  # how often a paper and the register are read before a difference between them is believed


@dataclass(frozen=True)
class BackupReport:
    """What a backup, or a restore, did.

    bags_copied, bags_there, bags_moved : new in the target; there already; there under an old path and moved.
    papers : ledger, sidecars and words that were written.
    earlier : where the earlier states of papers were put, below the target.
    damaged : files of the source that are not as their manifest says, and were therefore not copied.
    refused : files that were not written because the target holds another one there, or cannot hold it.
    fewer : papers that were copied although they hold less than the copy did, no deletion being on record; the fuller
        state is in `earlier`. Or, of a restore, papers that came back in an older state than the archive last had.
    """

    bags_copied: int
    bags_there: int
    bags_moved: int
    files: int
    bytes: int
    papers: int
    earlier: tuple[str, ...]
    damaged: tuple[ArchiveDamage, ...]
    refused: tuple[Told, ...]
    fewer: tuple[Told, ...]
    seconds: float

    @property
    def ok(self) -> bool:
        """Whether the target now holds all that the source holds."""
        return not self.damaged and not self.refused and not self.fewer

    @property
    def sentence(self) -> str:
        done = (
            f"{self.files} files ({self.bytes} bytes) and {self.papers} papers copied and compared; "
            f"{self.bags_there} bags were there already."
        )
        if self.ok:
            return done
        told = f"{done} {len(self.damaged)} files are damaged at their source and {len(self.refused)} were refused"
        if self.fewer:
            told += f"; {len(self.fewer)} papers hold less than before, and the fuller state was kept"
        return f"{told}; nothing was overwritten. Look at each of them."

    def as_json(self) -> dict[str, Any]:
        """The report as plain values, for scripts."""
        return {
            "bags_copied": self.bags_copied,
            "bags_there": self.bags_there,
            "bags_moved": self.bags_moved,
            "files": self.files,
            "bytes": self.bytes,
            "papers": self.papers,
            "earlier": list(self.earlier),
            "damaged": [{"path": d.path, "sentence": str(d)} for d in self.damaged],
            "refused": [{"path": t.path, "what": t.what, "sentence": t.sentence} for t in self.refused],
            "fewer": [{"path": t.path, "what": t.what, "sentence": t.sentence} for t in self.fewer],
            "ok": self.ok,
            "seconds": round(self.seconds, 3),
            "sentence": self.sentence,
        }


def backup(
    archive_root: Path,
    dest: Path,
    *,
    now: datetime,
    progress: Progress | None = None,
    stop: Stop | None = None,
) -> BackupReport:
    """Bring the copy of the archive in `dest` up to date. Unfinished imports are not copied.

    now : an aware instant, for the name under which earlier states of papers are kept.
    progress : called with (bytes done, bytes in all).
    Raises WrongInput, NewerFormat, OlderFormat, Stopped, DiskFull, ArchiveUnwritable; called again it goes on.
    """
    if now.tzinfo is None:
        raise WrongInput("now", got=now, needed="an aware instant")
    return _Carry(Path(archive_root), Path(dest), progress, stop, stamp=now.astimezone(UTC)).run()


def restore(
    src: Path, archive_root: Path, *, progress: Progress | None = None, stop: Stop | None = None
) -> BackupReport:
    """Bring back from a backup what the archive lacks. What is there and differs is told and left as it is.

    Raises as `backup`.
    """
    return _Carry(Path(src), Path(archive_root), progress, stop, stamp=None).run()


@dataclass
class _Task:
    """One bag to copy, or to complete. files : {path below the bag: SHA-256} of what is to be copied."""

    path: str
    files: dict[str, str]
    whole: bool
    size_bytes: int = 0


@dataclass
class _Carry:
    """Carries bags and papers from one root to another. stamp : None when nothing may be overwritten."""

    source: Path
    target: Path
    progress: Progress | None
    stop: Stop | None
    stamp: datetime | None
    bags_copied: int = 0
    bags_there: int = 0
    bags_moved: int = 0
    files: int = 0
    size_bytes: int = 0
    total: int = 0
    papers: int = 0
    earlier: list[str] = field(default_factory=list)
    damaged: list[ArchiveDamage] = field(default_factory=list)
    refused: list[Told] = field(default_factory=list)
    fewer: list[Told] = field(default_factory=list)
    view: register.View = field(default_factory=lambda: register.View(None))

    def run(self) -> BackupReport:
        began = time.monotonic()
        source, target = self.source.resolve(), self.target.resolve()
        if not source.is_dir():
            raise WrongInput("source", got=str(self.source), needed="the folder of an archive or its backup")
        if source == target or source in target.parents or target in source.parents:
            raise WrongInput("target", got=str(self.target), needed="a folder not in or around the source")
        for root in (source, target):
            upgrade.format_of(root)
        with disk.trouble_told(self.target, "files were copied"):
            disk.make_folder(self.target)
            with disk.Lock(self.target / ".lock", wait_s=1):
                bare = self._registers()
                for path in self._papers():
                    self._breathe()
                    self._paper(path)
                tasks = list(self._tasks())
                self.total = sum(task.size_bytes for task in tasks)
                for task in tasks:
                    self._bag(task)
                with contextlib.suppress(OSError):
                    (self.target / COPYING).rmdir()
                if bare and self.view.state is not None and self.stamp is not None:
                    papers.enrol(self.target, archive=self.view.state.archive)
        return BackupReport(
            bags_copied=self.bags_copied,
            bags_there=self.bags_there,
            bags_moved=self.bags_moved,
            files=self.files,
            bytes=self.size_bytes,
            papers=self.papers,
            earlier=tuple(self.earlier),
            damaged=tuple(self.damaged),
            refused=tuple(self.refused),
            fewer=tuple(self.fewer),
            seconds=time.monotonic() - began,
        )

    def _breathe(self) -> None:
        if self.stop is not None and self.stop():
            raise Stopped("The copying was stopped. What was done is kept; begin again to go on.")

    # the registers

    def _registers(self) -> bool:
        """Read the source's register and see that the target is a copy of this archive; whether it has none yet."""
        self.view = register.read(self.source)
        mine, theirs = self.view.state, register.read(self.target)
        for fault in self.view.faults:
            if not fault.late:
                self.damaged.append(FileChanged(fault.name, fault.detail))
        if mine is None:
            if theirs.there and not self.view.there:
                self.damaged.append(FileMissing(register.REGISTER))
            return False
        if theirs.state is not None and theirs.state.archive != mine.archive:
            raise WrongInput("target", got=str(self.target), needed="a copy of this archive; that is one of another")
        papers.found_archive(self.target, mine.archive, number=mine.format)
        if theirs.state is not None and theirs.state.format < mine.format:
            with papers.held(self.target) as writer:
                assert writer is not None
                writer.renew(of_format=mine.format)
        begun = mine.before if mine.last is not None and not mine.last.done else {}
        for path, thing in mine.things.items():
            if thing.kind == BAG_KIND and not self._at(self.source, path).is_dir() and path not in begun:
                self.damaged.append(FileMissing(path))
        return not register.read(self.target).there

    def _thing(self, path: str) -> Thing | None:
        return self.view.state.things.get(path) if self.view.state is not None else None

    # papers

    def _papers(self) -> Iterator[str]:
        there = [path for path in papers.all_papers(self.source) if not path.startswith(f"{EARLIER}/")]
        yield from there
        if self.view.state is not None:
            for path, thing in self.view.state.things.items():
                gone = thing.kind in (BAG_KIND, GONE) or path.startswith(f"{EARLIER}/")
                if not gone and path not in there:
                    yield path

    def _read(self, path: str) -> bytes | None:
        """A paper of the source that is as its register says; None for one that is not, which is told.

        A writer may be at work meanwhile, so both are read again before anything is said.
        """
        for attempt in range(TRIES):
            try:
                data = papers.bytes_of(self.source, path)
            except OSError as problem:
                self.damaged.append(FileUnreadable(path, problem.strerror or str(problem)))
                return None
            state, thing = self.view.state, self._thing(path)
            if state is None or (thing is None and data is not None):
                return data
            found = None if data is None or thing is None else papers.thing_of(data, thing.kind)
            begun = state.last is not None and not state.last.done and path in state.before
            if papers.same(found, thing) or (begun and papers.same(found, state.before[path])):
                return data
            if attempt + 1 < TRIES:
                self.view = register.read(self.source)
        if data is None:
            self.damaged.append(FileMissing(path))
        else:
            self.damaged.append(FileChanged(path, "the register says otherwise; it was not copied"))
        return None

    def _paper(self, path: str) -> None:
        new = self._read(path)
        if new is None:
            return
        old = papers.bytes_of(self.target, path)
        if old == new:
            return
        thing = self._thing(path)
        if old is not None:
            if self.stamp is None:
                self._refuse(path, "is there already and differs; it was left as it is")
                return
            grown = path.endswith(IDENTIFICATIONS) and new.startswith(old)  # then the new state holds the old one
            if not grown:
                self._keep_earlier(path, old)
                self._compare(path, old, new)
        elif self.stamp is None:
            self._tell_older(path, new)
        kind = thing.kind if thing is not None else papers.kind_of(self.source, path)
        records = thing.records if thing is not None else None
        papers.put(self.target, path, new, kind=kind, records=records, keep=False, over_damage=True)
        if self._at(self.target, path).read_bytes() != new:
            raise FileChanged(path, "the disk gave back other bytes than were written")
        self.papers += 1

    def _compare(self, path: str, old: bytes, new: bytes) -> None:
        """Tell of a paper that holds less than its copy did, when nothing says that it was meant."""
        before, after = _fields(old), _fields(new)
        lost = rows.vanished(before, after)
        if lost and path.endswith(SIDECAR):
            elsewhere = rows.stand_elsewhere(self.source, path, lost)
            lost = [row for row in lost if row not in elsewhere]
        if path.endswith(IDENTIFICATIONS):
            lines = old.count(b"\n") - new.count(b"\n")
            told = f"{lines} lines fewer" if lines > 0 else "other lines"
        elif lost or (before and not after):
            told = f"{len(lost)} records fewer, and no deletion of them is on record"
        else:
            return
        kept = self.earlier[-1] if self.earlier else EARLIER
        self.fewer.append(Told(path, "fewer", f"has {told}; it was copied, and the state before it lies in {kept}"))

    def _tell_older(self, path: str, new: bytes) -> None:
        """Tell of a paper that comes back in another state than the archive last had."""
        state = register.read(self.target).state
        known = state.things.get(path) if state is not None else None
        if known is not None and known.kind != GONE and not papers.same(papers.thing_of(new, known.kind), known):
            self.fewer.append(Told(path, "older", "came back in an older state than the archive last had"))

    def _refuse(self, path: str, sentence: str, what: str = "differs") -> None:
        self.refused.append(Told(path, what, sentence))

    def _keep_earlier(self, path: str, old: bytes) -> None:
        assert self.stamp is not None
        stamp, count = f"{self.stamp:%Y-%m-%dT%H%M%SZ}", 1
        kept = f"{EARLIER}/{stamp}/{path}"
        while self._at(self.target, kept).exists():
            count += 1
            kept = f"{EARLIER}/{stamp}-{count}/{path}"
        papers.put(self.target, kept, old, kind="file", keep=False)
        self.earlier.append(kept)

    @staticmethod
    def _at(root: Path, path: str) -> Path:
        return root.joinpath(*path.split("/"))

    # bags

    def _tasks(self) -> Iterator[_Task]:
        """What there is to copy, in the order of the archive."""
        elsewhere = {_fingerprint(bag): bag for bag in bag_folders(self.target)}
        for bag in bag_folders(self.source, self._unread):
            self._breathe()
            path = bag.relative_to(self.source).as_posix()
            files = self._files(bag, path)
            if files is None:
                continue
            place, fingerprint = self._at(self.target, path), _fingerprint(bag)
            other = elsewhere.get(fingerprint)
            if not place.exists() and other is not None:
                other_path = other.relative_to(self.target).as_posix()
                if self.stamp is None or self._at(self.source, other_path).exists():
                    self.bags_there += 1  # the same bag, known here under another path
                    continue
                disk.make_folder(place.parent)
                papers.move_bag(self.target, other_path, path, partial(_carry, other, place))
                self.bags_moved += 1
            if not place.exists():
                yield self._sized(_Task(path, files, whole=True))
            elif not self._is_same(place, path, fingerprint):
                self._refuse(path, "is there already and is another bag; it was left as it is")
            else:
                lacking = self._lacking(bag, place, path, files)
                if lacking:
                    yield self._sized(_Task(path, lacking, whole=False))
                else:
                    self.bags_there += 1

    def _is_same(self, place: Path, path: str, fingerprint: str) -> bool:
        """Whether the bag in the target is this one: by its tag manifest, or, where that is gone, by the register."""
        if (place / TAG_MANIFEST).exists():
            return _fingerprint(place) == fingerprint
        state = register.read(self.target).state
        known = state.things.get(path) if state is not None else None
        return known is not None and known.kind == BAG_KIND and known.sha256 == fingerprint

    def _unread(self, folder: Path, problem: OSError) -> None:
        """A folder of the source that cannot be listed hides bags; what is in it is not copied."""
        at = folder.relative_to(self.source).as_posix()
        self.damaged.append(FileUnreadable(at, problem.strerror or str(problem)))

    def _files(self, bag: Path, path: str) -> dict[str, str] | None:
        """{path below the bag: SHA-256} of all files of a bag, the papers after the pictures."""
        try:
            tag_bytes = (bag / TAG_MANIFEST).read_bytes()
            tags = read_manifest(tag_bytes, payload=False).files
            manifest = (bag / MANIFEST).read_bytes()
        except FileNotFoundError as problem:
            self.damaged.append(FileMissing(f"{path}/{Path(problem.filename).name}"))
            return None
        except OSError as problem:
            self.damaged.append(FileUnreadable(path, problem.strerror or str(problem)))
            return None
        if hashlib.sha256(manifest).hexdigest() != tags.get(MANIFEST):
            self.damaged.append(FileChanged(f"{path}/{MANIFEST}", "its tag manifest says otherwise"))
            return None
        thing = self._thing(path)
        if thing is not None and thing.kind == BAG_KIND and hashlib.sha256(tag_bytes).hexdigest() != thing.sha256:
            self.damaged.append(FileChanged(f"{path}/{TAG_MANIFEST}", "the register says otherwise"))
            return None
        payload = read_manifest(manifest).files
        return {**payload, **tags, TAG_MANIFEST: hashlib.sha256(tag_bytes).hexdigest()}

    def _lacking(self, bag: Path, place: Path, path: str, files: Mapping[str, str]) -> dict[str, str]:
        """The files of a bag that its copy does not have. One of another size is told and left."""
        lacking = {}
        for name, sha256 in files.items():
            try:
                size = self._at(place, name).stat().st_size
            except FileNotFoundError:
                lacking[name] = sha256
                continue
            with contextlib.suppress(OSError):
                if self._at(bag, name).stat().st_size != size:
                    self._refuse(f"{path}/{name}", "is there already with another size; it was left as it is")
        return lacking

    def _sized(self, task: _Task) -> _Task:
        for name in task.files:
            with contextlib.suppress(OSError):
                task.size_bytes += self._at(self.source, f"{task.path}/{name}").stat().st_size
        return task

    def _bag(self, task: _Task) -> None:
        """Copy what a task names; a whole bag gets its place in one step, when all of it is firm."""
        aside = self.target / COPYING
        making = aside / task.files[TAG_MANIFEST][:32] if task.whole else None
        disk.make_folder(making or aside)
        done = []
        for name, sha256 in task.files.items():
            self._breathe()
            place = self._at(making, name) if making else aside / PART
            if making and is_whole_of_any_size(place, sha256):  # from a run that was broken off
                self._count(place)
                done.append(place)
                continue
            if not self._copy(task, name, sha256, place):
                continue
            self._count(place)
            if making:
                done.append(place)
            else:
                target = self._at(self.target, f"{task.path}/{name}")
                self._firm(place, f"{task.path}/{name}", sha256)
                disk.make_folder(target.parent)
                disk.rename(place, target)
                disk.flush_folder(target.parent)
        if not making:
            return
        sums = {self._at(making, name): (name, sha256) for name, sha256 in task.files.items()}
        if not {name for name in task.files if not name.startswith(f"{PAYLOAD}/")} <= {sums[p][0] for p in done}:
            return  # without its papers it would be no bag: it stays aside for the next run, and is told as damaged
        for place in done:
            self._breathe()
            self._firm(place, f"{task.path}/{sums[place][0]}", sums[place][1])
        for folder in {place.parent for place in done}:
            disk.flush_folder(folder)
        target = self._at(self.target, task.path)
        disk.make_folder(target.parent)
        papers.give_place(self.target, task.path, task.files[TAG_MANIFEST], partial(_carry, making, target))
        self.bags_copied += 1

    def _count(self, place: Path) -> None:
        self.files += 1
        self.size_bytes += place.stat().st_size
        if self.progress is not None:
            self.progress(min(self.size_bytes, self.total), self.total)

    def _copy(self, task: _Task, name: str, sha256: str, place: Path) -> bool:
        """Copy one file and compare what was read with its manifest. False when it is not to be had."""
        path = f"{task.path}/{name}"
        disk.make_folder(place.parent)
        disk.remove(place)
        try:
            source_fd = disk.open_read(self._at(self.source, path))
        except FileNotFoundError:
            self.damaged.append(FileMissing(path))
            return False
        except OSError as problem:
            self.damaged.append(FileUnreadable(path, problem.strerror or str(problem)))
            return False
        good = False
        try:
            status = os.fstat(source_fd)
            fd = disk.create(place)
            try:
                good = self._pour(source_fd, fd, path, sha256)
            finally:
                os.close(fd)
            with contextlib.suppress(OSError):  # some targets keep no such times
                os.utime(place, ns=(status.st_mtime_ns, status.st_mtime_ns))
        finally:
            os.close(source_fd)
            if not good:
                disk.remove(place)
        return good

    def _pour(self, source_fd: int, fd: int, path: str, sha256: str) -> bool:
        digest, buffer = hashlib.sha256(), bytearray(disk.BUFFER_BYTES)
        view = memoryview(buffer)
        with open(source_fd, "rb", buffering=0, closefd=False) as file:
            while True:
                try:
                    count = file.readinto(buffer)
                except OSError as problem:
                    self.damaged.append(FileUnreadable(path, problem.strerror or str(problem)))
                    return False
                if not count:
                    break
                digest.update(view[:count])
                try:
                    disk.write(fd, view[:count])
                except OSError as problem:
                    if problem.errno != errno.EFBIG:
                        raise
                    self._refuse(path, "is larger than the target's disk can hold (FAT32: 4 GiB)", "big")
                    return False
        if digest.hexdigest() != sha256:
            self.damaged.append(FileChanged(path, "its manifest says otherwise; it was not copied"))
            return False
        return True

    def _firm(self, place: Path, path: str, sha256: str) -> None:
        """Flush a copy and read it back from the disk."""
        fd = os.open(place, os.O_RDWR | getattr(os, "O_BINARY", 0))
        try:
            disk.flush(fd)
        finally:
            os.close(fd)
        if hash_file(place, from_disk=True)[0] != sha256:
            raise FileChanged(path, "the target's disk gave back other bytes than were written")


def _carry(old: Path, new: Path) -> None:
    disk.rename(old, new)
    disk.flush_folder(new.parent)
    disk.flush_folder(old.parent)


def _fields(data: bytes) -> dict[str, Any]:
    """The fields of a paper in today's format; none for what is no JSON object."""
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(found, dict):
        return {}
    number = found.get("trod")
    if not isinstance(number, int) or not formats.oldest() <= number < formats.FORMAT:
        return found
    rest = {name: value for name, value in found.items() if name not in ("trod", "kind")}
    return formats.lift_paper(number, str(found.get("kind")), rest)


def is_whole_of_any_size(path: Path, sha256: str) -> bool:
    """Whether a file is there with these bytes."""
    try:
        return is_whole(path, sha256, path.stat().st_size, deep=True)
    except OSError:
        return False


def _fingerprint(bag: Path) -> str:
    """What makes a bag itself wherever it lies: the checksum of its tag manifest, which covers all of it."""
    try:
        return hash_file(bag / TAG_MANIFEST)[0]
    except OSError:
        return f"unreadable: {bag}"
