"""The plain JSON beside the pictures, and the walk that rebuilds a catalogue from folders alone.

    ledger.json      of the whole archive: what the reserve keeps (sites, cameras, species…)
    private.json     of the whole archive: locks with their numbers, for their owner's eyes alone
    sidecar.json     of one deployment
    identifications.jsonl      of one deployment, append-only: every identification a person said, and every undo

This room reads and writes them whole and firm and does not know what they mean; the fields are laid down in
docs/archive-format.md. All begin with `"trod": 1`, the number of the format (`trod.archive.formats`).
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from trod.archive import disk, formats, papers, rows
from trod.archive.folders import bag_folders, folders_in, folders_of_bags
from trod.archive.making import UNPLACED, Placement
from trod.archive.manifest import BAG_INFO, MANIFEST, read_bag_info, read_manifest
from trod.archive.papers import IDENTIFICATIONS, LEDGER, PRIVATE, SIDECAR, TORN, archive_id
from trod.archive.register import NOT_THERE
from trod.errors import CatalogueTrouble, NewerFormat, OlderFormat, PaperLosesRows, WrongInput

__all__ = [
    "IDENTIFICATIONS",
    "LEDGER",
    "LOCK",
    "NOT_THERE",
    "PRIVATE",
    "SIDECAR",
    "TORN",
    "BagEntry",
    "BagFile",
    "DeploymentFolder",
    "Identifications",
    "Paper",
    "append_identification",
    "append_identifications",
    "archive_id",
    "bag_folders",
    "deployment_folder",
    "drop_sidecar",
    "folders_of_bags",
    "lock",
    "look_ledger",
    "look_private",
    "look_sidecar",
    "move_bag",
    "read_bag",
    "read_identifications",
    "read_json",
    "read_ledger",
    "read_private",
    "read_sidecar",
    "update_sidecar",
    "walk",
    "write_json",
    "write_ledger",
    "write_private",
    "write_sidecar",
]  # fmt: skip

LOCK = ".lock"
# Fields of sidecar.json that this room itself keeps, so that a writer who does not know them loses nothing.
OWN_FIELDS = ("bags", "moves")

Json = dict[str, Any]


@dataclass(frozen=True)
class Paper:
    """A paper as it was read. fields : without its head; None when there is none.

    sha256 : of its bytes, NOT_THERE for none; a writer who has read it whole names it as `expect`.
    """

    fields: Json | None
    sha256: str


@dataclass(frozen=True)
class Identifications:
    """The lines of identifications.jsonl in their order, and what could not be read, in sentences."""

    lines: tuple[Json, ...]
    torn: tuple[str, ...] = ()


@dataclass(frozen=True)
class BagFile:
    """One file of a bag. path : below the bag.  size_bytes : as on the disk, None when it is not there."""

    path: str
    sha256: str
    size_bytes: int | None


@dataclass(frozen=True)
class BagEntry:
    """One bag as its manifest tells it. path : below the archive.  about : bag-info.txt.

    card_names : {path below the bag: path on the card}, where the two differ.
    kept_before : the lines of already-kept.jsonl.
    told : the lines of told.jsonl.
    """

    name: str
    path: str
    about: tuple[tuple[str, str], ...]
    files: tuple[BagFile, ...]
    card_names: Mapping[str, str]
    kept_before: tuple[Json, ...]
    told: tuple[Json, ...]


@dataclass(frozen=True)
class DeploymentFolder:
    """One folder of bags: a deployment, or (both slugs None) the bags whose deployment nobody knows.

    sidecar : its fields, or None when there is no sidecar.json.
    torn : what could not be read, in sentences.
    """

    site_slug: str | None
    deployment_slug: str | None
    path: Path
    sidecar: Json | None
    words: tuple[Json, ...]
    torn: tuple[str, ...]
    bags: tuple[BagEntry, ...]


# JSON, whole or not at all --------------------------------------------------------------------------------


def read_json(path: Path, kind: str) -> Json | None:
    """The fields of a JSON file of ours without its head, or None when there is none.

    An older format is lifted to today's, in what is returned alone.
    Raises CatalogueTrouble when it is of another kind or no JSON object; NewerFormat, OlderFormat.
    """
    return look_json(path, kind).fields


def look_json(path: Path, kind: str) -> Paper:
    """As `read_json`, with the digest of what was read."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Paper(None, NOT_THERE)
    return Paper(_fields(data, path, kind), papers.digest_of(data))


