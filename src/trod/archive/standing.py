"""The archive against its register: every paper, every bag, every kept state, and the register's own two files.

Nothing is changed. While another process is at work the register grows; then the look is taken again, so that a
change in the middle of being made is never called damage.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from trod.archive import earlier, papers, register
from trod.archive.folders import bag_folders, folders_in, folders_of_bags
from trod.archive.manifest import TAG_MANIFEST, hash_file
from trod.archive.register import BAG_KIND, GONE, WORDS_KIND, Line, Thing, View
from trod.errors import ArchiveDamage, FileChanged, FileMissing, FileUnexpected, FileUnreadable

LOOKS = 5  # a writer that is never done for so many looks is taken as it stands then


@dataclass
class Standing:
    """What the register says of an archive.

    registered : whether there is a register at all.
    damage : one of each kind and path.
    begun : changes that a killed writer left half made, in sentences; no damage, the next writer settles them.
    permissions : what others than its owner can read, in sentences.
    """

    registered: bool = True
    damage: dict[tuple[type[ArchiveDamage], str], ArchiveDamage] = field(default_factory=dict)
    begun: list[str] = field(default_factory=list)
    permissions: list[str] = field(default_factory=list)

    def tell(self, damage: ArchiveDamage) -> None:
        """Note one damage; the first word about a path stands."""
        self.damage.setdefault((type(damage), damage.path), damage)


def look(root: Path, *, below: tuple[str, ...] = ()) -> Standing:
    """Hold the archive against its register. below : only what lies at or below these paths; all when empty."""
    for _ in range(LOOKS):
        before = _signature(root)
        found = _Look(root, below).run()
        if not found.damage or before == _signature(root):
            break
    return found


def _signature(root: Path) -> list[tuple[int, ...]]:
    found: list[tuple[int, ...]] = []
    for name in register.TWINS:
        try:
            status = (root / name).stat()
        except OSError:
            continue
        found.append((status.st_ino, status.st_size, status.st_mtime_ns))
    return found


class _Look:
    """One look."""

    def __init__(self, root: Path, below: tuple[str, ...]) -> None:
        self.root, self.below, self.found = root, below, Standing()
        self.view: View = register.read(root)
        last = self.view.state.last if self.view.state is not None else None
        self.pending: Line | None = last if last is not None and not last.done else None

    def run(self) -> Standing:
        if not self.below:
            self._permissions()
        if not self.view.there:
            self.found.registered = papers.is_bare(self.root)  # what holds nothing yet needs none yet
            return self.found
        if self.view.state is None or self.view.broken:
            for name in register.TWINS:
                self.found.tell(FileChanged(name, f"the register cannot be used: {self.view.broken}"))
            return self.found
        self._twins()
        for path, thing in sorted(self.view.state.things.items()):
            if self._is_asked(path):
                self._thing(path, thing)
                self._kept(path, thing)
        self._missing_folders()
        self._unknown()
        return self.found

    def _is_asked(self, path: str) -> bool:
        return not self.below or any(path == b or path.startswith(f"{b}/") for b in self.below)

    # the register's own files

    def _twins(self) -> None:
        for fault in self.view.faults:
            if fault.late and self._may_be_late(fault.missing or "older" in fault.detail or "torn" in fault.detail):
                self.found.begun.append(f"{fault.name}: {fault.detail}; the next change of the archive completes it")
                continue
            other = next(name for name in register.TWINS if name != fault.name)
            # A backup's register is another one, so nobody is sent there for it.
            remedy = f"Leave it: the next change of the archive mends it from {other}."
            if fault.missing:
                self.found.tell(FileMissing(fault.name, remedy=remedy))
            else:
                self.found.tell(FileChanged(fault.name, f"{fault.detail}; {other} has it", remedy))

    def _may_be_late(self, verified: bool) -> bool:
        """Whether the second file may lack the last line: only while its change has not come about yet."""
        if verified:
            return True
        if self.pending is None or self.view.state is None:
            return False
        if self.pending.fields["op"] == "have":
            return True
        try:
            return papers.last_stands(self.root, self.view.state) == "before"
        except OSError:
            return False

    # what must be there

    def _thing(self, path: str, thing: Thing) -> None:
        if thing.kind == GONE:
            return
        try:
            found = papers.thing_on_disk(self.root, path, thing.kind)
        except OSError as problem:
            self.found.tell(FileUnreadable(path, problem.strerror or str(problem)))
            return
        if papers.same(found, thing) or self._is_begun(path, found):
            return
        if found is None:
            if thing.kind != BAG_KIND or not papers.place_of(self.root, path).is_dir():
                self.found.tell(FileMissing(path))  # of a bag that is there the tag manifest itself is told
        elif thing.kind == BAG_KIND:
            self.found.tell(FileChanged(f"{path}/{TAG_MANIFEST}", "its checksum is not the one in the register"))
        elif thing.kind == WORDS_KIND and papers.begins_with(self.root, path, thing):
            more = (found.records or 0) - (thing.records or 0)
            self.found.tell(FileChanged(path, f"{more} lines more than the register tells of"))
        else:
            what = f"{found.size_bytes} bytes, where the register says {thing.size_bytes}"
            if found.size_bytes == thing.size_bytes:
                what = f"SHA-256 {found.sha256[:12]}… in place of {thing.sha256[:12]}…"
            self.found.tell(FileChanged(path, what))

    def _is_begun(self, path: str, found: Thing | None) -> bool:
        """Whether a path stands as it did before the last change, which nobody marked as made."""
        state = self.view.state
        if self.pending is None or state is None or path not in state.before:
            return False
        before = state.before[path]
        between = found is not None and found.kind == WORDS_KIND and papers.begins_with(self.root, path, before)
        if not between and not papers.same(found, before):
            return False
        told = f"{path}: a change was begun and did not come about; what was there before it stands"
        if told not in self.found.begun:
            self.found.begun.append(told)
        return True

    def _kept(self, path: str, thing: Thing) -> None:
        keeps = self.pending.fields.get("keeps") if self.pending is not None else None
        for kept in thing.kept:
            at = f"{earlier.FOLDER}/{kept.name}"
            try:
                sha256, _ = hash_file(earlier.place_of(self.root, kept.name))
            except FileNotFoundError:
                if keeps is None or keeps["name"] != kept.name:
                    self.found.tell(FileMissing(at))
            except OSError as problem:
                self.found.tell(FileUnreadable(at, problem.strerror or str(problem)))
            else:
                if sha256 != kept.sha256:
                    self.found.tell(FileChanged(at, f"an earlier state of {path}, not as it was kept"))

    def _missing_folders(self) -> None:
        assert self.view.state is not None
        gone = set()
        for path, thing in self.view.state.things.items():
            if thing.kind == GONE or not self._is_asked(path):
                continue
            parts = path.split("/")
            gone |= {"/".join(parts[:n]) for n in range(1, len(parts))}
        missing = {path for path in gone if not papers.place_of(self.root, path).is_dir()}
        moved = set(self.view.state.before) if self.pending is not None else set()
        for path in sorted(missing):
            if not any(p.startswith(f"{path}/") for p in moved):
                self.found.tell(FileMissing(path))

    # what need not be there

    def _unknown(self) -> None:
        assert self.view.state is not None
        things, pending = self.view.state.things, self.pending
        known = {path for path, thing in things.items() if thing.kind != GONE}
        if pending is not None:
            known |= set(self.view.state.before)
        hint = "not in the register; if it belongs here, say trod verify --register"
        for path in papers.all_papers(self.root):
            if path not in known and self._is_asked(path):
                self.found.tell(FileUnexpected(path, hint))
        for bag in bag_folders(self.root):
            path = papers.path_of(self.root, bag)
            if path not in known and self._is_asked(path):
                self.found.tell(FileUnexpected(path, f"a bag that is {hint}"))
        if self.below:
            return
        kept = {f"{earlier.FOLDER}/{k.name}" for thing in things.values() for k in thing.kept}
        if self.view.state.last is not None:
            fields = self.view.state.last.fields
            kept |= {f"{earlier.FOLDER}/{name}" for name in fields.get("drops", ())}
        kept |= self._kept_before()
        for path in _files_below(self.root, earlier.FOLDER):
            if path not in kept and not path.split("/")[1].startswith("register"):
                self.found.tell(FileUnexpected(path, "an earlier state that the register does not tell of"))

    def _kept_before(self) -> set[str]:
        assert self.view.state is not None
        before = (t for t in self.view.state.before.values() if t is not None)
        return {f"{earlier.FOLDER}/{k.name}" for t in before for k in t.kept} if self.pending is not None else set()

    # who may read

    def _permissions(self) -> None:
        if os.name == "nt":  # there the folder of its owner is closed to others by itself
            return
        folders = [self.root]
        for site, _, folder in folders_of_bags(self.root):
            folders += [folder] if site is None else [folder.parent, folder]
        folders += [f for f in (self.root / papers.NOTES, self.root / earlier.FOLDER) if f.is_dir()]
        files = [papers.place_of(self.root, path) for path in papers.all_papers(self.root)]
        files += [self.root / name for name in register.TWINS if (self.root / name).exists()]
        files += [papers.place_of(self.root, path) for path in _files_below(self.root, earlier.FOLDER)]
        for place in [*dict.fromkeys(folders), *files]:
            try:
                mode = stat.S_IMODE(place.stat().st_mode)
            except OSError:
                continue
            if mode & 0o077:
                needed = 0o700 if place.is_dir() else 0o600
                path = papers.path_of(self.root, place)
                path = "the archive's own folder" if path == "." else path
                self.found.permissions.append(f"{path}: mode {mode:04o}, which lets others in; needed: {needed:04o}")


def _files_below(root: Path, path: str) -> Iterator[str]:
    for file in sorted((root / path).rglob("*")):
        if file.is_file() and not file.name.endswith(".new"):
            yield papers.path_of(root, file)


def close_to_others(root: Path) -> int:
    """Put the modes right that `look` tells of, where the disk knows modes; how many were wrong."""
    if os.name == "nt":
        return 0
    changed = 0
    todo = [root, *(f for site in folders_in(root) for f in [site, *folders_in(site)])]
    todo += list((root / earlier.FOLDER).rglob("*"))
    todo += [root / earlier.FOLDER, *(papers.place_of(root, p) for p in papers.all_papers(root))]
    todo += [root / name for name in register.TWINS]
    for place in dict.fromkeys(todo):
        if place.exists() and not place.is_symlink() and stat.S_IMODE(place.stat().st_mode) & 0o077:
            place.chmod(0o700 if place.is_dir() else 0o600)
            changed += 1
    return changed
