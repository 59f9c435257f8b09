"""Papers of the archive: written, appended to and taken away under its register, the earlier states kept.

A change of a paper is made in this order, so that a kill at any moment leaves a state that `verify` understands:
the new bytes aside and firm; a line in both files of the register, firm; the old paper's bytes under a second name
below `.papers/`; the rename; the mark in the register. The register's last line is the one that may stand on the disk
or not; every other must.

An archive that has no register (it was made before there was one) is written as ever, until somebody puts it under one
(`enrol`); an archive that holds nothing yet gets one with its first paper or bag.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from trod.archive import disk, earlier, register
from trod.archive.folders import bag_folders, folders_of_bags
from trod.archive.making import UNPLACED
from trod.archive.manifest import TAG_MANIFEST, hash_file
from trod.archive.register import BAG_KIND, GONE, NOT_THERE, WORDS_KIND, Kept, State, Thing, Writer
from trod.errors import PaperChanged, PaperDamaged, RegisterDamaged, WrongInput

Json = dict[str, Any]

LEDGER = "ledger.json"
PRIVATE = "private.json"
SIDECAR = "sidecar.json"
IDENTIFICATIONS = "identifications.jsonl"
TORN = "identifications.torn"  # what stood torn at the end of identifications.jsonl when it was mended
NOTES = "field-notes"
EARLIER = ".earlier"  # in a backup: earlier states of papers
APPENDED = (IDENTIFICATIONS, TORN)

_writers: dict[Path, Writer] = {}
_sound: dict[str, set[str]] = {}  # by the archive's identity: the append-only papers verified whole in this process
_guard = threading.Lock()


def place_of(root: Path, path: str) -> Path:
    """Where a path of the archive lies on the disk."""
    return root.joinpath(*path.split("/"))


def root_of(folder: Path) -> Path:
    """The root of the archive that a folder of bags lies in."""
    return folder.parent if folder.name == UNPLACED else folder.parent.parent


def path_of(root: Path, file: Path) -> str:
    """The path below the archive of a file or folder on the disk."""
    return file.relative_to(root).as_posix()


def digest_of(data: bytes | None) -> str:
    """The SHA-256 of a paper's bytes; NOT_THERE for none."""
    return NOT_THERE if data is None else hashlib.sha256(data).hexdigest()


def bytes_of(root: Path, path: str) -> bytes | None:
    """A paper as it lies on the disk; None when it is not there. Raises OSError."""
    try:
        return place_of(root, path).read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None


def archive_id(root: Path) -> str | None:
    """The identity of an archive; None while it is not under a register, or when that cannot be read."""
    state = register.read(Path(root)).state
    return state.archive if state is not None else None


# How things stand -------------------------------------------------------------------------------------------


def thing_on_disk(root: Path, path: str, kind: str) -> Thing | None:
    """A paper or a bag as it lies there; None when it is not there. Raises OSError."""
    place = place_of(root, path)
    if kind == BAG_KIND:
        try:
            return Thing(BAG_KIND, hash_file(place / TAG_MANIFEST)[0])
        except (FileNotFoundError, NotADirectoryError):
            return None
    data = bytes_of(root, path)
    return None if data is None else thing_of(data, kind)


def thing_of(data: bytes, kind: str) -> Thing:
    """What the register tells of a paper with these bytes; of an append-only one a torn last line does not count."""
    if kind == WORDS_KIND:
        lines, torn = disk.whole_lines(data)
        chain = register.chain_of(line + b"\n" for line in lines)
        return Thing(WORDS_KIND, chain, len(data) - len(torn), records=len(lines))
    return Thing(kind, digest_of(data), len(data))


def same(found: Thing | None, wanted: Thing | None) -> bool:
    """Whether what lies there is what must be there."""
    if wanted is None or wanted.kind == GONE:
        return found is None
    return found is not None and (found.sha256, found.size_bytes) == (wanted.sha256, wanted.size_bytes)


def last_stands(root: Path, state: State) -> str:
    """How the last change of the register stands on the disk.

    "after" it, "before" it, "between" for lines of which only some were appended, or "neither". Raises OSError.
    """
    if state.last is None or state.last.fields["op"] == "have":
        return "after"
    now: dict[str, Thing | None] = {}
    for path, before in state.before.items():
        after = state.things.get(path)
        kind = next(t.kind for t in (after, before) if t is not None and t.kind != GONE)
        now[path] = thing_on_disk(root, path, kind)
    if all(same(now[path], state.things.get(path)) for path in now):
        return "after"
    if all(same(now[path], before) for path, before in state.before.items()):
        return "before"
    for path, before in state.before.items():
        if now[path] is not None and now[path].kind == WORDS_KIND and begins_with(root, path, before):  # type: ignore[union-attr]
            return "between"
    return "neither"


