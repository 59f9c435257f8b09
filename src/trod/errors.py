"""What can go wrong, as one family.

    TrodError
    ├── WrongInput            a value, a file or an option that cannot be used as it is
    ├── CardTrouble           the card or source folder
    │   ├── SourceVanished    the source stopped answering in mid-work
    │   ├── SourceChanged     the source is not what it was when the import was begun
    │   ├── SourceBusy        another process is at work on this source or import
    │   └── NothingFound      no picture or clip below the given path
    ├── DiskFull              the place that is written to has no room left
    ├── ArchiveUnwritable     the place that is written to refuses: read-only, no right, a fault
    ├── Stopped               a person (or a shutdown) asked the work to stop; it can be resumed
    ├── ArchiveDamage         one file of the archive is not as its manifest says
    │   ├── FileMissing
    │   ├── FileChanged
    │   ├── FileUnreadable    the disk would not give the bytes back; whether they changed is not known
    │   └── FileUnexpected
    ├── CatalogueTrouble      the database and the archive do not fit together
    │   ├── PaperChanged      a paper of the archive is no longer the one its writer has read
    │   ├── PaperLosesRows    a paper would be replaced by one that holds less, and no deletion is on record
    │   ├── PaperDamaged      a paper is not as the archive's register says, so nothing is written over it
    │   ├── OutOfStep         the catalogue is not made from the papers that lie in the archive, so it may not write
    │   ├── NotOnPaper        a record stands in the catalogue, and could not be written to the archive
    │   └── RegisterDamaged   both copies of the archive's register are damaged in one place
    └── NotEnoughEvidence     a method does not hold on these data, so no number is given

Every message says what came, what is needed and what to do next. Details are attributes.
"""

from __future__ import annotations

import math


class TrodError(Exception):
    """Anything Trod itself has to tell a person. Its text is fit to be shown as it is."""


class WrongInput(TrodError, ValueError):
    """A value, a file or an option that cannot be used as it is.

    what : the field or argument by its name.
    got : what came.
    needed : what would do, in words.
    """

    def __init__(self, what: str, *, got: object, needed: str) -> None:
        super().__init__(what, got, needed)
        self.what, self.got, self.needed = what, got, needed

    def __str__(self) -> str:
        return f"{self.what}: got {self.got!r}; needed: {self.needed}"


def positive(what: str, value: float, *, needed: str = "a number above 0", zero: bool = False) -> float:
    """The value itself when it is finite and above 0 (or 0 where `zero` allows it); else WrongInput."""
    if not math.isfinite(value) or value < 0 or (value == 0 and not zero):
        raise WrongInput(what, got=value, needed=needed)
    return value


class CardTrouble(TrodError):
    """The card or source folder cannot be used."""


class SourceVanished(CardTrouble):
    """The source stopped answering in mid-work."""


class SourceChanged(CardTrouble):
    """The source is not what it was when the import was begun."""


class SourceBusy(CardTrouble):
    """Another process is at work on this source or import; nothing is wrong, and nothing was done."""


class NothingFound(CardTrouble):
    """No picture or clip lies below the given path."""


class DiskFull(TrodError):
    """The place that is written to has no room left."""


class ArchiveUnwritable(TrodError):
    """The place that is written to refuses: read-only, no right, a fault of the disk."""


class Stopped(TrodError):
    """The work was asked to stop; what is done is kept and it can be resumed."""


class ArchiveDamage(TrodError):
    """One file of the archive is not as its manifest says.

    path : relative to the archive's root, with forward slashes.
    remedy : what to do, where it is not the usual way by a backup.
    """

    def __init__(self, path: str, detail: str = "", remedy: str = "") -> None:
        super().__init__(path, detail, remedy)
        self.path, self.detail, self.remedy = path, detail, remedy


class FileMissing(ArchiveDamage):
    """The manifest names a file that is not there."""

    def __str__(self) -> str:
        return f"{self.path}: missing. {self.remedy or 'Look for it in your backup.'}"


class FileChanged(ArchiveDamage):
    """The bytes differ from those the manifest promises."""

    def __str__(self) -> str:
        return f"{self.path}: changed ({self.detail}). {self.remedy or 'Restore it from your backup.'}"


class FileUnreadable(ArchiveDamage):
    """The disk would not give the bytes back; whether they changed is not known."""

    def __str__(self) -> str:
        return f"{self.path}: cannot be read ({self.detail}). Copy the disk before anything else."


class FileUnexpected(ArchiveDamage):
    """A file that no manifest names."""

    def __str__(self) -> str:
        if self.detail:
            return f"{self.path}: {self.detail}"
        return f"{self.path}: not in any manifest. Move it elsewhere if you need it."


