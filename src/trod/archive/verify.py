"""The archive against its register and its manifests: missing, changed, unreadable and unexpected, told apart.

Cheap checks first: papers and bags against the register, the papers of every bag, then which files are there and how
large they are together, then every checksum. Each stage gathers all it finds; one report at the end. Nothing is
changed.
"""

from __future__ import annotations

import contextlib
import os
import stat
import time
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trod.archive import standing, upgrade
from trod.archive.card import Progress, Stop
from trod.archive.card_import import UnfinishedImport, unfinished
from trod.archive.making import INCOMING, UNPLACED
from trod.archive.manifest import (
    BAG_INFO,
    BAGIT,
    MANIFEST,
    PAYLOAD,
    TAG_MANIFEST,
    Manifest,
    bagit_version,
    hash_file,
    read_bag_info,
    read_manifest,
    read_oxum,
)
from trod.archive.register import LOCK as REGISTER_LOCK
from trod.archive.register import REGISTER, TWIN
from trod.archive.sidecar import (
    IDENTIFICATIONS,
    LEDGER,
    LOCK,
    PRIVATE,
    SIDECAR,
    TORN,
    bag_folders,
    folders_of_bags,
    read_identifications,
    read_ledger,
    read_private,
    read_sidecar,
)
from trod.errors import (
    ArchiveDamage,
    CatalogueTrouble,
    FileChanged,
    FileMissing,
    FileUnexpected,
    FileUnreadable,
    Stopped,
    WrongInput,
)

# What a desktop leaves in any folder it shows; no word about it outside of bags. In a bag it is unexpected.
_DESKTOP = {".ds_store", "thumbs.db", "desktop.ini", ".directory"}


@dataclass(frozen=True)
class VerifyReport:
    """What a look at the whole archive, or a part of it, found.

    bags, files, bytes : looked at; files and bytes are those of the payload that manifests name.
    quick : whether the checksums were left out.
    torn : lines of journals and of identifications.jsonl, and JSON files, that cannot be read, in sentences.
    registered : whether the archive is under a register; without one a lost paper or bag cannot be noticed.
    begun : changes of papers that a killed writer left half made; the next one settles them. No damage.
    permissions : what others than its owner can read; no damage either, but a leak.
    unknown_words : {path of identifications.jsonl: how many of its words the catalogue does not know}, where one was
    asked.
    """

    bags: int
    files: int
    bytes: int
    quick: bool
    missing: tuple[FileMissing, ...]
    changed: tuple[FileChanged, ...]
    unreadable: tuple[FileUnreadable, ...]
    unexpected: tuple[FileUnexpected, ...]
    unfinished: tuple[UnfinishedImport, ...]
    torn: tuple[str, ...]
    seconds: float
    registered: bool = True
    begun: tuple[str, ...] = ()
    permissions: tuple[str, ...] = ()
    unknown_words: Mapping[str, int] = field(default_factory=dict)

    @property
    def ok(self) -> bool:
        """Whether every paper and every file looked at is as register and manifests say, and no other is there.

        Wrong modes are left out: they lose nothing, and a backup on a disk that knows none can never have them right.
        """
        return self.whole and self.registered and not self.unknown_words

    @property
    def whole(self) -> bool:
        """Whether nothing is missing, changed, unreadable or unexpected, as far as can be told."""
        return not (self.missing or self.changed or self.unreadable or self.unexpected)

    @property
    def sentence(self) -> str:
        how = "sizes and names only" if self.quick else "every byte"
        looked = f"{self.files} files in {self.bags} bags looked at ({how})"
        told = []
        if self.ok:
            told.append("all as register and manifests say.")
        if not self.whole:
            told.append(
                f"{len(self.missing)} missing, {len(self.changed)} changed, "
                f"{len(self.unreadable)} unreadable, {len(self.unexpected)} unexpected."
            )
        if not self.registered:
            told.append(
                "The archive is not under a register yet, so that a lost paper or bag would not be noticed; look it "
                "through and say trod verify --register."
            )
        if self.unknown_words:
            words, papers = sum(self.unknown_words.values()), len(self.unknown_words)
            told.append(f"{words} words in {papers} files are not in the catalogue; say trod rebuild.")
        return f"{looked}: {' '.join(told)}"

    def as_json(self) -> dict[str, Any]:
        """The report as plain values, for scripts."""

        def plain(found: Iterable[ArchiveDamage]) -> list[dict[str, str]]:
            return [{"path": d.path, "detail": d.detail, "sentence": str(d)} for d in found]

        return {
            "bags": self.bags,
            "files": self.files,
            "bytes": self.bytes,
            "quick": self.quick,
            "missing": plain(self.missing),
            "changed": plain(self.changed),
            "unreadable": plain(self.unreadable),
            "unexpected": plain(self.unexpected),
            "unfinished": [
                {"name": u.name, "files": u.files, "done": u.done, "sentence": u.sentence} for u in self.unfinished
            ],
            "torn": list(self.torn),
            "registered": self.registered,
            "begun": list(self.begun),
            "permissions": list(self.permissions),
            "unknown_words": dict(self.unknown_words),
            "ok": self.ok,
            "seconds": round(self.seconds, 3),
            "sentence": self.sentence,
        }


