"""An archive of an older format, brought up to today's in place; the papers as they were are kept.

Three steps, each of which may be broken off and begun again:

1. every paper of an older format is copied to `.earlier/format-<its number>/`, firm and under the register;
2. the register is written anew with today's number: from here on an older Trod refuses the archive;
3. each of those papers is written in today's format, in one step.

A paper tells by its own number whether it was written already. Lines of identifications.jsonl are never changed: those
of an older format are lifted whenever they are read. Bags are not touched.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from trod.archive import disk, formats, papers, register, sidecar
from trod.archive.card import Progress
from trod.archive.papers import EARLIER
from trod.errors import PaperDamaged


@dataclass(frozen=True)
class Upgraded:
    """What an upgrade did. papers : below the archive, those that were lifted.  kept : where each was copied to."""

    papers: tuple[str, ...]
    kept: tuple[str, ...]

    @property
    def sentence(self) -> str:
        folders = sorted({"/".join(path.split("/")[:2]) for path in self.kept})
        return (
            f"The archive was brought up to format {formats.FORMAT}: {len(self.papers)} papers were written anew. As "
            f"they were before they are kept in {' and '.join(folders)} of the archive."
        )


def format_of(root: Path) -> int | None:
    """The number of an archive's format: of its register, else of its ledger; None where neither tells.

    Raises NewerFormat or OlderFormat for one that this Trod does not read, before anything else of it is believed.
    """
    view = register.read(Path(root))
    register.heed(view)
    if view.there:
        return view.format
    number = _number(papers.bytes_of(Path(root), papers.LEDGER))
    if number is not None:
        formats.heed(number, "The archive")
    return number


def upgrade(root: Path, *, progress: Progress | None = None) -> Upgraded | None:
    """Bring an archive up to today's format; None when there is nothing to do.

    Nobody else may be at the archive meanwhile. Nothing is changed where a paper that is to be lifted is not as the
    register says: a person looks at it first.
    progress : called with (papers written, papers in all).
    Raises NewerFormat, OlderFormat, PaperDamaged, RegisterDamaged, DiskFull, ArchiveUnwritable; called again it goes on.
    """
    root = Path(root)
    before = format_of(root)
    with papers.held(root) as writer:
        todo = _older(root)
        for path, data in todo.items():
            known = writer.state.things.get(path) if writer is not None else None
            if writer is not None and not papers.same(papers.thing_of(data, papers.kind_of(root, path)), known):
                raise PaperDamaged(path, "it is not as the register says")
    if not todo and before in (formats.FORMAT, None):
        return None
    lifted = {path: _lifted(root, path, data) for path, data in todo.items()}
    kept = [_keep(root, path, data) for path, data in todo.items()]
    with papers.held(root) as writer:
        if writer is not None and writer.state.format != formats.FORMAT:
            writer.renew(of_format=formats.FORMAT)
    for count, (path, (kind, data)) in enumerate(lifted.items(), 1):
        with disk.trouble_told(papers.place_of(root, path), "it was brought up to a newer format"):
            papers.put(root, path, data, kind=kind, expect=papers.digest_of(todo[path]))
        if progress is not None:
            progress(count, len(lifted))
    return Upgraded(tuple(todo), tuple(kept))


def _older(root: Path) -> dict[str, bytes]:
    """{path: bytes} of the papers that are of an older format. What cannot be read is left to who tells of it."""
    found: dict[str, bytes] = {}
    for path in papers.all_papers(root):
        if path.endswith(".json") and not path.startswith(f"{EARLIER}/"):
            data = papers.bytes_of(root, path)
            number = _number(data)
            if data is not None and number is not None and number < formats.FORMAT:
                formats.heed(number, path)
                found[path] = data
    return found


def _lifted(root: Path, path: str, data: bytes) -> tuple[str, bytes]:
    """(kind, bytes) of a paper in today's format."""
    kind = papers.kind_of(root, path)
    fields = sidecar.read_json(papers.place_of(root, path), kind)
    return kind, sidecar.written(kind, fields or {})


def _keep(root: Path, path: str, data: bytes) -> str:
    """Copy a paper as it is, once; returns where. One of the same path that was lifted earlier stays beside it."""
    head = f"{EARLIER}/format-{_number(data)}"
    count, kept = 1, f"{head}/{path}"
    while (there := papers.bytes_of(root, kept)) not in (None, data):
        count += 1
        kept = f"{head}-{count}/{path}"
    if there is None:
        with disk.trouble_told(papers.place_of(root, kept), "a copy of a paper was written"):
            papers.put(root, kept, data, kind="file", keep=False)
    return kept


def _number(data: bytes | None) -> int | None:
    """The number that a paper bears; None where it tells none."""
    try:
        number = json.loads(data or b"")["trod"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return number if isinstance(number, int) else None