def _fields(data: bytes, path: Path, kind: str) -> Json:
    try:
        found = json.loads(data)
        version, found_kind = found.pop("trod"), found.pop("kind")
    except (ValueError, KeyError, AttributeError, TypeError, RecursionError) as problem:
        raise CatalogueTrouble(
            f"{path} is not a {kind} as Trod writes it ({problem}). Take it from your backup."
        ) from problem
    if not isinstance(version, int):
        raise CatalogueTrouble(f"{path}: its format is {version!r}, and a number is needed. Take it from your backup.")
    formats.heed(version, str(path))
    if found_kind != kind:
        raise CatalogueTrouble(f"{path} holds a {found_kind}; a {kind} is needed. Take it from your backup.")
    assert isinstance(found, dict)
    return formats.lift_paper(version, kind, found)


def written(kind: str, fields: Mapping[str, Any]) -> bytes:
    """The bytes of a JSON file of ours, in today's format."""
    text = json.dumps({"trod": formats.FORMAT, "kind": kind, **fields}, indent=1, ensure_ascii=False)
    return text.encode("utf-8", "surrogatepass") + b"\n"


def write_json(
    archive_root: Path,
    path: str,
    kind: str,
    fields: Mapping[str, Any],
    *,
    expect: str | None = None,
    coming: Callable[[str], None] | None = None,
) -> str:
    """Write a JSON file of ours, whole or not at all, and firm; returns its SHA-256. See `papers.put`.

    path : below the archive.
    expect : the SHA-256 of the state that its writer has read whole; None is no condition.
    coming : told the SHA-256 of what is about to be written, before it is.
    Raises PaperChanged, PaperLosesRows, PaperDamaged, DiskFull, ArchiveUnwritable.
    """
    root = Path(archive_root)
    data = written(kind, fields)

    def check(old: bytes) -> None:
        try:
            before = _fields(old, papers.place_of(root, path), kind)
        except CatalogueTrouble:  # nobody can say what it held; it is kept
            return
        lost = rows.vanished(before, fields) if rows.is_under_rule(before, fields) else []
        if lost:
            elsewhere = rows.stand_elsewhere(root, path, lost)
            lost = [row for row in lost if row not in elsewhere]
        if lost:
            raise PaperLosesRows(path, tuple(lost))

    if coming is not None:
        coming(papers.digest_of(data))
    with disk.trouble_told(papers.place_of(root, path), "it was written"):
        return papers.put(root, path, data, kind=kind, records=rows.count(fields), expect=expect, check=check).sha256


def lock(folder: Path, *, wait_s: float = 30.0) -> disk.Lock:
    """Keep other processes from writing the JSON files of a folder. Raises TimeoutError on entering."""
    disk.make_folder(folder)
    return disk.Lock(folder / LOCK, wait_s=wait_s)


def read_ledger(archive_root: Path) -> Json | None:
    """The fields of the ledger, or None when there is none yet. Raises CatalogueTrouble."""
    return look_ledger(archive_root).fields


def look_ledger(archive_root: Path) -> Paper:
    """The ledger with its digest. Raises CatalogueTrouble."""
    return look_json(Path(archive_root) / LEDGER, "ledger")


def write_ledger(archive_root: Path, fields: Mapping[str, Any], *, expect: str | None = None) -> str:
    """Write the ledger, whole or not at all; returns its SHA-256. expect : see `write_json`."""
    with lock(Path(archive_root)):
        return write_json(archive_root, LEDGER, "ledger", fields, expect=expect)


def read_private(archive_root: Path) -> Json | None:
    """The fields of private.json, or None when there is none. Raises CatalogueTrouble."""
    return look_private(archive_root).fields


def look_private(archive_root: Path) -> Paper:
    """private.json with its digest. Raises CatalogueTrouble."""
    return look_json(Path(archive_root) / PRIVATE, "private")


def write_private(archive_root: Path, fields: Mapping[str, Any], *, expect: str | None = None) -> str:
    """Write private.json, whole or not at all; returns its SHA-256. expect : see `write_json`."""
    with lock(Path(archive_root)):
        return write_json(archive_root, PRIVATE, "private", fields, expect=expect)


def deployment_folder(archive_root: Path, place: Placement) -> Path:
    """The folder of a deployment, whether or not it is there yet."""
    return Path(archive_root).joinpath(*place.folder.split("/"))


