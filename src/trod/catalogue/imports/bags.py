"""A bag in the archive as rows: what an import registers, and what a rebuild finds again.

Both go this one way, from the files on the disk, so that a catalogue that is rebuilt is the catalogue that
was.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from trod.archive import sidecar, verdict
from trod.archive.card import dcf_of, natural_key
from trod.archive.content import DAMAGE, Problem, kind_of
from trod.catalogue.line import Line
from trod.catalogue.models import Import, KeptFile, Picture
from trod.errors import CatalogueTrouble

ROWS = 500  # put into the database in pieces of this many

LOST = frozenset({"gone", "unreadable", "unsettled", "short-read"})
OF_THE_WHOLE = frozenset(
    {"folder-unread", "folder-loop", "folder-changed", "not-looked-again", "read-only-now", "waiting",
     "system-folder-unread"}
)  # fmt: skip


@dataclass(frozen=True)
class BagFile:
    """One picture or clip of a bag. card_path: as it was called on the card; path: below data/."""

    path: str
    card_path: str
    sha256: str
    kind: str
    size_bytes: int
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bag:
    """What a bag says of itself.

    twins: files of the card that the archive had before. left: what was not copied, and what was told of folders and
    of the card as a whole. others: kept, but neither picture nor clip.
    """

    folder: str
    name: str
    about: dict[str, str]
    files: tuple[BagFile, ...]
    twins: tuple[dict[str, Any], ...] = ()
    left: tuple[dict[str, Any], ...] = ()
    others: tuple[BagFile, ...] = ()

    @property
    def seen(self) -> dict[str, verdict.Tally]:
        """All that was told of the card, for the verdict."""
        told = [(what, f.card_path) for f in (*self.files, *self.others) for what in f.told]
        told += [
            (str(what), str(line.get("card_path")))
            for line in (*self.twins, *self.left)
            for what in line.get("told", ())
        ]
        return verdict.tallied(told)

    @property
    def damaged(self) -> int:
        return sum(tally.count for what, tally in self.seen.items() if what in verdict.DAMAGE)

    @property
    def lost(self) -> list[dict[str, Any]]:
        return [line for line in self.left if set(line.get("told", ())) & LOST]

    @property
    def skipped(self) -> list[dict[str, Any]]:
        return [line for line in self.left if not set(line.get("told", ())) & (LOST | OF_THE_WHOLE)]

    @property
    def copies(self) -> int:
        return len(self.files) + len(self.others)

    @property
    def on_card(self) -> int:
        """Files of the card that the import looked after."""
        return self.copies + len(self.twins) + len(self.lost)


def order_on_card(path: str) -> tuple[object, ...]:
    """Sorts files as the camera wrote them: DCF folder, number; all else by name, 2 before 10."""
    dcf = dcf_of(path)
    if dcf is None:
        return (1, natural_key(path), path)
    folder, _, name = path.rpartition("/")
    return (0, dcf[0], folder, dcf[1], natural_key(name), path)


def read_bag(root: Path, folder: str) -> Bag:
    """A bag of the archive, by its folder below the root. Raises CatalogueTrouble when it has no manifest."""
    try:
        return of_entry(sidecar.read_bag(root, root.joinpath(*folder.split("/"))))
    except OSError as problem:
        raise CatalogueTrouble(
            f"{folder}: has no manifest that can be read ({problem.strerror}), so its pictures are not "
            "known. "
            "Run trod verify, and restore the bag from your backup."
        ) from problem


def of_entry(entry: sidecar.BagEntry) -> Bag:
    """What the catalogue needs of a bag as the archive's walk gives it."""
    told: dict[str, tuple[str, ...]] = {}
    kinds: dict[str, str] = {}
    left = []
    for line in entry.told:
        if line.get("copied") is False:
            left.append(line)
        else:
            told[str(line.get("path"))] = tuple(str(t) for t in line.get("told", ()))
            if "kind" in line:
                kinds[str(line.get("path"))] = str(line["kind"])
    files: list[BagFile] = []
    others: list[BagFile] = []
    for file in entry.files:
        card_path = entry.card_names.get(file.path) or file.path.removeprefix("data/")
        kind = kinds.get(file.path) or kind_of(card_path)
        one = BagFile(file.path, card_path, file.sha256, kind, file.size_bytes or 0, told.get(file.path, ()))
        (files if kind in ("picture", "clip") else others).append(one)
    files.sort(key=lambda f: order_on_card(f.card_path))
    return Bag(entry.path, entry.name, dict(entry.about), tuple(files), entry.kept_before, tuple(left), tuple(others))


