"""The register: one list of all that must be there, kept twice at the root of the archive.

    register.jsonl  register-twin.jsonl     the same lines; the first is written first

The first line is the head, with the archive's identity. Every line after it tells one change of the archive, and is
firm in both files *before* the change is made. Each line carries the digest of its own text and that of the line
before it, so a flipped bit, a cut and a lost line are seen, and what one file lost stands in the other.

A line ends in a mark, `"done":"n"`, which is overwritten with a y in place once the change is made. It is the one
thing that tells an archive whose writer was killed in the middle of a change from one that was damaged after it: a
change that is marked must stand on the disk. The mark is under no digest and need not be firm, for losing it only
makes the check of the last line a milder one.

When the lines are many more than the things they tell of, the files are written anew (`compact`), each by one rename.
Format: docs/archive-format.md.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from trod.archive import disk, formats
from trod.errors import CatalogueTrouble, NewerFormat, OlderFormat

REGISTER, TWIN = "register.jsonl", "register-twin.jsonl"
TWINS = (REGISTER, TWIN)
LOCK = ".register-lock"
SPARE_LINES = 1000  # lines that may pile up, beyond twice as many as there are things, before the next compaction
WORDS_KIND, BAG_KIND, GONE = "words", "bag", "gone"
NOT_THERE = ""  # stands for the digest of what is not there

_LINE = re.compile(rb'(\{.*),"sum":"([0-9a-f]{64})","done":"([ny])"\}', re.DOTALL)
_DONE_AT = -3  # where the mark stands, counted from the end of a line without its line feed

Json = dict[str, Any]


@dataclass(frozen=True)
class Kept:
    """An earlier state of a paper. name : of its file. good : whether it was as the register said when replaced."""

    name: str
    sha256: str
    good: bool = True


@dataclass(frozen=True)
class Thing:
    """One paper or bag as it must be.

    kind : "ledger", "deployment", "words", "bag", "gone" for what was there and was taken away on purpose…
    sha256 : of the file; of identifications.jsonl the chain of its lines (`chain_of`); of a bag that of its tag
    manifest.
    records : how many there are in it; None where nobody counts.
    """

    kind: str
    sha256: str
    size_bytes: int = 0
    generation: int = 1
    records: int | None = None
    kept: tuple[Kept, ...] = ()


@dataclass(frozen=True)
class Line:
    """One line that is whole in itself. body : what `sum` is the digest of. done : the mark."""

    body: bytes
    sum: str
    done: bool
    fields: Json = field(compare=False)

    @property
    def number(self) -> int:
        return int(self.fields["n"])

    @property
    def raw(self) -> bytes:
        return self.body + b',"sum":"' + self.sum.encode() + b'","done":"' + (b"y" if self.done else b"n") + b'"}\n'


@dataclass
class State:
    """What the lines come to.

    format : the number in the head, which is the archive's.
    things : by path below the archive.
    last : the last change with the things it touched as they were before it; None just after a compaction.
    """

    archive: str
    format: int
    number: int
    sum: str
    things: dict[str, Thing] = field(default_factory=dict)
    last: Line | None = None
    before: dict[str, Thing | None] = field(default_factory=dict)

    def after(self, line: Line) -> None:
        """Carry on by one line. Raises KeyError, TypeError or ValueError for one that makes no sense."""
        if line.fields.get("undone"):
            self.undo()
        self.before = _apply(self.things, line.fields)
        self.last, self.number, self.sum = line, line.number, line.sum

    def undo(self) -> None:
        """Go back behind the last change, which never came about."""
        for path, thing in self.before.items():
            if thing is None:
                self.things.pop(path, None)
            else:
                self.things[path] = thing
        self.before = {}


@dataclass(frozen=True)
class Fault:
    """What is wrong with one of the two files.

    late : it lacks only the last line (or the last compaction), as it would if the writer had been killed between
        the two files; whether that is so hangs on the mark and on the disk.
    """

    name: str
    detail: str
    missing: bool = False
    late: bool = False


@dataclass(frozen=True)
class View:
    """Both files, read and held against each other.

    state : None when there is no register, or none that can be used.
    lines : the whole chain, from either file.
    broken : why it cannot be gone on with, in words; empty when it can.
    format : the number in its head, also of one that this Trod cannot read; None without a head.
    """

    state: State | None
    lines: tuple[Line, ...] = ()
    faults: tuple[Fault, ...] = ()
    broken: str = ""
    there: bool = False
    format: int | None = None


# Lines ------------------------------------------------------------------------------------------------------


def make_line(number: int, before: str, fields: Mapping[str, Any], *, done: bool = False) -> Line:
    """A line that follows the line with the digest `before`."""
    whole = {"n": number, **fields, "before": before}
    body = json.dumps(whole, ensure_ascii=True, separators=(",", ":")).encode()[:-1]
    return Line(body, hashlib.sha256(body).hexdigest(), done, whole)


def read_line(data: bytes) -> Line | None:
    """A line without its line feed; None when it is not whole and unchanged."""
    found = _LINE.fullmatch(data)
    if found is None or hashlib.sha256(found[1]).hexdigest().encode() != found[2]:
        return None
    fields = json.loads(found[1] + b"}")
    return Line(found[1], found[2].decode(), found[3] == b"y", fields)


def _thing(fields: Json) -> Thing:
    kept = tuple(Kept(**k) for k in fields.get("kept", ()))
    return Thing(
        kind=str(fields["kind"]),
        sha256=str(fields["sha256"]),
        size_bytes=int(fields.get("size_bytes", 0)),
        generation=int(fields.get("generation", 1)),
        records=fields.get("records"),
        kept=kept,
    )


def _apply(things: dict[str, Thing], fields: Json) -> dict[str, Thing | None]:
    """Change `things` by one line; returns what it touched, as it was before."""
    path, op = fields.get("path", ""), fields["op"]
    if op == "move":
        old = fields["from"]
        before = {path: things.get(path), old: things.get(old)}
        things[path] = things.pop(old)
        return before
    before = {path: things.get(path)}
    thing = _thing(fields)
    if op == "put":
        earlier = before[path]
        kept = list(earlier.kept if earlier else ())
        if fields.get("keeps"):
            kept.append(Kept(**fields["keeps"]))
        drops = set(fields.get("drops", ()))
        thing = replace(thing, kept=tuple(k for k in kept if k.name not in drops))
    elif op != "have":
        raise ValueError(f"the change {op!r} is not known")
    things[path] = thing
    return before


def have(path: str, thing: Thing) -> Json:
    """The fields of a line that tells how a thing stands, without a change of the disk."""
    fields = {"op": "have", "path": path, **asdict(thing)}
    return {k: v for k, v in fields.items() if v not in (None, (), [])}


def chain_of(lines: Iterable[bytes], start: str = NOT_THERE) -> str:
    """The chain of append-only lines, each with its line feed: SHA-256 of the chain so far and the line."""
    at = bytes.fromhex(start)
    for line in lines:
        at = hashlib.sha256(at + line).digest()
    return at.hex()


# The two files ----------------------------------------------------------------------------------------------


@dataclass
class _File:
    """One of the two as it lies there."""

    name: str
    data: bytes | None
    problem: str = ""
    pieces: list[bytes] = field(default_factory=list)
    torn: bytes = b""
    lines: list[Line | None] = field(default_factory=list)

    @property
    def head(self) -> Line | None:
        first = self.lines[0] if self.lines else None
        return first if first is not None and first.fields.get("op") == "head" else None


def _read(root: Path, name: str, other: _File | None = None) -> _File:
    """other : a file that was read already; the same bytes are not read line by line twice."""
    try:
        data: bytes | None = (root / name).read_bytes()
    except FileNotFoundError:
        return _File(name, None)
    except OSError as problem:
        return _File(name, None, problem.strerror or str(problem))
    assert data is not None
    if other is not None and other.data == data:
        return replace(other, name=name)
    pieces, torn = disk.whole_lines(data)
    return _File(name, data, "", pieces, torn, [read_line(piece) for piece in pieces])


def read(root: Path) -> View:
    """The register of an archive. Nothing is changed and nothing is raised for damage; it is told in the view."""
    twin = _read(root, TWIN)  # the second first: a writer at work can then only have made the first longer
    files = [_read(root, REGISTER, twin), twin]
    if all(f.data is None and not f.problem for f in files):
        return View(None)
    heads = [f.head for f in files if f.head is not None]
    if not heads:
        return View(None, faults=tuple(_bare_fault(f) for f in files), broken="neither file has its head", there=True)
    head = max(heads, key=lambda h: h.number)
    following: dict[str, Line] = {}
    for line in (x for f in files for x in f.lines if x is not None and x.fields.get("op") != "head"):
        known = following.get(line.fields["before"])
        if known is None or (line.done and not known.done):
            following[line.fields["before"]] = line
    try:
        formats.heed(int(head.fields["trod"]), "The archive")
    except (CatalogueTrouble, KeyError, TypeError, ValueError) as problem:
        number = problem.number if isinstance(problem, (NewerFormat, OlderFormat)) else None
        return View(None, broken=str(problem), there=True, format=number)
    lines = [head]
    while (after := following.get(lines[-1].sum)) is not None:
        lines.append(after)
    state, broken = _add_up(lines)
    furthest = max(x.number for f in files for x in f.lines if x is not None)
    if furthest > lines[-1].number and not broken:
        broken = f"line {len(lines) + 1} is damaged in both files"
    faults = [f for file in files if (f := _fault(root, file, lines, files[0])) is not None]
    return View(state, tuple(lines), tuple(faults), broken, there=True, format=int(head.fields["trod"]))


def heed(view: View) -> None:
    """Raises NewerFormat or OlderFormat for the register of an archive that this Trod does not read."""
    if view.format is not None:
        formats.heed(view.format, "The archive")


def _add_up(lines: list[Line]) -> tuple[State | None, str]:
    head = lines[0]
    try:
        state = State(str(head.fields["archive"]), int(head.fields["trod"]), head.number, head.sum)
        count = int(head.fields["things"])
        for line in lines[1:]:
            state.after(line)
            if line.number - head.number <= count:  # the compaction itself: no change that could be half made
                state.last, state.before = None, {}
    except (KeyError, TypeError, ValueError) as problem:
        return None, f"a line of it makes no sense ({problem})"
    if len(lines) <= count:
        return state, f"line {len(lines) + 1} is damaged in both files"
    return state, ""


def _bytes(root: Path, name: str) -> bytes | None:
    try:
        return (root / name).read_bytes()
    except OSError:
        return None


def _bare_fault(file: _File) -> Fault:
    if file.problem:
        return Fault(file.name, f"it cannot be read: {file.problem}")
    if file.data is None:
        return Fault(file.name, "it is not there", missing=True)
    return Fault(file.name, "its first line is damaged" if file.data else "it is empty")


def _fault(root: Path, file: _File, lines: list[Line], first: _File) -> Fault | None:
    """How one file differs from the whole chain; the marks do not count."""
    compacting = file.name == TWIN and first.head == lines[0] and _bytes(root, f"{TWIN}.new") == first.data
    # For both were written aside before the first got its name.
    if file.problem or not file.data:
        bare = _bare_fault(file)
        return replace(bare, late=True) if compacting and file.data is None else bare
    if file.head is not None and file.head.sum != lines[0].sum:
        return Fault(file.name, "it is older than the other one", late=compacting)
    for number, line in enumerate(lines):
        if number >= len(file.lines):
            lacks = len(lines) - number
            what = f"it lacks the last {lacks} of {len(lines)} lines" if lacks > 1 else "it lacks the last line"
            return Fault(file.name, what, late=lacks == 1 and file.name == TWIN)
        mine = file.lines[number]
        if mine is None or mine.sum != line.sum:
            return Fault(file.name, f"line {number + 1} is damaged")
    if len(file.lines) > len(lines):
        return Fault(file.name, f"line {len(lines) + 1} is damaged")
    if file.torn:  # the first torn while the second does not have the line: its writer was killed
        return Fault(file.name, "its last line is torn", late=file.name == REGISTER)
    return None


def image(lines: Iterable[Line]) -> bytes:
    """The bytes of a file of the register."""
    return b"".join(line.raw for line in lines)


def compacted(
    archive: str, things: Mapping[str, Thing], *, number: int, follows: str, of_format: int | None = None
) -> list[Line]:
    """The lines of a register that is written anew.

    follows : the digest of the last line before.  of_format : the archive's; today's when not given.
    """
    head = {
        "trod": formats.FORMAT if of_format is None else of_format,
        "kind": "register",
        "op": "head",
        "archive": archive,
        "things": len(things),
    }
    lines = [make_line(number, follows, head, done=True)]
    for path in sorted(things):
        lines.append(make_line(lines[-1].number + 1, lines[-1].sum, have(path, things[path]), done=True))
    return lines


def write_both(root: Path, lines: list[Line]) -> None:
    """Write both files anew. Both are firm aside before the first gets its name."""
    data = image(lines)
    asides = [(disk.write_aside(root / name, data), root / name) for name in TWINS]
    disk.flush_folder(root)
    for aside, place in asides:
        disk.put_in_place(aside, place)


def new_identity() -> str:
    """An identity for an archive that has none."""
    return str(uuid.uuid4())


def lock(root: Path, *, wait_s: float = 60.0) -> disk.Lock:
    """Held from before a change is told to the register until it is made."""
    disk.make_folder(root)
    return disk.Lock(root / LOCK, wait_s=wait_s)


# Writing ----------------------------------------------------------------------------------------------------


class Writer:
    """A register that is gone on with, under its lock. What is damaged in one of its files is mended from the other."""

    def __init__(self, root: Path, view: View) -> None:
        assert view.state is not None
        self.root, self.state, self.lines = root, view.state, len(view.lines)
        self.undone = False
        self.mended = [f.name for f in view.faults if not f.late]
        for fault in view.faults:
            disk.write_file(root / fault.name, image(view.lines))
        self.marks = self._signature()

    def _signature(self) -> tuple[tuple[int, ...], ...]:
        stats = [(self.root / name).stat() for name in TWINS]
        return tuple((s.st_ino, s.st_size, s.st_mtime_ns) for s in stats)

    def is_current(self) -> bool:
        """Whether nobody else has written since."""
        try:
            return self.marks == self._signature()
        except OSError:
            return False

    def begin(self, fields: Mapping[str, Any]) -> None:
        """Tell a change, firm in both files. It may be made now."""
        more: Json = {"undone": True} if self.undone else {}
        if self.mended:
            more["mended"] = self.mended
        line = make_line(self.state.number + 1, self.state.sum, {**fields, **more})
        for name in TWINS:
            disk.append(self.root / name, line.raw)
        self.state.after(replace(line, fields={k: v for k, v in line.fields.items() if k != "undone"}))
        self.undone, self.mended = False, []
        self.lines += 1
        self.marks = self._signature()

    def end(self) -> None:
        """Mark the last change as made."""
        for name in TWINS:
            path = self.root / name
            disk.overwrite(path, path.stat().st_size - 1 + _DONE_AT, b"y")
        if self.state.last is not None:
            self.state.last = replace(self.state.last, done=True)
        self.marks = self._signature()

    def undo(self) -> None:
        """The last change never came about; the next line will say so."""
        self.state.undo()
        self.undone = True

    def compact(self) -> None:
        """Write both files anew when they have grown long."""
        if self.lines > 2 * len(self.state.things) + SPARE_LINES:
            self.renew()

    def renew(self, *, of_format: int | None = None) -> None:
        """Write both files anew. of_format : the archive's from now on, where it changes."""
        self.undone = False
        state = self.state
        state.format = state.format if of_format is None else of_format
        lines = compacted(
            state.archive, state.things, number=state.number + 1, follows=state.sum, of_format=state.format
        )
        write_both(self.root, lines)
        state.number, state.sum, state.last, state.before = lines[-1].number, lines[-1].sum, None, {}
        self.lines = len(lines)
        self.marks = self._signature()
