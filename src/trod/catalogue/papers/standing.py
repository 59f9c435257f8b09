"""How this catalogue stands to the archive: the one place that says whether it may write there.

The archive is the truth. The catalogue carries the archive's identity and, for each paper, the digest of the state
that it has read whole or written itself. It may write only where all of that still holds. A catalogue that is
missing, empty, half made, older than the papers, or of another archive writes nothing: it is made anew from the
archive (`trod rebuild`; `trod serve` does it by itself where nothing can be lost by it).

Identifications (`identifications.jsonl`) are only ever appended to; lines that the catalogue does not hold yet are
taken up, not refused.
"""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from trod.archive import formats, papers, register, sidecar, upgrade
from trod.archive.folders import bag_folders, folders_of_bags
from trod.archive.making import UNPLACED
from trod.archive.register import NOT_THERE
from trod.catalogue import home
from trod.catalogue.models import (
    Catalogue,
    Deployment,
    Identification,
    Import,
    Paper,
    Picture,
    Reserve,
    Sequence,
    Species,
)
from trod.catalogue.papers import readable
from trod.errors import CatalogueTrouble, NewerFormat, OlderFormat, OutOfStep, TrodError

KINDS = {papers.LEDGER: "ledger", papers.PRIVATE: "private", papers.SIDECAR: "deployment"}
# So long a look that found all in order is believed; the writing itself compares again, paper by paper.
BELIEVED_S = 0.05
LOOKS = 3
MOVING = "besides:"  # before the digest of what a sidecar says besides its bags, while one of them moves


class How(StrEnum):
    """How a catalogue stands to its archive."""

    FRESH = "fresh"  # both hold nothing yet
    WHOLE = "whole"
    EMPTY = "empty"  # the archive holds something, the catalogue nothing
    HALF = "half made"
    BEHIND = "behind"  # papers are newer than what the catalogue has read
    UNKNOWN = "unknown"  # a catalogue with records that was never held against these papers
    FOREIGN = "foreign"
    SPOILT = "spoilt"  # its own tables or rows cannot be read as the models say
    NEWER = "newer format"  # written by a Trod that knows more than this one
    OLDER = "older format"  # its papers are to be brought up to today's
    DAMAGED = "damaged"  # papers are missing, cannot be read, or are not as the archive's register says


# What making the catalogue anew can only better, without asking anybody.
MENDS_ITSELF = frozenset({How.EMPTY, How.HALF, How.SPOILT, How.BEHIND, How.UNKNOWN, How.OLDER})
SAID = {
    How.EMPTY: "The archive holds records, but the catalogue is empty.",
    How.HALF: "The catalogue was not made to its end.",
    How.BEHIND: "The archive holds something newer than the catalogue has read.",
    How.UNKNOWN: "It is not known from which papers this catalogue was made.",
    How.FOREIGN: "The catalogue is another archive's.",
    How.SPOILT: "The catalogue itself is damaged.",
    How.NEWER: "",
    How.OLDER: "The archive is of an older format than this Trod writes.",
    How.DAMAGED: "Papers of the archive are not as the catalogue knows them.",
}


@dataclass(frozen=True)
class Standing:
    """How things stand.

    told : what was found, in sentences. identifications : folders whose identifications are to be taken up.
    """

    how: How
    told: tuple[str, ...] = ()
    identifications: tuple[Path, ...] = ()

    @property
    def may_write(self) -> bool:
        return self.how in (How.FRESH, How.WHOLE)

    def trouble(self) -> OutOfStep:
        """Why nothing is written, and what to do."""
        more = f" (and {len(self.told) - 3} more)" if len(self.told) > 3 else ""
        if self.how is How.NEWER:
            return OutOfStep(self.how, " ".join(self.told))
        found = " ".join((SAID[self.how], *self.told[:3])) + more
        if self.how is How.DAMAGED:
            do = (
                "Run trod verify, and bring papers back from their kept states or your backup (trod restore). If the "
                "archive is right as it is, trod rebuild makes the catalogue anew from it."
            )
        elif self.how is How.OLDER:
            do = (
                "Say trod rebuild: it writes the archive's papers in today's format, keeps them as they were too, and "
                "makes the catalogue anew."
            )
        else:
            do = "Say trod rebuild: it makes the catalogue anew from the archive and keeps the old one aside."
        return OutOfStep(self.how, f"{found} So nothing was written to the archive. {do}")


