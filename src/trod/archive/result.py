"""What an intake did, in records and in one sentence."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from trod.archive.card import Kind, Problem
from trod.archive.names import printable


@dataclass(frozen=True)
class Copy:
    """One file of the card that now lies in the bag.

    path : on the card.  to : below the bag (`data/…`).
    """

    path: str
    to: str
    sha256: str
    size_bytes: int
    mtime_ns: int
    kind: Kind
    problems: tuple[Problem, ...] = ()
    foreign: bool = False
    unproven: bool = False


@dataclass(frozen=True)
class Duplicate:
    """One file of the card whose bytes the archive holds already; it is not stored again.

    where : the path of the kept copy, below the archive.
    within : whether the kept copy came from this very card.
    """

    path: str
    sha256: str
    size_bytes: int
    where: str
    within: bool


@dataclass(frozen=True)
class Told:
    """One file of the card and what there is to say of it."""

    path: str
    what: str
    sentence: str


@dataclass(frozen=True)
class IntakeResult:
    """What an intake did.

    bag : the path of the bag below the archive, or None when there was nothing new to keep.
    copies, twins : the files kept, and those the archive had already.
    damaged, foreign, skipped : copied all the same; copied, but of another camera; left on the card.
    lost : files that should have been copied and could not be.
    seconds : from the beginning to the end of this run (not of earlier, broken-off ones).
    """

    name: str
    bag: str | None
    copies: tuple[Copy, ...]
    twins: tuple[Duplicate, ...]
    damaged: tuple[Told, ...]
    foreign_files: tuple[Told, ...]
    skipped_files: tuple[Told, ...]
    lost: tuple[Told, ...]
    notes: tuple[str, ...]
    read_back: bool
    bytes: int
    seconds: float

    @property
    def files(self) -> int:
        """Files of the card that an intake looks after: new, duplicate and lost ones."""
        return len(self.copies) + len(self.twins) + len(self.lost)

    @property
    def new(self) -> int:
        return len(self.copies)

    @property
    def duplicates(self) -> int:
        return len(self.twins)

    @property
    def foreign(self) -> int:
        return len(self.foreign_files)

    @property
    def skipped(self) -> int:
        return len(self.skipped_files)

    @property
    def safe_to_format(self) -> bool:
        """Whether every picture and clip of the card is proven to be in the archive."""
        return not self.lost and not any(c.unproven for c in self.copies)

    @property
    def sentence(self) -> str:
        """What a person needs to know before the card goes back into a camera."""
        if not self.safe_to_format:
            which = [*self.lost, *(Told(c.path, "unproven", "") for c in self.copies if c.unproven)]
            names = ", ".join(printable(told.path) for told in which[:3])
            more = f" and {len(which) - 3} more" if len(which) > 3 else ""
            return (
                f"Do not format this card: {_many(len(which), 'file')} not proven to be in the archive "
                f"({names}{more}). Take the card in again, or copy what is left by hand."
            )
        checked = "written, flushed, read back and compared"
        if not self.read_back:
            checked = "written and flushed, but not read back, as was chosen"
        head = "The one file of the card is" if self.files == 1 else f"All {self.files} files of the card are"
        parts = [f"{head} in the archive: {self.new} new, {self.duplicates} kept before."]
        if self.new:
            parts.append(f"Each new one was {checked}.")
        others = [t for t in self.skipped_files if t.what == "other"]
        if others:
            parts.append(
                f"{_many(len(others), 'other file')} left on the card and would be lost by formatting "
                f"(such as {printable(others[0].path)})."
            )
        parts.append("The card is safe to format; do that in the camera.")
        return " ".join(parts)

    def as_json(self) -> dict[str, Any]:
        """The counts and lists as plain values, for scripts."""
        return {
            "name": self.name,
            "bag": self.bag,
            "files": self.files,
            "new": self.new,
            "duplicates": self.duplicates,
            "damaged": len(self.damaged),
            "foreign": self.foreign,
            "skipped": self.skipped,
            "lost": len(self.lost),
            "bytes": self.bytes,
            "seconds": round(self.seconds, 3),
            "read_back": self.read_back,
            "safe_to_format": self.safe_to_format,
            "sentence": self.sentence,
            "notes": list(self.notes),
            "damaged_files": [asdict(t) for t in self.damaged],
            "foreign_files": [asdict(t) for t in self.foreign_files],
            "skipped_files": [asdict(t) for t in self.skipped_files],
            "lost_files": [asdict(t) for t in self.lost],
        }


def _many(count: int, noun: str) -> str:
    return f"1 {noun} is" if count == 1 else f"{count} {noun}s are"