@dataclass
class _Bag:
    """What is known of one bag while it is looked at. `there` maps a manifest path to (real path, size)."""

    path: str
    folder: Path
    manifest: Manifest | None = None
    oxum: tuple[int, int] | None = None
    there: dict[str, tuple[Path, int]] = field(default_factory=dict)
    complete: bool = True


class _Look:
    """One review: gathers damage, by path and kind at most once."""

    def __init__(self, root: Path, stop: Stop | None) -> None:
        self.root, self.stop = root, stop
        self.found: dict[tuple[type[ArchiveDamage], str], ArchiveDamage] = {}
        self.torn: list[str] = []

    def tell(self, damage: ArchiveDamage) -> None:
        self.found.setdefault((type(damage), damage.path), damage)

    def breathe(self) -> None:
        if self.stop is not None and self.stop():
            raise Stopped("Verifying was stopped. Nothing was changed; begin it anew at any time.")

    # the papers

    def papers(self, bag: _Bag) -> None:
        """bagit.txt, the manifests and all tag files. They are small, so their checksums are always taken."""
        tags = self._manifest(bag, TAG_MANIFEST, payload=False)
        for name in {BAGIT, MANIFEST} | set(tags.files if tags else {}):
            at = f"{bag.path}/{name}"
            try:
                path = bag.folder.joinpath(*name.split("/"))
                if path.is_symlink():
                    self.tell(FileChanged(at, "a link stands in its place"))
                    continue
                sha256, _ = hash_file(path)
            except FileNotFoundError:
                self.tell(FileMissing(at))
            except OSError as problem:
                self.tell(FileUnreadable(at, problem.strerror or str(problem)))
            else:
                if tags is not None and name not in tags.files:
                    self.tell(FileChanged(f"{bag.path}/{TAG_MANIFEST}", f"it does not name {name}"))
                elif tags is not None and sha256 != tags.files[name]:
                    self.tell(FileChanged(at, f"SHA-256 {sha256[:12]}… in place of {tags.files[name][:12]}…"))
        with contextlib.suppress(OSError):
            if bagit_version((bag.folder / BAGIT).read_bytes()) not in ("1.0", "0.97"):
                self.tell(FileChanged(f"{bag.path}/{BAGIT}", "it does not declare BagIt 1.0 in UTF-8"))
        bag.manifest = self._manifest(bag, MANIFEST, payload=True)
        with contextlib.suppress(OSError):
            for label, value in read_bag_info((bag.folder / BAG_INFO).read_bytes()):
                if label.lower() == "payload-oxum":
                    bag.oxum = read_oxum(value)
        if tags is not None:
            named = {BAGIT, MANIFEST, TAG_MANIFEST, PAYLOAD} | {name.split("/")[0] for name in tags.files}
            for item in self._items(bag.folder, bag.path):
                if item.name not in named:
                    self.tell(FileUnexpected(f"{bag.path}/{item.name}"))

    def _manifest(self, bag: _Bag, name: str, *, payload: bool) -> Manifest | None:
        at = f"{bag.path}/{name}"
        try:
            manifest = read_manifest((bag.folder / name).read_bytes(), payload=payload)
        except FileNotFoundError:
            self.tell(FileMissing(at))
            return None
        except OSError as problem:
            self.tell(FileUnreadable(at, problem.strerror or str(problem)))
            return None
        if manifest.faults:
            more = f" and {len(manifest.faults) - 1} more" if len(manifest.faults) > 1 else ""
            self.tell(FileChanged(at, manifest.faults[0] + more))
        return manifest

    def _items(self, folder: Path, at: str) -> list[os.DirEntry[str]]:
        try:
            with os.scandir(folder) as found:
                return sorted(found, key=lambda item: item.name)
        except FileNotFoundError:
            return []
        except OSError as problem:
            self.tell(FileUnreadable(at, problem.strerror or str(problem)))
            return []

    # what is there

    def completeness(self, bag: _Bag) -> None:
        """Which files are there, and whether they are as large together as bag-info.txt says."""
        if bag.manifest is None:
            bag.complete = False
            return
        # A Mac may hand names back in another Unicode form than they were written in.
        wanted = {unicodedata.normalize("NFC", path): path for path in bag.manifest.files}
        closed: list[str] = []
        for path, item in self._payload(bag, closed):
            at = f"{bag.path}/{path}"
            meant = wanted.get(unicodedata.normalize("NFC", path))
            if meant is None or meant in bag.there:
                bag.complete = False
                self.tell(FileUnexpected(at))
                continue
            try:
                status = item.stat(follow_symlinks=False)
            except OSError as problem:
                bag.complete = False
                self.tell(FileUnreadable(at, problem.strerror or str(problem)))
                bag.there[meant] = (Path(item.path), -1)
                continue
            if not stat.S_ISREG(status.st_mode):
                bag.complete = False
                self.tell(FileChanged(at, "a link or something else stands in its place"))
                bag.there[meant] = (Path(item.path), -1)
            else:
                bag.there[meant] = (Path(item.path), status.st_size)
        for path in bag.manifest.files:
            if path in bag.there:
                continue
            bag.complete = False
            if any(path.startswith(f"{folder}/") for folder in closed):
                self.tell(FileUnreadable(f"{bag.path}/{path}", "its folder cannot be read"))
            else:
                self.tell(FileMissing(f"{bag.path}/{path}"))

    def _payload(self, bag: _Bag, closed: list[str]) -> Iterator[tuple[str, os.DirEntry[str]]]:
        todo = [PAYLOAD]
        while todo:
            folder = todo.pop()
            try:
                with os.scandir(bag.folder.joinpath(*folder.split("/"))) as found:
                    items = sorted(found, key=lambda item: item.name)
            except FileNotFoundError:
                continue
            except OSError as problem:
                closed.append(folder)
                self.tell(FileUnreadable(f"{bag.path}/{folder}", problem.strerror or str(problem)))
                continue
            for item in items:
                if item.is_dir(follow_symlinks=False):
                    todo.append(f"{folder}/{item.name}")
                else:
                    yield f"{folder}/{item.name}", item

    def sizes(self, bag: _Bag, *, quick: bool) -> None:
        """Payload-Oxum. It names no file; the checksums of a full look will, so it speaks in a quick one."""
        if bag.oxum is None or not bag.complete or not quick:
            return
        octets, streams = sum(size for _, size in bag.there.values()), len(bag.there)
        if (octets, streams) != bag.oxum:
            detail = (
                f"{octets} bytes in {streams} files, where bag-info.txt says {bag.oxum[0]} in {bag.oxum[1]}; "
                "verify this bag in full to learn which"
            )
            self.tell(FileChanged(f"{bag.path}/{PAYLOAD}", detail))

    # every byte

    def bytes(self, bag: _Bag, tell_done: Progress) -> None:
        if bag.manifest is None:
            return
        for path, (real, size) in bag.there.items():
            if size < 0:
                continue
            self.breathe()
            at, wanted = f"{bag.path}/{path}", bag.manifest.files[path]
            try:
                sha256, read = hash_file(real, from_disk=True)
            except FileNotFoundError:
                self.tell(FileMissing(at))
            except OSError as problem:
                self.tell(FileUnreadable(at, problem.strerror or str(problem)))
            else:
                if sha256 != wanted:
                    detail = f"{read} bytes of SHA-256 {sha256[:12]}… in place of {wanted[:12]}…"
                    self.tell(FileChanged(at, detail))
            tell_done(size, 0)

    # beside the bags

    def beside(self) -> None:
        """What lies outside of bags: strangers, JSON that is not whole, bags that a sidecar misses."""
        self._strangers(self.root, "", {LEDGER, PRIVATE, LOCK, INCOMING, UNPLACED, REGISTER, TWIN, REGISTER_LOCK})
        for read in (read_ledger, read_private):
            try:
                read(self.root)
            except (CatalogueTrouble, OSError) as problem:
                self.torn.append(str(problem))
        for site, deployment, folder in folders_of_bags(self.root):
            at = folder.relative_to(self.root).as_posix()
            self._strangers(folder, at, {IDENTIFICATIONS, TORN, LOCK} | ({SIDECAR} if deployment else set()))
            if site is not None:
                self._strangers(folder.parent, site, set())
            try:
                for name in (read_sidecar(folder) or {}).get("bags", []):
                    if not (folder / str(name)).is_dir():
                        self.tell(FileMissing(f"{at}/{name}"))
            except (CatalogueTrouble, OSError) as problem:
                self.torn.append(str(problem))
            try:
                self.torn += [f"{at}/{line}" for line in read_identifications(folder).torn]
            except OSError as problem:
                self.tell(FileUnreadable(f"{at}/{IDENTIFICATIONS}", problem.strerror or str(problem)))

    def _strangers(self, folder: Path, at: str, allowed: set[str]) -> None:
        for item in self._items(folder, at or "."):
            aside = item.name.removesuffix(".new")  # what an atomic write leaves when it is killed
            known = item.name in allowed or aside in allowed or item.name.lower() in _DESKTOP
            if not known and (item.is_symlink() or not item.is_dir()):
                self.tell(FileUnexpected(f"{at}/{item.name}" if at else item.name))