def begins_with(root: Path, path: str, wanted: Thing | None) -> bool:
    """Whether an append-only paper holds, before anything else, the lines that it must hold."""
    data = bytes_of(root, path) or b""
    size = wanted.size_bytes if wanted is not None else 0
    if len(data) < size:
        return False
    lines, rest = disk.whole_lines(data[:size])
    return not rest and register.chain_of(line + b"\n" for line in lines) == (wanted.sha256 if wanted else NOT_THERE)


def all_papers(root: Path) -> Iterator[str]:
    """Every paper that lies there, as a path below the archive: what the register must tell of, bags left out."""
    for name in (LEDGER, PRIVATE):
        if (root / name).is_file():
            yield name
    for _, _, folder in folders_of_bags(root):
        for name in (SIDECAR, IDENTIFICATIONS, TORN):
            if (folder / name).is_file():
                yield path_of(root, folder / name)
    for below in (NOTES, EARLIER):
        for file in sorted((root / below).rglob("*")):
            if file.is_file() and not file.name.startswith(".") and not file.name.endswith(".new"):
                yield path_of(root, file)


def kind_of(root: Path, path: str) -> str:
    """What a paper is, by its name and its own word."""
    name = path.rpartition("/")[2]
    if name in APPENDED and not path.startswith(f"{EARLIER}/"):
        return WORDS_KIND
    if not name.endswith(".json"):
        return "file"
    try:
        return str(json.loads(bytes_of(root, path) or b"").get("kind", "file"))
    except (ValueError, AttributeError, RecursionError):
        return "file"


def is_bare(root: Path) -> bool:
    """Whether the archive holds neither paper nor bag."""
    return next(all_papers(root), None) is None and next(bag_folders(root), None) is None


# Under the register -----------------------------------------------------------------------------------------


@contextlib.contextmanager
def held(root: Path) -> Iterator[Writer | None]:
    """The register, for this process and thread alone; None where the archive is not under one.

    Whatever a killed writer left is settled first. Raises RegisterDamaged, and TimeoutError on entering.
    """
    root = root.resolve()
    with register.lock(root):
        with _guard:
            writer = _writers.pop(root, None)
        if writer is None or not writer.is_current():
            writer = _open(root)
        yield writer
        if writer is not None:  # not after an error: then what stands on the disk is looked at anew
            writer.compact()
            with _guard:
                _writers[root] = writer


def forget() -> None:
    """Know nothing of any archive any more, as a new process does."""
    with _guard:
        _writers.clear()
        _sound.clear()


def _open(root: Path) -> Writer | None:
    view = register.read(root)
    register.heed(view)
    if not view.there:
        if not is_bare(root):
            return None
        register.write_both(root, register.compacted(register.new_identity(), {}, number=0, follows=NOT_THERE))
        view = register.read(root)
    if view.state is None or view.broken:
        raise RegisterDamaged(
            f"The register of the archive ({register.REGISTER} and {register.TWIN}) cannot be gone on with: "
            f"{view.broken}. Bring both back from your backup, or look the archive through and say "
            "trod verify --register."
        )
    writer = Writer(root, view)
    state = writer.state
    if state.last is None or state.last.done:
        return writer
    stands = last_stands(root, state)
    if stands == "after":
        writer.end()
        earlier.prune(root, state.last.fields.get("drops", ()))
    elif stands == "before":
        earlier.prune(root, [state.last.fields["keeps"]["name"]] if "keeps" in state.last.fields else ())
        writer.undo()
    elif stands == "between":  # some lines of an append are there: what is whole counts
        (path,) = state.before
        before = state.before[path]
        writer.undo()
        found = thing_on_disk(root, path, WORDS_KIND)
        assert found is not None
        tell(writer, path, _next(before, found))
    return writer


def _next(earlier: Thing | None, now: Thing) -> Thing:
    """A thing's next generation, with the kept states of the one before it."""
    if earlier is None:
        return now
    return Thing(now.kind, now.sha256, now.size_bytes, earlier.generation + 1, now.records, earlier.kept)


def tell(writer: Writer, path: str, thing: Thing) -> None:
    """Tell the register how a thing stands, without a change of the disk."""
    writer.begin(register.have(path, thing))
    writer.end()


@dataclass(frozen=True)
class Written:
    """What a writing did. sha256 : of the paper as it stands now.  kept : where its earlier state lies, or empty."""

    sha256: str
    kept: str = ""