# Looking ----------------------------------------------------------------------------------------------------

_seen: dict[Path, tuple[tuple[int, int, int], str]] = {}
_believed = threading.local()


def _mark(path: Path) -> tuple[int, int, int]:
    found = path.stat()
    return found.st_mtime_ns, found.st_size, found.st_ino


def state_of(root: Path, path: str) -> str:
    """The digest of a paper, or the number of lines of identifications; read again only when the file changed."""
    place = papers.place_of(root, path)
    try:
        mark = _mark(place)
        known = _seen.get(place)
        if known is not None and known[0] == mark:
            return known[1]
        data = place.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return NOT_THERE
    found = str(data.count(b"\n")) if path.endswith(papers.IDENTIFICATIONS) else papers.digest_of(data)
    # A file changed within the clock's last tick may change again without showing it.
    if time.time_ns() - mark[0] > 2_000_000_000:
        _seen[place] = (mark, found)
    return found


def on_disk(root: Path) -> dict[str, str]:
    """{path: digest, or number of lines} of every paper that a catalogue is made from."""
    names = [name for name in (papers.LEDGER, papers.PRIVATE) if (root / name).is_file()]
    for _, deployment, folder in folders_of_bags(root):
        if deployment is not None:
            for name in (papers.SIDECAR, papers.IDENTIFICATIONS):
                if (folder / name).is_file():
                    names.append(papers.path_of(root, folder / name))
    return {path: state_of(root, path) for path in names}


def holds_records() -> bool:
    """Whether the catalogue holds any record at all."""
    return any(m.objects.exists() for m in (Reserve, Species, Deployment, Import, Picture, Sequence, Identification))


def look() -> Standing:
    """How the catalogue stands to the archive now. Changes nothing.

    Another process may be writing a paper in this moment; what does not fit is looked at again.
    """
    found = _look()
    for _ in range(LOOKS - 1):
        if found.may_write:
            break
        time.sleep(0.05)
        found = _look()
    return found


def _look() -> Standing:
    root = home.archive_root()
    try:
        number = upgrade.format_of(root)
    except (NewerFormat, OlderFormat) as problem:
        return Standing(How.NEWER, (str(problem),))
    found = _hold_against(root)
    is_old = number is not None and number < formats.FORMAT
    return Standing(How.OLDER) if is_old and (found.may_write or found.how is How.BEHIND) else found


def _hold_against(root: Path) -> Standing:
    """The catalogue against the papers of an archive whose format this Trod reads."""
    state = Catalogue.objects.first()
    known = {paper.path: paper for paper in Paper.objects.all()}
    found = on_disk(root)
    if state is None:
        records = holds_records()
        if not found and (records or next(bag_folders(root), None) is None):
            return Standing(How.FRESH)  # no paper that could be written over
        return Standing(How.UNKNOWN if records else How.EMPTY)
    if state.state != Catalogue.State.WHOLE:
        return Standing(How.HALF)
    identity = papers.archive_id(root) or ""
    if state.archive and identity and state.archive != identity:
        return Standing(How.FOREIGN)
    return _compare(root, known, found)


def _compare(root: Path, known: dict[str, Paper], found: dict[str, str]) -> Standing:
    newer, damaged, identifications = [], [], []
    for path in sorted({*known, *found}):
        here, paper = found.get(path, NOT_THERE), known.get(path)
        if path.endswith(papers.IDENTIFICATIONS):
            lines, mine = int(here or 0), paper.lines if paper is not None else 0
            if lines < mine:
                damaged.append(f"{path} has {lines} lines where the catalogue knows {mine}.")
            elif lines > mine:
                identifications.append(papers.place_of(root, path).parent)
        elif paper is not None and _fits(root, paper, here):
            continue
        elif here == NOT_THERE:
            damaged.append(f"{path} is not there any more.")
        elif why := _why_not(root, path, here):
            damaged.append(why)
        else:
            newer.append(f"{path} is not the one it was made from.")
    if damaged:
        return Standing(How.DAMAGED, tuple(damaged + newer))
    if newer:
        return Standing(How.BEHIND, tuple(newer))
    return Standing(How.WHOLE, identifications=tuple(identifications))