class CatalogueTrouble(TrodError):
    """The database and the archive do not fit together, or the database cannot be used."""


class PaperChanged(CatalogueTrouble):
    """A paper of the archive is no longer the one its writer has read, so it was not written.

    path : below the archive.  expected, found : SHA-256; empty where there is no such paper.
    """

    def __init__(self, path: str, *, expected: str, found: str) -> None:
        super().__init__(path, expected, found)
        self.path, self.expected, self.found = path, expected, found

    def __str__(self) -> str:
        what = "holds another state than the one the catalogue has read" if self.found else "is not there any more"
        return (
            f"{self.path} {what}, so nothing was written over it. "
            "Say trod rebuild, so that the catalogue is what the archive says."
        )


class PaperLosesRows(CatalogueTrouble):
    """A paper would be replaced by one that holds less, and no deletion is on record.

    path : below the archive.  rows : (kind, key) of each row that would be gone.
    """

    def __init__(self, path: str, rows: tuple[tuple[str, str], ...]) -> None:
        super().__init__(path, rows)
        self.path, self.rows = path, rows

    def __str__(self) -> str:
        named = ", ".join(f"{kind} {key}" for kind, key in self.rows[:3])
        more = f" and {len(self.rows) - 3} more" if len(self.rows) > 3 else ""
        return (
            f"{self.path} would lose {len(self.rows)} records that nobody deleted ({named}{more}), so it was left "
            "as it is. Say trod rebuild, so that the catalogue is what the archive says."
        )


class PaperDamaged(CatalogueTrouble):
    """A paper is not as the archive's register says, so nothing is written over it. path : below the archive."""

    def __init__(self, path: str, detail: str) -> None:
        super().__init__(path, detail)
        self.path, self.detail = path, detail

    def __str__(self) -> str:
        return (
            f"{self.path}: {self.detail}, so nothing was written over it. Run trod verify; bring an earlier state "
            f"back with trod restore --papers, or, if it is right as it is, say trod verify --accept {self.path}"
        )


class NewerFormat(CatalogueTrouble):
    """An archive, or a paper of one, is of a format that this Trod is too old for.

    what : bears the number, for the sentence.  number : its format.  reads : the newest one that this Trod reads.
    """

    def __init__(self, what: str, number: int, reads: int) -> None:
        super().__init__(what, number, reads)
        self.what, self.number, self.reads = what, number, reads

    def __str__(self) -> str:
        return (
            f"{self.what} is of format {self.number}, written by a newer Trod; this Trod reads up to format "
            f"{self.reads}. Nothing was changed. Use the newer Trod for it (pip install --upgrade trod)."
        )


class OlderFormat(CatalogueTrouble):
    """An archive, or a paper of one, is of a format that is too old for this Trod.

    oldest, reads : the formats that this Trod reads, from and to.
    """

    def __init__(self, what: str, number: int, oldest: int, reads: int) -> None:
        super().__init__(what, number, oldest, reads)
        self.what, self.number, self.oldest, self.reads = what, number, oldest, reads

    def __str__(self) -> str:
        here = f"format {self.reads} alone" if self.oldest == self.reads else f"formats {self.oldest} to {self.reads}"
        return (
            f"{self.what} is of format {self.number}; this Trod reads {here}. Nothing was changed. Take a Trod of "
            "between first: its trod rebuild brings the archive up to a format that this one reads."
        )


class OutOfStep(CatalogueTrouble):
    """The catalogue is not made from the papers that lie in the archive, so it may not write there.

    how : in a word, as trod.catalogue.papers.standing tells them apart.
    """

    def __init__(self, how: str, words: str) -> None:
        super().__init__(how, words)
        self.how, self.words = how, words

    def __str__(self) -> str:
        return self.words


class NotOnPaper(CatalogueTrouble):
    """A record stands in the catalogue, and could not be written to the archive."""

    def __init__(self, why: BaseException) -> None:
        super().__init__(str(why))
        self.why = why

    def __str__(self) -> str:
        then = "" if isinstance(self.why, CatalogueTrouble) else "Trod tries again by itself and at its next start. "
        return (
            f"Saved in the catalogue alone; the archive could not be written: {self.why} {then}"
            "A rebuild would lose it until then, so keep what you typed."
        )


class RegisterDamaged(CatalogueTrouble):
    """Both copies of the archive's register are damaged in one place, or neither can be read."""


class NotEnoughEvidence(TrodError):
    """A method does not hold on these data, so no number is given.

    have, need : what is there and what it would take, in words.
    """

    def __init__(self, have: str, *, need: str) -> None:
        super().__init__(have, need)
        self.have, self.need = have, need

    def __str__(self) -> str:
        return f"{self.have}; {self.need}"