def put(
    root: Path,
    path: str,
    data: bytes,
    *,
    kind: str,
    records: int | None = None,
    expect: str | None = None,
    check: Callable[[bytes], None] | None = None,
    keep: bool = True,
    over_damage: bool = False,
) -> Written:
    """Write a paper, whole or not at all, in place of the one there is.

    expect : the SHA-256 of the paper that its writer has read whole, NOT_THERE for none; None is no condition.
    check : given the bytes that are to be replaced; may raise.
    keep : whether they are kept below `.papers/`.
    over_damage : a person decided: write even where the disk holds something else than the register says.
    Raises PaperChanged, PaperDamaged, RegisterDamaged, OSError.
    """
    place = place_of(root, path)
    disk.make_folder(place.parent)
    with held(root) as writer:
        old = bytes_of(root, path)
        found, new = digest_of(old), digest_of(data)
        if expect is not None and found != expect:
            raise PaperChanged(path, expected=expect, found=found)
        known = writer.state.things.get(path) if writer is not None else None
        there = None if old is None else thing_of(old, known.kind if known is not None else kind)
        sound = writer is None or same(there, known)
        if not sound and not over_damage:
            raise PaperDamaged(path, _difference(found, NOT_THERE if known is None else known.sha256))
        if found == new and sound:
            return Written(new)
        if old is not None and check is not None:
            check(old)
        generation = known.generation + 1 if known is not None else 1
        keeps: Kept | None = None
        drops: tuple[str, ...] = ()
        if old is not None and keep:
            kept = _kept(root, path, known, writer)
            keeps, drops = earlier.plan(root, path, found, generation - 1, good=sound, kept=kept)
        if found == new:
            keeps, drops = None, ()
        aside = disk.write_aside(place, data)
        if writer is not None:
            now = thing_of(data, kind)
            fields = register.have(path, replace(now, generation=generation, records=records or now.records))
            writer.begin({**fields, "op": "put", **_keeping(keeps, drops)})
        if keeps is not None:
            earlier.keep(root, path, keeps.name)
        disk.put_in_place(aside, place)
        if writer is not None:
            writer.end()
        earlier.prune(root, drops)
    return Written(new, keeps.name if keeps is not None else "")


def _kept(root: Path, path: str, known: Thing | None, writer: Writer | None) -> tuple[Kept, ...]:
    if writer is None:
        return earlier.there(root, path)
    return known.kept if known is not None else ()


def _difference(found: str, wanted: str) -> str:
    if not wanted:
        return "it is not in the register"
    return "it is not as the register says" if found else "it is not there, and the register says that it must be"


def append(root: Path, path: str, data: bytes, *, is_whole: Callable[[bytes], bool]) -> None:
    """Append lines to an append-only paper; when this returns they are firm.

    data : lines, each with its line feed.
    is_whole : whether a last line without its line feed is whole all the same; one that is not is moved to
        `identifications.torn` beside it first. A whole line is never touched.
    Raises PaperDamaged when the lines before are not those that the register tells of.
    """
    place = place_of(root, path)
    with held(root) as writer:
        known = writer.state.things.get(path) if writer is not None else None
        if writer is not None:
            _prove(root, path, known, _sound.setdefault(writer.state.archive, set()))
        start = known.size_bytes if known is not None and known.kind != GONE else 0
        tail = _tail(place, start if writer is not None else None)
        lines, torn = disk.whole_lines(tail)
        if torn and not is_whole(torn):
            if writer is not None and lines:
                found = b"".join(line + b"\n" for line in lines)
                known = _grown(known, found)
                tell(writer, path, known)
            aside = path.rpartition("/")[0] + f"/{TORN}"
            _append(root, aside, torn + b"\n", b"", writer)
            disk.truncate(place, place.stat().st_size - len(torn))
            tail = b""
        end = b"\n" if tail and not tail.endswith(b"\n") else b""
        _append(root, path, end + data, tail if writer is not None else b"", writer)


def _append(root: Path, path: str, data: bytes, tail: bytes, writer: Writer | None) -> None:
    """tail : what stands behind the lines that the register tells of."""
    if writer is not None:
        known = writer.state.things.get(path)
        writer.begin({**register.have(path, _grown(known, tail + data)), "op": "put"})
        _sound.setdefault(writer.state.archive, set()).add(path)
    disk.append(place_of(root, path), data)
    if writer is not None:
        writer.end()