def verify(
    archive_root: Path,
    *,
    quick: bool = False,
    only: str | Iterable[str] | None = None,
    progress: Progress | None = None,
    stop: Stop | None = None,
) -> VerifyReport:
    """Hold the archive against its manifests and tell all that differs.

    quick : leave out the checksums: a file that changed but kept its size is then not noticed.
    only : paths below the archive (a site, a deployment, a bag); then nothing beside those bags is looked at.
    progress : called with (bytes read, bytes in all).
    Raises WrongInput when there is no archive or `only` names nothing in it, NewerFormat, OlderFormat, and Stopped.
    """
    began = time.monotonic()
    root = Path(archive_root)
    if not root.is_dir():
        raise WrongInput("archive", got=str(archive_root), needed="the archive folder of a TROD_HOME")
    upgrade.format_of(root)
    look = _Look(root, stop)
    bags = [_Bag(folder.relative_to(root).as_posix(), folder) for folder in bag_folders(root)]
    if only is not None:
        wanted = [only.strip("/")] if isinstance(only, str) else [o.strip("/") for o in only]
        for path in wanted:
            if not any(b.path == path or b.path.startswith(f"{path}/") for b in bags):
                raise WrongInput("only", got=path, needed="the path of a site, a deployment or a bag")
        bags = [b for b in bags if any(b.path == w or b.path.startswith(f"{w}/") for w in wanted)]
    else:
        wanted = []
        look.beside()
    stands = standing.look(root, below=tuple(wanted))
    for damage in stands.damage.values():
        look.tell(damage)
    for bag in bags:
        look.breathe()
        look.papers(bag)
    for bag in bags:
        look.breathe()
        look.completeness(bag)
        look.sizes(bag, quick=quick)
    total = sum(max(0, size) for bag in bags for _, size in bag.there.values())
    if not quick:
        done = 0

        def more(size: int, _: int) -> None:
            nonlocal done
            done += size
            if progress is not None:
                progress(done, total)

        for bag in bags:
            look.bytes(bag, more)
    pending = unfinished(root) if only is None else []
    look.torn += [f"{INCOMING}/{u.name}: the journal has a torn line" for u in pending if u.torn]
    found = sorted(look.found.values(), key=lambda d: d.path)
    return VerifyReport(
        bags=len(bags),
        files=sum(len(b.manifest.files) for b in bags if b.manifest is not None),
        bytes=total,
        quick=quick,
        missing=tuple(d for d in found if isinstance(d, FileMissing)),
        changed=tuple(d for d in found if isinstance(d, FileChanged)),
        unreadable=tuple(d for d in found if isinstance(d, FileUnreadable)),
        unexpected=tuple(d for d in found if isinstance(d, FileUnexpected)),
        unfinished=tuple(pending),
        torn=tuple(look.torn),
        seconds=time.monotonic() - began,
        registered=stands.registered,
        begun=tuple(stands.begun),
        permissions=tuple(stands.permissions),
    )