def read_sidecar(folder: Path) -> Json | None:
    """The fields of the sidecar of a deployment, or None when there is none yet. Raises CatalogueTrouble."""
    return look_sidecar(folder).fields


def look_sidecar(folder: Path) -> Paper:
    """The sidecar of a deployment with its digest. Raises CatalogueTrouble."""
    return look_json(folder / SIDECAR, "deployment")


def write_sidecar(folder: Path, fields: Mapping[str, Any], *, expect: str | None = None) -> str:
    """Write the sidecar of a deployment; returns its SHA-256. `bags` and `moves`, where not given, stay as they are.

    folder : <archive>/<site>/<deployment>.  expect : see `write_json`.
    """
    return update_sidecar(folder, lambda old: {**{k: old[k] for k in OWN_FIELDS if k in old}, **fields}, expect=expect)


def update_sidecar(folder: Path, change: Callable[[Json], Mapping[str, Any]], *, expect: str | None = None) -> str:
    """Read, change and write the sidecar of a deployment, while no other process does; returns its SHA-256.

    folder : <archive>/<site>/<deployment>.  expect : see `write_json`.
    """
    root = papers.root_of(folder)
    with lock(folder):
        old = look_sidecar(folder)
        path = papers.path_of(root, folder / SIDECAR)
        return write_json(root, path, "deployment", change(old.fields or {}), expect=expect)


def drop_sidecar(folder: Path) -> bool:
    """Take the sidecar of a deployment away with its folder, if nothing else lies there; its last state is kept.

    Returns whether it was so.
    """
    path = folder / SIDECAR
    if not path.exists() or not {p.name for p in folder.iterdir()} <= {SIDECAR, LOCK}:
        return False
    with disk.trouble_told(path, "it was taken away"):
        root = papers.root_of(folder)
        papers.drop(root, papers.path_of(root, path))
        disk.remove(folder / LOCK)
        disk.remove_folder(folder)
    return True


# Identifications: append-only ---------------------------------------------------------------------------------------


def append_identifications(folder: Path, words: Iterable[Mapping[str, Any]]) -> None:
    """Append identifications to identifications.jsonl and make them firm; when this returns they outlive a power cut.

    A line that was torn by an earlier crash is moved to identifications.torn first; a whole line is never touched.
    """
    lines = [json.dumps({"trod": formats.FORMAT, **identification}).encode() + b"\n" for identification in words]
    if not lines:
        return
    path, root = folder / IDENTIFICATIONS, papers.root_of(folder)
    with lock(folder), disk.trouble_told(path, "a word was written"):
        papers.append(root, papers.path_of(root, path), b"".join(lines), is_whole=lambda line: _word(line) is not None)


def append_identification(folder: Path, identification: Mapping[str, Any]) -> None:
    """Append one identification; see `append_identifications`."""
    append_identifications(folder, [identification])


def read_identifications(folder: Path) -> Identifications:
    """All identifications of a deployment. What cannot be read is told, not raised; the others are returned."""
    path = folder / IDENTIFICATIONS
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Identifications(())
    whole, last = disk.whole_lines(data)
    lines, torn = [], []
    for number, line in enumerate([*whole, last], 1):
        if not line.strip():
            continue
        identification = _word(line)
        if identification is None:
            end = " (the last; a crash tore it)" if number == len(whole) + 1 else ""
            torn.append(f"{path.name}: line {number} cannot be read{end}")
            continue
        version = identification.pop("trod", None)
        if not isinstance(version, int):
            torn.append(f"{path.name}: line {number} does not tell its format")
            continue
        try:
            formats.heed(version, f"{path.name}: line {number}")
        except (NewerFormat, OlderFormat) as problem:
            torn.append(str(problem))
            continue
        lines.append(formats.lift_line(version, identification))
    return Identifications(tuple(lines), tuple(torn))


def _word(line: bytes) -> Json | None:
    """A line as an object. No true beginning of a JSON object is one itself, so a torn line never passes."""
    try:
        identification = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return identification if isinstance(identification, dict) else None


# Walking and moving ---------------------------------------------------------------------------------------