def _grown(known: Thing | None, lines: bytes) -> Thing:
    start, size, count = NOT_THERE, 0, 0
    if known is not None and known.kind != GONE:
        start, size, count = known.sha256, known.size_bytes, known.records or 0
    whole = [line + b"\n" for line in lines.split(b"\n")[:-1]]
    chain = register.chain_of(whole, start)
    return _next(known, Thing(WORDS_KIND, chain, size + len(lines), records=count + len(whole)))


def _tail(place: Path, start: int | None) -> bytes:
    """What stands in a file from a place on; from the last line feed on where no place is given."""
    try:
        with place.open("rb") as file:
            if start is not None:
                file.seek(start)
                return file.read()
            data = file.read()
    except FileNotFoundError:
        return b""
    return data[data.rfind(b"\n") + 1 :]


def _prove(root: Path, path: str, known: Thing | None, sound: set[str]) -> None:
    """See that the lines the register tells of are there: all of them once in a process, then their size."""
    place = place_of(root, path)
    size = place.stat().st_size if place.exists() else 0
    if known is None or known.kind == GONE:
        if size:
            raise PaperDamaged(path, "it is not in the register")
        return
    if size < known.size_bytes:
        raise PaperDamaged(path, f"it has {size} bytes where the register says {known.size_bytes}")
    if path not in sound:
        if not begins_with(root, path, known):
            raise PaperDamaged(path, "its lines are not those that the register tells of")
        sound.add(path)


def drop(root: Path, path: str, *, keep: bool = True) -> None:
    """Take a paper away on purpose; its last state is kept, unless `keep` says otherwise."""
    place = place_of(root, path)
    with held(root) as writer:
        old = bytes_of(root, path)
        known = writer.state.things.get(path) if writer is not None else None
        if old is None:
            return
        if writer is not None and (known is None or known.sha256 != digest_of(old)):
            raise PaperDamaged(path, _difference(digest_of(old), known.sha256 if known else NOT_THERE))
        generation = known.generation if known is not None else 0
        keeps: Kept | None = None
        drops: tuple[str, ...] = ()
        if keep:
            kept = _kept(root, path, known, writer)
            keeps, drops = earlier.plan(root, path, digest_of(old), generation, good=True, kept=kept)
        if writer is not None:
            fields = register.have(path, Thing(GONE, NOT_THERE, generation=generation + 1))
            writer.begin({**fields, "op": "put", **_keeping(keeps, drops)})
        if keeps is not None:
            earlier.keep(root, path, keeps.name)
        disk.remove(place)
        disk.flush_folder(place.parent)
        if writer is not None:
            writer.end()
        earlier.prune(root, drops)


def _keeping(keeps: Kept | None, drops: tuple[str, ...]) -> Json:
    """What a line of the register says of the state that is kept, and of those that are kept no longer."""
    fields: Json = {}
    if keeps is not None:
        fields["keeps"] = {"name": keeps.name, "sha256": keeps.sha256, "good": keeps.good}
    return {**fields, "drops": list(drops)} if drops else fields


def forget_kept(root: Path, path: str) -> int:
    """Take the kept earlier states of a paper away on purpose, those of before an upgrade too.

    What stood in them is to be read no more. Returns how many there were. The paper itself stays as it is.
    """
    copies = [path_of(root, file) for file in sorted((root / EARLIER).glob(f"*/{path}"))]
    for copy in copies:
        drop(root, copy, keep=False)
    with held(root) as writer:
        known = writer.state.things.get(path) if writer is not None else None
        names = sorted({k.name for k in (*earlier.there(root, path), *(known.kept if known is not None else ()))})
        if writer is not None and known is not None and names:
            writer.begin({**register.have(path, replace(known, kept=())), "drops": names})
        earlier.prune(root, names)
        if writer is not None and known is not None and names:
            writer.end()
    return len(names) + len(copies)


def give_place(root: Path, path: str, sha256: str, move: Callable[[], None]) -> None:
    """Give a finished bag its place. sha256 : of its tag manifest. move : does it, in one step and firm."""
    with held(root) as writer:
        if writer is not None:
            writer.begin({**register.have(path, Thing(BAG_KIND, sha256)), "op": "put"})
        move()
        if writer is not None:
            writer.end()


def move_bag(root: Path, old: str, new: str, move: Callable[[], None]) -> None:
    """Move a bag. move : does it, in one step and firm."""
    with held(root) as writer:
        if writer is not None:
            if old not in writer.state.things:
                found = thing_on_disk(root, old, BAG_KIND)
                if found is None:
                    raise PaperDamaged(old, "it has no tag manifest")
                tell(writer, old, found)
            writer.begin({"op": "move", "path": new, "from": old})
        move()
        if writer is not None:
            writer.end()


# Put under a register ---------------------------------------------------------------------------------------


