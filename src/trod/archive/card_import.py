"""From a card to a bag: copy, hash, flush, read back, and only then say so.

A bag is made in `.incoming/<name>/` (see `making`). Each file is read once from the source, hashed on the
way, flushed, read back from the disk and compared, renamed into the bag, and then, a group at a time, entered
in the journal. When all is there the tag files are written and the bag is renamed to its place, whole. Killed
at any moment, everything the journal speaks of is there, and `resume` does the rest. Nothing is ever written
to the source.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections import deque
from collections.abc import Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor, TimeoutError
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from trod.archive import disk, register
from trod.archive.card import CardListing, Entry, Progress, Stop, changes_since, scan
from trod.archive.content import Problem
from trod.archive.copying import AlreadyHave, Copier, Foreign, Group, Part, ReadFailed, Unsettled
from trod.archive.finishing import (
    ALREADY_KEPT,
    CARD_NAMES,
    TOLD,
    finish,
    is_placed,
    result_of,
    sweep,
    tidy,
)
from trod.archive.making import (
    INCOMING,
    JOURNAL,
    NAME,
    PLAN,
    UNPLACED,
    Item,
    Making,
    Placement,
    alone,
    is_whole,
    read_making,
    really_there,
    source_alone,
)
from trod.archive.manifest import PAYLOAD
from trod.archive.names import printable, safe_paths
from trod.archive.result import Copy, Duplicate, ImportResult, Told
from trod.archive.verdict import words_of
from trod.errors import (
    CardTrouble,
    NothingFound,
    SourceChanged,
    SourceVanished,
    Stopped,
    TrodError,
    WrongInput,
)

__all__ = [
    "ALREADY_KEPT",
    "CARD_NAMES",
    "INCOMING",
    "TOLD",
    "UNPLACED",
    "Copy",
    "Duplicate",
    "ImportResult",
    "Placement",
    "Told",
    "UnfinishedImport",
    "import_card",
    "resume",
    "source_alone",
    "unfinished",
]

# Measured: docs/measured.md, Import.
WORKERS = 2
AHEAD = 24  # files being copied, or copied and waiting, at most


@dataclass(frozen=True)
class UnfinishedImport:
    """An import that was begun and not ended."""

    name: str
    path: Path
    source: Path
    place: Placement
    begun: datetime
    files: int
    done: int
    bytes: int
    bytes_done: int
    torn: bool

    @property
    def sentence(self) -> str:
        return (
            f"The import {self.name} from {self.source} is unfinished: {self.done} of {self.files} files are "
            "in. Put the card in again and resume it."
        )


# Importing -----------------------------------------------------------------------------------------------


def import_card(
    listing: CardListing,
    archive_root: Path,
    *,
    place: Placement,
    name: str,
    about: Mapping[str, str],
    already_have: AlreadyHave,
    now: datetime,
    read_back: bool = True,
    progress: Progress | None = None,
    stop: Stop | None = None,
    foreign: Foreign | None = None,
) -> ImportResult:
    """Take a card, or any folder of pictures, into the archive as one bag.

    listing : what `card.scan` found.
    place, name : the folder of the bag and its name there (letters, digits, `.`, `_`, `-`).
    about : labels and values for bag-info.txt; Payload-Oxum and Bagging-Date are added.
    already_have : asked with a SHA-256 in hex, in the calling thread; the paths below the archive of files
        with these bytes, one or several, or None. One is believed only if that file is there with the right size
        and, when `read_back` is on, the right bytes.
    now : an aware instant; its date becomes the Bagging-Date.
    read_back : read every copy again from the disk and compare. Off only for a disk you trust.
    progress : called in the calling thread with (bytes done, bytes in all).
    stop : asked often, in the calling thread; when True, what is done is kept and Stopped raised.
    foreign : tells of an entry whether another camera made it; such a file is copied and told.

    Raises NothingFound, WrongInput, and, each resumable by `resume`: Stopped, DiskFull, ArchiveUnwritable,
    SourceVanished, FileChanged or FileUnreadable (a copy twice read back wrongly: do not trust that disk).
    """
    if now.tzinfo is None:
        raise WrongInput("now", got=now, needed="an aware instant")
    if not NAME.fullmatch(name):
        raise WrongInput("name", got=name, needed="1 to 100 of a-z A-Z 0-9 . _ -, a letter or digit first")
    for label in about:
        if label.lower() in ("payload-oxum", "bagging-date"):
            raise WrongInput("about", got=label, needed="labels other than Payload-Oxum and Bagging-Date")
    root = Path(archive_root)
    _keep_apart(listing.source, root)
    if not listing.taken:
        raise NothingFound(f"No picture or clip lies below {listing.source}. Give the folder of the card.")
    targets = safe_paths(e.path for e in listing.taken)
    register.heed(register.read(root))  # before hours of copying
    making = Making(
        root=root,
        name=name,
        source=listing.source,
        place=place,
        about=dict(about),
        now=now,
        read_back=read_back,
        items=[Item(e, f"{PAYLOAD}/{targets[e.path]}") for e in listing.taken],
        left=[_left(e) for e in listing.left],
        notes=list(listing.notes),
        trouble=_trouble(listing),
    )
    with disk.trouble_told(root, "the import was begun"):
        disk.make_folder(root / INCOMING)
    with source_alone(root, listing.source), alone(root, name):
        if making.home.exists():
            raise WrongInput("name", got=name, needed="a new name, for one so named is unfinished; resume it")
        if making.destination.exists():
            raise WrongInput("name", got=name, needed=f"a new name, for {making.bag_path} is already there")
        with disk.trouble_told(root, "the import was begun"):
            _begin(making)
        return _run(making, listing.source, listing, already_have, progress, stop, foreign)


def unfinished(archive_root: Path) -> list[UnfinishedImport]:
    """The imports that were begun and not ended, by name. Looks only."""
    found = []
    for home in _homes(Path(archive_root)):
        with contextlib.suppress(CardTrouble):
            making = read_making(Path(archive_root), home)
            done = [i.entry.size_bytes for i in making.items if i.to in making.done]
            found.append(
                UnfinishedImport(
                    name=making.name,
                    path=home,
                    source=making.source,
                    place=making.place,
                    begun=making.now,
                    files=len(making.items),
                    done=len(done),
                    bytes=sum(i.entry.size_bytes for i in making.items),
                    bytes_done=sum(done),
                    torn=making.torn,
                )
            )
    return found


def resume(
    archive_root: Path,
    name: str,
    *,
    already_have: AlreadyHave,
    listing: CardListing | None = None,
    read_back: bool | None = None,
    recheck: bool = True,
    accept_changes: bool = False,
    progress: Progress | None = None,
    stop: Stop | None = None,
    foreign: Foreign | None = None,
) -> ImportResult:
    """Take up an import that was broken off, check what it left, and finish it.

    listing : the card as it is now, perhaps plugged in at another place; by default the old place is scanned.
    read_back : as in `import_card`; by default as it was begun.
    recheck : hash the copies of the earlier run again; one that is not whole is taken anew.
    accept_changes : go on although the source is not what it was. Copies of what has changed meanwhile stay,
        the new state is taken besides.

    Raises as `import_card`; also SourceChanged, and CardTrouble when there is no such import.
    """
    root = Path(archive_root)
    home = root / INCOMING / name
    if not NAME.fullmatch(name) or not (home / PLAN).exists():
        raise CardTrouble(f"There is no unfinished import of the name {printable(name)} in {root}.")
    with contextlib.ExitStack() as held:
        held.enter_context(alone(root, name))
        making = read_making(root, home)
        held.enter_context(source_alone(root, making.source if listing is None else listing.source))
        if read_back is not None:
            making.read_back = read_back
        with disk.trouble_told(root, "the import was taken up"):
            _mend_journal(making)
            if making.placing is not None and not making.bag.exists() and is_placed(making):
                began = time.monotonic()
                tidy(making)
                return result_of(making, making.lost, time.monotonic() - began)
            _recheck(making, recheck, stop)
            for part in making.parts.iterdir() if making.parts.exists() else ():
                disk.remove(part)
            _ready_folders(making)
        source = making.source if listing is None else listing.source
        if making.pending or listing is not None:
            if listing is None:
                if not source.is_dir():
                    raise SourceVanished(
                        f"{source} is not there. Put the card in again, or give the folder where it is now."
                    )
                listing = scan(source, inside=False, stop=stop)
            _keep_apart(source, root)
            _compare(making, listing, accept_changes)
            making.source = source
            making.left = [_left(e) for e in listing.left]
            making.notes += listing.notes
            with disk.trouble_told(root, "the import was taken up"):
                making.write_plan(making.home)
                _tell_trouble(making, [t for t in making.trouble if t.what == READ_ONLY_NOW] + _trouble(listing))
        return _run(making, source, listing, already_have, progress, stop, foreign)


def _keep_apart(source: Path, root: Path) -> None:
    card, archive = source.resolve(), root.resolve()
    if card == archive or card in archive.parents or archive in card.parents:
        raise WrongInput("source", got=str(source), needed="a folder neither in nor around the archive")


READ_ONLY_NOW = "read-only-now"


def _trouble(listing: CardListing) -> list[Told]:
    """What a listing says of folders and of the whole, and which files it left for later."""
    told = [*listing.trouble, *(("waiting", path) for path in listing.waiting or ())]
    return [Told(path, what, words_of(what)) for what, path in told]


def _tell_trouble(making: Making, trouble: list[Told]) -> None:
    """Enter in the journal what there is to say of the card as a whole, in place of what was said before."""
    trouble = list(dict.fromkeys(trouble))
    if trouble != making.trouble:
        making.enter([{"what": "trouble", "told": [asdict(t) for t in trouble]}])


def _look_again(making: Making, listing: CardListing, took_writes: bool, lost: list[Told]) -> None:
    """After the copying: whether the card is still what it was when it was listed."""
    known = {t.path for t in lost}
    found = [(what, path) for what, path in changes_since(listing) if path not in known or not path]
    if took_writes and disk.is_read_only(listing.source):
        found.append((READ_ONLY_NOW, ""))
    told = [Told(path, what, words_of(what)) for what, path in found]
    _tell_trouble(making, [*making.trouble, *told])


def _left(entry: Entry) -> Told:
    for problem in (Problem.LINK, Problem.SPECIAL, Problem.UNREADABLE):
        if problem in entry.problems:
            return Told(entry.path, problem.value, problem.sentence)
    if entry.kind == "ignored":
        return Told(entry.path, "ignored", "was left by a system or program for itself")
    return Told(entry.path, "other", "is neither a picture nor a clip")


def _homes(root: Path) -> list[Path]:
    incoming = root / INCOMING
    if not incoming.is_dir():
        return []
    return sorted(p for p in incoming.iterdir() if NAME.fullmatch(p.name) and (p / PLAN).is_file())


def _begin(making: Making) -> None:
    """Make the home of the new bag appear at once and with its plan."""
    aside = making.root / INCOMING / f"~{making.name}"
    sweep(aside)
    disk.make_folder(aside)
    making.write_plan(aside)
    disk.rename(aside, making.home)
    disk.flush_folder(making.home.parent)
    _ready_folders(making)


def _ready_folders(making: Making) -> None:
    for folder in (making.parts, making.bag / PAYLOAD):
        disk.make_folder(folder)


def _mend_journal(making: Making) -> None:
    """Cut off a line that was torn in the writing. It had not been believed, so nothing is lost."""
    journal = making.home / JOURNAL
    if not journal.exists() or journal.stat().st_size == making.journal_bytes:
        return
    fd = os.open(journal, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.ftruncate(fd, making.journal_bytes)
        disk.flush(fd)
    finally:
        os.close(fd)


def _recheck(making: Making, deep: bool, stop: Stop | None) -> None:
    """Withdraw trust from every line of the journal whose file is not whole."""
    redo = []
    for to, line in list(making.done.items()):
        if stop is not None and stop():
            raise Stopped("Checking the earlier copies was stopped. All are kept; resume at any time.")
        sha256, size_bytes = line["sha256"], line["size_bytes"]
        if line["what"] == "copied":
            whole = is_whole(making.below_bag(to), sha256, size_bytes, deep)
        else:
            whole = line["within"] or really_there(making, line["where"], sha256, size_bytes, deep)
        if not whole:
            redo.append(to)
    # A twin within the card stands and falls with the copy it refers to.
    fallen = {f"{making.bag_path}/{to}" for to in redo}
    redo += [to for to, line in making.done.items() if line["what"] == "twin" and line["where"] in fallen]
    if redo:
        making.notes.append(f"{len(redo)} earlier copies were not whole and were taken again.")
    making.enter({"what": "redo", "to": to} for to in redo)


def _same_state(old: Entry, new: Entry) -> bool:
    """Whether a file of the source seems untouched.

    FAT keeps local time in steps of 2 s, so a card that is put in again after a change of zone shows all its
    times shifted by whole quarters of an hour; that is not taken for a change.
    """
    shift_s = abs(old.mtime_ns - new.mtime_ns) / 1e9
    off_s = min(shift_s % 900, 900 - shift_s % 900)
    return old.size_bytes == new.size_bytes and shift_s <= 26 * 3600 and off_s <= 2


def _compare(making: Making, listing: CardListing, accept: bool) -> None:
    """Hold the plan against the source as it is now, and carry the plan on."""
    now = {e.path: e for e in listing.taken}
    current = {i.entry.path: i for i in making.items if not i.old}
    new = [e for path, e in now.items() if path not in current]
    changed = [i for path, i in current.items() if path in now and not _same_state(i.entry, now[path])]
    gone = [i for path, i in current.items() if path not in now and i.to not in making.done]
    if now and not any(path in current and _same_state(current[path].entry, e) for path, e in now.items()):
        raise SourceChanged(
            f"{listing.source} does not hold a single file of the import {making.name}: this seems to be "
            "another card. Put in the one it was begun with."
        )
    if (changed or gone) and not accept:
        first = printable((changed or gone)[0].entry.path)
        raise SourceChanged(
            f"The source has changed since the import {making.name} was begun: {len(changed)} files changed, "
            f"{len(gone)} not there any more, {len(new)} new (such as {first}). Put in the card it was begun "
            "with, or resume with the changes accepted; no copy made so far is lost by that."
        )
    for item in changed:
        if item.to in making.done:
            item.old = True
            new.append(now[item.entry.path])
        else:
            item.entry = now[item.entry.path]
    taken = [i.to.removeprefix(f"{PAYLOAD}/") for i in making.items]
    targets = safe_paths((e.path for e in new), taken)
    making.take_on(Item(e, f"{PAYLOAD}/{targets[e.path]}") for e in new)
    if new:
        making.notes.append(f"{len(new)} files came to the source, or changed, after the import was begun.")


def _run(
    making: Making,
    source: Path,
    listing: CardListing | None,
    already_have: AlreadyHave,
    progress: Progress | None,
    stop: Stop | None,
    foreign: Foreign | None,
) -> ImportResult:
    began = time.monotonic()
    took_writes = disk.is_read_only(source) is False
    lost: list[Told] = []
    pending = making.pending
    total = sum(i.entry.size_bytes for i in making.items if not i.old)
    before = total - sum(i.entry.size_bytes for i in pending)
    copier = Copier(making, source)
    done = [i.entry.path for i in making.items if i.to in making.done and not i.old and i.entry.size_bytes]
    copier.read_well.extend(source.joinpath(*path.split("/")) for path in done[-3:])
    group = Group(making, copier, already_have, foreign)
    try:
        device = source.stat().st_dev if pending else 0
    except OSError as problem:
        raise SourceVanished(f"{source} is not there. Put the card in again and resume.") from problem
    waiting: deque[tuple[Item, Future[Part]]] = deque()
    todo = iter(enumerate(pending))

    def tell() -> None:
        if progress is not None:
            progress(min(total, before + copier.bytes_read), total)

    def wait(future: Future[Part]) -> Part:
        while True:
            if stop is not None and stop():
                raise Stopped(f"The import {making.name} was stopped. What is done is kept; resume it.")
            try:
                return future.result(timeout=0.2)
            except TimeoutError:
                if future.done():  # the worker itself ran into a time-out, e.g. of a network disk
                    raise
                tell()

    pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="trod-import")
    try:
        with disk.trouble_told(making.root, "files were copied"):
            while True:
                while len(waiting) < AHEAD and (following := next(todo, None)) is not None:
                    number, item = following
                    waiting.append((item, pool.submit(copier.copy, item, number)))
                if not waiting:
                    break
                item, future = waiting[0]
                try:
                    part = wait(future)
                except ReadFailed as failed:
                    reason = failed.problem.strerror or str(failed.problem)
                    if not _answers(source, device, copier.read_well):
                        raise SourceVanished(
                            f"{source} stopped answering ({reason}). What was done is kept. Put the card in "
                            "again and resume."
                        ) from failed
                    if failed.what == "gone":
                        lost.append(Told(item.entry.path, "gone", "is not there any more"))
                    else:
                        lost.append(Told(item.entry.path, failed.what, f"cannot be read ({reason})"))
                except Unsettled:
                    lost.append(Told(item.entry.path, "unsettled", "is still being written"))
                else:
                    group.add(part)
                waiting.popleft()
                if group.full:
                    group.commit()
                tell()
            group.commit()
    except BaseException as problem:
        copier.halt.set()
        for _, future in waiting:
            future.cancel()
        if isinstance(problem, (TrodError, KeyboardInterrupt)):  # keep what is whole
            with contextlib.suppress(TrodError, OSError):
                group.commit()
        raise
    finally:
        copier.halt.set()
        pool.shutdown(wait=True, cancel_futures=True)
        for _, future in waiting:
            if not future.cancelled() and future.exception() is None:
                group.parts.append(future.result())
        group.close()
    if lost and not making.done:
        raise SourceVanished(
            f"Not one file of {source} could be read. Clean the contacts or try another reader, then resume."
        )
    with disk.trouble_told(making.root, "the bag was finished"):
        if listing is not None:
            _look_again(making, listing, took_writes, lost)
        finish(making, lost)
    if progress is not None:
        progress(total, total)
    return result_of(making, lost, time.monotonic() - began)


def _answers(source: Path, device: int, read_well: Iterable[Path]) -> bool:
    """Whether the source as a whole still answers, after one file of it did not.

    A pulled card may leave its listing in the system's memory; so the end of a file that was read well before
    is read again from the disk.
    """
    try:
        if source.stat().st_dev != device or not any(source.iterdir()):
            return False
    except OSError:
        return False
    verified = list(read_well)
    for path in verified:
        try:
            fd = disk.open_source(path)
            try:
                disk.drop_cache(fd)
                os.lseek(fd, -1, os.SEEK_END)
                os.read(fd, 1)
            finally:
                os.close(fd)
            return True
        except OSError:
            continue
    return not verified