def walk(archive_root: Path) -> Iterator[DeploymentFolder]:
    """All that a catalogue can be rebuilt from, a folder of bags at a time. Reads no picture.

    Damage is told in `torn`, never raised: what can be read is returned.
    """
    root = Path(archive_root)
    for site, deployment, folder in folders_of_bags(root):
        torn: list[str] = []
        sidecar = None
        try:
            sidecar = read_sidecar(folder)
        except (CatalogueTrouble, OSError) as problem:
            torn.append(str(problem))
        words = Identifications(())
        try:
            words = read_identifications(folder)
        except OSError as problem:
            torn.append(f"{IDENTIFICATIONS} cannot be read: {problem.strerror}")
        bags = []
        for bag in folders_in(folder):
            try:
                bags.append(read_bag(root, bag))
            except OSError as problem:
                torn.append(f"The bag {bag.name} cannot be read: {problem.strerror}")
        torn += words.torn
        yield DeploymentFolder(site, deployment, folder, sidecar, words.lines, tuple(torn), tuple(bags))


def read_bag(archive_root: Path, bag: Path) -> BagEntry:
    """One bag by its manifest, with the sizes on the disk. Raises OSError when there is no manifest."""
    files = []
    for path, sha256 in read_manifest((bag / MANIFEST).read_bytes()).files.items():
        try:
            size: int | None = bag.joinpath(*path.split("/")).stat().st_size
        except OSError:
            size = None
        files.append(BagFile(path, sha256, size))
    about: list[tuple[str, str]] = []
    with contextlib.suppress(FileNotFoundError):
        about = read_bag_info((bag / BAG_INFO).read_bytes())
    names = _lines(bag / "card-names.jsonl")
    return BagEntry(
        name=bag.name,
        path=bag.relative_to(archive_root).as_posix(),
        about=tuple(about),
        files=tuple(files),
        card_names={str(n["path"]): str(n["card_path"]) for n in names if "path" in n and "card_path" in n},
        kept_before=tuple(_lines(bag / "already-kept.jsonl")),
        told=tuple(_lines(bag / "told.jsonl")),
    )


def _lines(path: Path) -> list[Json]:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    return [identification for line in data.split(b"\n") if (identification := _word(line)) is not None]


def move_bag(archive_root: Path, bag: str, place: Placement, *, now: datetime) -> str:
    """Move a bag, whole, to another deployment (or to `unplaced/`), in one step, and note it in the sidecars.

    bag : its path below the archive, such as `unplaced/2026-05-17-a`.
    Returns the new path. The bag itself is not changed. Called again after a crash it finishes what it began.
    Raises WrongInput when there is no such bag or the place is taken.
    """
    root = Path(archive_root)
    parts = bag.split("/")
    if len(parts) not in (2, 3) or any(p.startswith(".") or not p for p in parts):
        raise WrongInput("bag", got=bag, needed="unplaced/<name> or <site>/<deployment>/<name>")
    old, name, home = root.joinpath(*parts), parts[-1], deployment_folder(root, place)
    new = home / name
    new_path = f"{place.folder}/{name}"
    if old == new:
        raise WrongInput("place", got=place.folder, needed="another place than the bag's own")
    if new.exists() and old.exists():
        raise WrongInput("place", got=new_path, needed="a place without a bag of that name")
    if not new.exists():
        if not (old / MANIFEST).is_file():
            raise WrongInput("bag", got=bag, needed="a bag of this archive")

        def carry() -> None:
            disk.rename(old, new)
            disk.flush_folder(home)
            disk.flush_folder(old.parent)

        with disk.trouble_told(new, "a bag was moved"):
            disk.make_folder(home)
            papers.move_bag(root, bag, new_path, carry)
    move = {"bag": name, "from": bag, "to": new_path, "at": now.isoformat()}

    def arrived(sidecar: Json) -> Json:
        if any((m["bag"], m["from"], m["to"]) == (name, bag, new_path) for m in sidecar.get("moves", [])):
            return sidecar  # called again after a crash
        bags = [*(b for b in sidecar.get("bags", []) if b != name), name]
        return {**sidecar, "bags": bags, "moves": [*sidecar.get("moves", []), move]}

    def left(sidecar: Json) -> Json:
        return {**sidecar, "bags": [b for b in sidecar.get("bags", []) if b != name]}

    if place.folder != UNPLACED:
        update_sidecar(home, arrived)
    if parts[0] != UNPLACED and (old.parent / SIDECAR).exists():
        update_sidecar(old.parent, left)
    return new_path