def everything(root: Path) -> dict[str, Thing]:
    """All papers and bags as they lie there, each read whole. Raises OSError."""
    things: dict[str, Thing] = {}
    for path in all_papers(root):
        thing = thing_on_disk(root, path, kind_of(root, path))
        if thing is not None:
            things[path] = replace(thing, kept=earlier.there(root, path))
    for bag in bag_folders(root):
        path = path_of(root, bag)
        thing = thing_on_disk(root, path, BAG_KIND)
        if thing is not None:
            things[path] = thing
    return things


def found_archive(root: Path, archive: str | None = None, *, number: int | None = None) -> None:
    """Give a folder that holds nothing yet a register.

    archive, number (of its format) : those of another, when it is its copy.
    """
    root = Path(root).resolve()
    with register.lock(root):
        if not register.read(root).there and is_bare(root):
            identity = archive or register.new_identity()
            register.write_both(root, register.compacted(identity, {}, number=0, follows=NOT_THERE, of_format=number))


def enrol(root: Path, *, archive: str | None = None, renew: bool = False) -> int:
    """Put under the register what lies in the archive and is not in it yet; how much that was.

    Only ever done when a person asked for it: what lies there now is from then on what must be there. Things that the
    register knows already are left as it tells them.
    archive : the identity to give it where there is none. renew : make a register anew where the old one cannot be
    used; its files are kept aside below `.papers/`.
    Raises RegisterDamaged, OSError.
    """
    root = Path(root).resolve()
    with register.lock(root):
        with _guard:
            _writers.pop(root, None)
        view = register.read(root)
        register.heed(view)
        if not view.there or (renew and (view.broken or view.state is None)):
            things = everything(root)
            if view.there:
                for name in register.TWINS:
                    earlier.set_aside(root, name)
            old = view.state.archive if view.state is not None else None
            identity = archive or old or register.new_identity()
            register.write_both(root, register.compacted(identity, things, number=0, follows=NOT_THERE))
            return len(things)
    added = 0
    with held(root) as writer:
        assert writer is not None
        for path, thing in everything(root).items():
            known = writer.state.things.get(path)
            if known is None or known.kind == GONE:
                tell(writer, path, thing if known is None else replace(_next(known, thing), kept=thing.kept))
                added += 1
    return added


def accept(root: Path, path: str) -> None:
    """Let the register say of a paper or a bag what now lies there: a person looked at it and says that it is right.

    Raises WrongInput for what is neither there nor in the register.
    """
    with held(root) as writer:
        if writer is None:
            raise WrongInput("path", got=path, needed="an archive under a register; say trod verify --register first")
        known = writer.state.things.get(path)
        kind = known.kind if known is not None and known.kind != GONE else ""
        if not kind:
            kind = BAG_KIND if (place_of(root, path) / TAG_MANIFEST).is_file() else kind_of(root, path)
        found = thing_on_disk(root, path, kind)
        if found is None and known is None:
            raise WrongInput("path", got=path, needed="a paper or a bag, by its path below the archive")
        now = found if found is not None else Thing(GONE, NOT_THERE)
        tell(writer, path, _next(known, now))


def kept_states(root: Path) -> dict[str, tuple[Kept, ...]]:
    """{path: its kept earlier states, the oldest first} of all papers that have any."""
    view = register.read(Path(root))
    register.heed(view)
    things = view.state.things if view.state is not None else {}
    return {path: thing.kept for path, thing in sorted(things.items()) if thing.kept}


def bring_back(root: Path, name: str) -> tuple[str, str]:
    """Put a kept state in the place of the paper as it is now, which is kept in turn.

    name : of the kept state, as `kept_states` gives it.
    Returns the paper's path and the name under which what was replaced is kept (empty when nothing was there).
    Raises WrongInput when there is no such state, PaperDamaged when it is not as it was kept.
    """
    root = Path(root)
    for path, kept in kept_states(root).items():
        for state in kept:
            if state.name == name:
                data = bytes_of(root, f"{earlier.FOLDER}/{name}")
                if digest_of(data) != state.sha256 or data is None:
                    raise PaperDamaged(f"{earlier.FOLDER}/{name}", "it is not as it was kept")
                kind = "file"
                with contextlib.suppress(ValueError, AttributeError, RecursionError):
                    kind = str(json.loads(data).get("kind", kind))
                with disk.trouble_told(place_of(root, path), "an earlier state was brought back"):
                    written = put(root, path, data, kind=kind, over_damage=True)
                return path, written.kept
    raise WrongInput("state", got=name, needed="a name as trod restore --papers lists it")