def _fits(root: Path, paper: Paper, here: str) -> bool:
    """Whether what lies there is the state that was read or written, or the one that was coming."""
    if here in (paper.sha256, paper.coming):
        return True
    return bool(paper.coming) and paper.coming == _rest(papers.place_of(root, paper.path))


def _rest(place: Path) -> str:
    """The digest of what a sidecar says besides what the archive's own room changes when a bag moves."""
    try:
        fields = sidecar.read_json(place, "deployment") or {}
    except CatalogueTrouble:
        return NOT_THERE
    rest = {name: value for name, value in fields.items() if name not in sidecar.OWN_FIELDS}
    return MOVING + papers.digest_of(json.dumps(rest, sort_keys=True).encode())


def _why_not(root: Path, path: str, here: str) -> str:
    """Why a paper that the catalogue does not know is not to be believed; "" when it is."""
    try:
        sidecar.read_json(papers.place_of(root, path), KINDS[path.rpartition("/")[2]])
    except CatalogueTrouble as problem:
        return str(problem)
    state = register.read(root).state
    thing = state.things.get(path) if state is not None else None
    if state is not None and (thing is None or thing.sha256 != here):
        # the last change of the register may stand on the disk or not
        before = state.before.get(path) if state.last is not None and not state.last.done else None
        if before is None or before.sha256 != here:
            return f"{path} was changed by something else than Trod."
    return ""


def require_readable() -> None:
    """Raises OutOfStep where the catalogue's tables are not as the models say; quick, for every start."""
    if told := readable.tables_told():
        raise Standing(How.SPOILT, tuple(told)).trouble()


def in_doubt(problem: BaseException) -> OutOfStep | None:
    """What a fault comes from, when tables or rows of the catalogue are found that cannot be read; None otherwise.

    Reads all rows, so only for a fault that nothing else explains. Changes nothing.
    """
    if isinstance(problem, (TrodError, OSError, IntegrityError)):
        return None
    told = readable.tables_told() or readable.rows_told()
    return Standing(How.SPOILT, tuple(told)).trouble() if told else None


def require() -> None:
    """Raises OutOfStep unless this catalogue may write to the archive."""
    now = time.monotonic()
    place = home.archive_root()
    if getattr(_believed, "place", None) == place and now - _believed.at < BELIEVED_S:
        return
    standing = look()
    if not standing.may_write:
        raise standing.trouble()
    _believed.place, _believed.at = place, now


def forget() -> None:
    """Believe no earlier look."""
    _believed.place = None
    _seen.clear()


# Told -------------------------------------------------------------------------------------------------------


def set_state(path: str, **values: object) -> None:
    """Write down what the catalogue holds of one paper."""
    Paper.objects.update_or_create(path=path, defaults=values)


def _own_row() -> None:
    """See that the catalogue's own row is there, with the archive's identity as soon as it has one."""
    row, _ = Catalogue.objects.get_or_create(pk=1, defaults={"since": timezone.now()})
    if not row.archive and (identity := papers.archive_id(home.archive_root())):
        Catalogue.objects.filter(pk=row.pk).update(archive=identity)


def expect(path: str, here: str) -> None:
    """Raises OutOfStep unless this catalogue has read whole (or written) the paper that now lies there."""
    paper = Paper.objects.filter(path=path).first()
    if not (_fits(home.archive_root(), paper, here) if paper is not None else here == NOT_THERE):
        told = (f"{path} is not the one it was made from.",)
        raise Standing(How.BEHIND if here else How.DAMAGED, told).trouble()
    if paper is not None and not paper.whole:
        raise OutOfStep(
            How.DAMAGED,
            f"Not every record of {path} could be read when the catalogue was made, so nothing is written over it. "
            "trod rebuild tells which; mend them there, or bring the paper back from your backup, and rebuild again.",
        )


