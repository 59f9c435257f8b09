"""What an import did, in records and in one sentence."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from trod.archive.content import DAMAGE, Kind, Problem
from trod.archive.verdict import CardFacts, tallied, verdict


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
    unverified: bool = False


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
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Told:
    """One file of the card and what there is to say of it."""

    path: str
    what: str
    sentence: str


@dataclass(frozen=True)
class ImportResult:
    """What an import did.

    bag : the path of the bag below the archive, or None when there was nothing new to keep.
    copies, twins : the files kept, and those the archive had already.
    damaged, foreign, skipped : in the archive as they are, but damaged; copied, but of another camera; left on
        the card.
    lost : files that should have been copied and could not be.
    trouble : what is to be told of folders and of the card as a whole (path empty).
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
    trouble: tuple[Told, ...] = ()

    @property
    def files(self) -> int:
        """Files of the card that an import looks after: new, duplicate and lost ones."""
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
    def facts(self) -> CardFacts:
        """All that the verdict rests on."""
        told = [(t.what, t.path) for t in (*self.damaged, *self.lost, *self.skipped_files, *self.trouble)]
        told += [("unverified", c.path) for c in self.copies if c.unverified]
        of_files = [(p, c.path) for c in self.copies for p in c.problems]
        of_files += [(p, t.path) for t in self.twins for p in t.problems]
        told += [(str(p), path) for p, path in of_files if p not in DAMAGE]
        return CardFacts(
            files=self.files,
            new=self.new,
            kept_before=self.duplicates,
            read_back=self.read_back,
            seen=tallied(told),
        )

    @property
    def safe_to_format(self) -> bool:
        """The verdict's one bit."""
        return verdict(self.facts).safe

    @property
    def sentence(self) -> str:
        """What a person needs to know before the card goes back into a camera."""
        return verdict(self.facts).sentence

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
            **verdict(self.facts).as_json(),
            "sentence": self.sentence,
            "notes": list(self.notes),
            "damaged_files": [asdict(t) for t in self.damaged],
            "foreign_files": [asdict(t) for t in self.foreign_files],
            "skipped_files": [asdict(t) for t in self.skipped_files],
            "lost_files": [asdict(t) for t in self.lost],
            "trouble": [asdict(t) for t in self.trouble],
        }
