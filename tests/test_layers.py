"""Imports point one way: the table of rooms in docs/shape.md against every import in src/trod."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "trod"
DJANGO = {"django", "django_htmx", "leaflet", "whitenoise"}
TOP = {"__init__", "__main__"}  # the version, and the door to the commands


@dataclass(frozen=True)
class Room:
    """One room of the table: its floor, the rooms it may import, whether third-party packages are barred."""

    name: str
    floor: int
    may: frozenset[str]
    bare: bool


def read_rooms(text: str) -> dict[str, Room]:
    """The rooms of the table in docs/shape.md, from the lowest floor up."""
    rows = re.findall(r"^\|\s*(\d+)\s*\|([^|]*)\|([^|]*)\|\s*$", text, flags=re.M)
    floors: dict[str, int] = {}
    rooms: dict[str, Room] = {}
    for floor_text, who, what in rows:
        names = [name.rstrip("/") for name in re.findall(r"`([a-z]+/?)`", who)]
        may: set[str] = set()
        for first, last in re.findall(r"floors? (\d)(?:–(\d))?", what):
            may |= {n for n, floor in floors.items() if int(first) <= floor <= int(last or first)}
        if what.strip().startswith("everything above"):
            may |= set(floors)
            may -= set(re.findall(r"except `([a-z]+)`", what))
        elif what.strip().startswith("everything"):
            may |= set(floors)
        else:
            may |= set(re.findall(r"`([a-z]+)`", what))
        floors.update({name: int(floor_text) for name in names})
        bare = "standard library" in who + what
        rooms |= {name: Room(name, int(floor_text), frozenset(may) | {name}, bare) for name in names}
    return rooms


ROOMS = read_rooms((ROOT / "docs" / "shape.md").read_text("utf-8"))


@dataclass(frozen=True)
class Import:
    """One import: the dotted name, its line, and whether it runs as soon as the module is imported."""

    name: str
    line: int
    at_once: bool


def imports_of(source: str, package: str) -> list[Import]:
    """Every import of a module; `package` is the dotted package that relative imports start from."""
    found: list[Import] = []

    def visit(node: ast.AST, at_once: bool) -> None:
        if isinstance(node, ast.Import):
            found.extend(Import(alias.name, node.lineno, at_once) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = package.split(".")[: len(package.split(".")) - (node.level - 1)]
                base = ".".join([*parents, base]) if base else ".".join(parents)
            found.extend(Import(f"{base}.{alias.name}", node.lineno, at_once) for alias in node.names)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            at_once = False
        late = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for child in ast.iter_child_nodes(node):
            visit(child, at_once and not late)

    visit(ast.parse(source), True)
    return found


def faults_of(room_name: str, module: str, imports: list[Import]) -> list[str]:
    """What a module of a room imports and must not, one sentence each."""
    room = ROOMS[room_name]
    faults = []
    for imported in imports:
        first, *rest = imported.name.split(".")
        where = f"{module}:{imported.line}"
        if first == "trod":
            target = rest[0] if rest else ""
            if target in ROOMS and target not in room.may:
                faults.append(f"{where}: {room_name} must not import {target}")
            if room_name == "commands" and target == "web" and imported.at_once:
                faults.append(f"{where}: a command reaches trod.web late, inside the verb")
        elif first in sys.stdlib_module_names:
            continue
        elif (
            first in DJANGO and room_name != "web" and not (room_name == "commands" and not imported.at_once)
        ):
            faults.append(f"{where}: only web imports Django, not {room_name}")
        elif room.bare:
            faults.append(f"{where}: {room_name} lives on the standard library, and {first} is not of it")
    return faults


def modules() -> list[tuple[str, Path]]:
    """(room, path) of every module, the two at the top left out."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        room = path.relative_to(SOURCE).parts[0].removesuffix(".py")
        if room not in TOP:
            found.append((room, path))
    return found


def test_the_table_of_rooms_is_read_as_it_stands() -> None:
    assert set(ROOMS) >= {"errors", "units", "sky", "watch", "engine", "planning", "archive", "pictures"}
    assert ROOMS["errors"].may == {"errors"} and ROOMS["errors"].bare
    assert ROOMS["archive"].may == {"errors", "units", "limits", "archive"} and ROOMS["archive"].bare
    assert "archive" in ROOMS["pictures"].may and "findings" not in ROOMS["pictures"].may
    assert "report" not in ROOMS["demo"].may and "exchange" in ROOMS["demo"].may
    assert "web" in ROOMS["commands"].may and "commands" not in ROOMS["web"].may


def test_every_module_lives_in_a_room_of_the_table() -> None:
    strays = sorted({room for room, _ in modules()} - set(ROOMS))

    assert strays == [], "docs/shape.md has no such room"


def test_no_room_imports_what_lies_above_it() -> None:
    faults = []
    for room, path in modules():
        if room in ROOMS:
            inside = path.relative_to(SOURCE.parent)
            package = ".".join(inside.parent.parts)
            faults += faults_of(room, inside.as_posix(), imports_of(path.read_text("utf-8"), package))

    assert not faults, "\n" + "\n".join(faults)


@pytest.mark.parametrize(
    ("room", "line", "fault"),
    [
        ("archive", "import numpy", "archive lives on the standard library, and numpy is not of it"),
        ("findings", "from trod.web import models", "findings must not import web"),
        ("findings", "from ..web import models", "findings must not import web"),
        ("pictures", "def f():\n    from trod import findings", "pictures must not import findings"),
        ("report", "from django.utils import timezone", "only web imports Django, not report"),
        ("commands", "from trod.web.start import ready", "a command reaches trod.web late, inside the verb"),
        ("demo", "import trod.report.paper", "demo must not import report"),
    ],
)
def test_a_forbidden_import_is_told_with_its_line(room: str, line: str, fault: str) -> None:
    faults = faults_of(room, "trod/x.py", imports_of(line, f"trod.{room}"))

    assert [text.split(": ", 1)[1] for text in faults] == [fault]


def test_an_allowed_import_is_no_fault() -> None:
    late = "def verb():\n    from trod.web.start import ready\n    from django.db import connection\n"

    assert faults_of("commands", "trod/x.py", imports_of(late, "trod.commands")) == []
    assert (
        faults_of("pictures", "trod/x.py", imports_of("from trod.archive import card\nimport PIL", "")) == []
    )


BLOCKED = """
import importlib, sys

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {django!r}:
            raise ModuleNotFoundError("No module named " + repr(name) + " (blocked by the test)", name=name)

sys.meta_path.insert(0, Absent())
try:
    import django
except ModuleNotFoundError:
    pass
else:
    raise SystemExit("the block does not hold")
for name in {names!r}:
    importlib.import_module(name)
print("imported", len({names!r}))
"""


def test_every_room_below_the_pages_works_where_django_is_absent() -> None:
    names = ["trod"]
    for room, path in modules():
        if room != "web" and room in ROOMS:
            dotted = ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts)
            names.append(dotted.removesuffix(".__init__"))
    code = BLOCKED.format(django=sorted(DJANGO), names=names)

    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(SOURCE.parent)!r})\n{code}"],
        capture_output=True,
        text=True,
        timeout=120,
    )

    assert done.stderr == "" or done.returncode == 0, done.stderr
    assert done.stdout.split() == ["imported", str(len(names))]