def announce(path: str, coming: str) -> None:
    """Tell which state a paper is being given, before it is written."""
    _own_row()
    set_state(path, coming=coming)


def know(path: str, sha256: str) -> None:
    """A paper now lies there as this catalogue wrote it, or was found to say the same."""
    set_state(path, sha256=sha256, coming=None)
    _own_row()


def drop(path: str) -> None:
    """A paper was taken away by this catalogue."""
    Paper.objects.filter(path=path).delete()


def expect_move(*folders: Path) -> None:
    """The archive's own room is about to change the sidecars of these folders, because a bag moves."""
    root = home.archive_root()
    _own_row()
    for folder in folders:
        if folder.name != UNPLACED:
            set_state(papers.path_of(root, folder / papers.SIDECAR), coming=_rest(folder / papers.SIDECAR))


def reread(folder: Path) -> None:
    """The archive's own room changed a sidecar that this catalogue knew: a bag was moved."""
    root = home.archive_root()
    path = papers.path_of(root, folder / papers.SIDECAR)
    here = papers.digest_of(papers.bytes_of(root, path))
    if here:
        know(path, here)


def add_lines(folder: Path, number: int) -> None:
    """Lines of identifications were appended, and the catalogue holds them once its transaction is committed."""
    path = papers.path_of(home.archive_root(), folder / papers.IDENTIFICATIONS)
    _own_row()
    Paper.objects.get_or_create(path=path)
    Paper.objects.filter(path=path).update(lines=F("lines") + number)


def owe(owing: bool) -> None:
    """Note that a record stands in the catalogue alone, or no longer."""
    Catalogue.objects.exclude(owing=owing).update(owing=owing)


def owes() -> bool:
    """Whether a record stands in the catalogue alone and is still to be written to a paper."""
    return Catalogue.objects.filter(owing=True).exists()


# Made anew --------------------------------------------------------------------------------------------------


def begin_building() -> dict[str, str]:
    """The catalogue is being made from the archive. Returns the papers as they lie there now."""
    root = home.archive_root()
    with transaction.atomic():
        Catalogue.objects.all().delete()
        Catalogue.objects.create(
            pk=1, archive=papers.archive_id(root) or "", state=Catalogue.State.BUILDING, since=timezone.now()
        )
    forget()
    return on_disk(root)


def end_building(read: dict[str, str], not_whole: set[str]) -> None:
    """All is read. Raises CatalogueTrouble when a paper changed meanwhile.

    not_whole : paths of papers of which something could not be read.
    """
    root = home.archive_root()
    forget()
    changed = sorted(path for path, state in {**read, **on_disk(root)}.items() if read.get(path) != state)
    changed += [path for path in read if state_of(root, path) != read[path] and path not in changed]
    if changed:
        raise CatalogueTrouble(
            f"{changed[0]} changed while the catalogue was made from it. Say trod rebuild again, with nothing else at "
            "this data folder."
        )
    with transaction.atomic():
        Paper.objects.all().delete()
        Paper.objects.bulk_create(
            Paper(path=path, lines=int(state)) if path.endswith(papers.IDENTIFICATIONS)
            else Paper(path=path, sha256=state, whole=path not in not_whole)
            for path, state in read.items()
        )  # fmt: skip
        Catalogue.objects.update(state=Catalogue.State.WHOLE, since=timezone.now())


def adopt() -> None:
    """Take the papers that lie there for those this catalogue was made from: they were found to say the same."""
    root = home.archive_root()
    with transaction.atomic():
        _own_row()
        for path, state in on_disk(root).items():
            if path.endswith(papers.IDENTIFICATIONS):
                Paper.objects.get_or_create(path=path)  # none of its lines is known to be held: they are taken up
            else:
                set_state(path, sha256=state, coming=None)