def rows_of(bag: Bag, card_import: Import) -> Iterator[Picture]:
    """Picture rows of a bag, not yet looked into. Of several empty files only the first gets a row."""
    seen = set()
    for number, file in enumerate(bag.files):
        if file.sha256 in seen:
            continue
        seen.add(file.sha256)
        problem = next((p.sentence for p in Problem if p in DAMAGE and str(p) in file.told), "")
        yield Picture(
            sha256=file.sha256,
            path=f"{bag.folder}/{file.path}",
            card_import=card_import,
            deployment_id=card_import.deployment_id,
            kind=Picture.Kind.CLIP if file.kind == "clip" else Picture.Kind.PICTURE,
            size_bytes=file.size_bytes,
            file_order=number,
            problem=problem,
        )


def register(bag: Bag, card_import: Import, line: Line) -> int:
    """Put a bag's pictures into the catalogue; what is there already stays. Returns how many it now has."""
    have = set(Picture.objects.filter(card_import=card_import).values_list("sha256", flat=True))
    rows = [row for row in rows_of(bag, card_import) if row.sha256 not in have]
    # A file whose very bytes lie in another bag too (imported before the catalogue knew) keeps its first row.
    elsewhere: set[str] = set()
    for start in range(0, len(rows), ROWS):
        sums = [row.sha256 for row in rows[start : start + ROWS]]
        elsewhere.update(Picture.objects.filter(sha256__in=sums).values_list("sha256", flat=True))
    rows = [row for row in rows if row.sha256 not in elsewhere]
    _keep_others(bag, card_import, {row.sha256 for row in rows} | have)
    for start in range(0, len(rows), ROWS):
        piece = rows[start : start + ROWS]
        with line.saving(start + len(piece), len(rows), "Entering in the catalogue"):
            Picture.objects.bulk_create(piece)
    return len(have) + len(rows)


def _keep_others(bag: Bag, card_import: Import, rows: set[str]) -> None:
    """Note the files of a bag that get no picture's row: sound notes and the like, and second copies.

    Without that a card that comes again would bring them once more.
    """
    KeptFile.objects.filter(card_import=card_import).delete()
    others = {f.path: f.sha256 for f in bag.others}
    others |= {f.path: f.sha256 for f in bag.files if f.sha256 not in rows}
    KeptFile.objects.bulk_create(
        [
            KeptFile(sha256=sha256, path=f"{bag.folder}/{path}", card_import=card_import)
            for path, sha256 in others.items()
        ],
        batch_size=ROWS,
    )


def count(bag: Bag, card_import: Import) -> None:
    """Set an import's counts from its bag. `foreign` comes with the facts."""
    card_import.files = bag.on_card
    card_import.new = bag.copies
    card_import.duplicates = len(bag.twins)
    card_import.damaged = bag.damaged
    card_import.skipped = len(bag.skipped)
    card_import.seen = verdict.plain(bag.seen)


def begun_at(name: str, about: dict[str, str]) -> datetime:
    """When an import of which only the bag is left was begun, as far as its name or its date tells."""
    for text, form in ((name[:17], "%Y-%m-%d-%H%M%S"), (about.get("Bagging-Date", ""), "%Y-%m-%d")):
        try:
            return datetime.strptime(text, form).replace(tzinfo=UTC)
        except ValueError:
            continue
    return datetime(1970, 1, 1, tzinfo=UTC)
