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
DEMO = "trod_demo"  # a package beside
DEMO_ROWS = {"rows.py", "rows_maintenance.py"}  # of the demo, these alone go into the catalogue
WITH_DJANGO = {"catalogue", "web", DEMO}
LATE = {
    "catalogue": "trod.catalogue",
    "web": "trod.web",
    DEMO: "trod_demo",
}  # they make Django ready, which takes its time
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
        names = [name.rstrip("/") for name in re.findall(r"`([a-z_]+/?)`", who)]
        may: set[str] = set()
        for first, last in re.findall(r"floors? (\d)(?:–(\d))?", what):
            may |= {n for n, floor in floors.items() if int(first) <= floor <= int(last or first)}
        if what.strip().startswith("everything above"):
            may |= set(floors)
            may -= set(re.findall(r"except `([a-z_]+)`", what))
        elif what.strip().startswith("everything"):
            may |= set(floors)
        else:
            may |= set(re.findall(r"`([a-z_]+)`", what))
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
        if first in ("trod", DEMO):
            target = first if first == DEMO else rest[0] if rest else ""
            if target in ROOMS and target not in room.may:
                faults.append(f"{where}: {room_name} must not import {target}")
            if room_name == "commands" and target in LATE and imported.at_once:
                faults.append(f"{where}: a command reaches {LATE[target]} late, inside the verb")
        elif first in sys.stdlib_module_names:
            continue
        elif first in DJANGO and room_name not in WITH_DJANGO and not (room_name == "commands" and not imported.at_once):
            faults.append(f"{where}: only catalogue, web and the demo's rows import Django, not {room_name}")
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
    found += [(DEMO, path) for path in sorted((SOURCE.parent / DEMO).rglob("*.py"))]
    return found


def test_the_table_of_rooms_is_read_as_it_stands() -> None:
    assert set(ROOMS) >= {"errors", "units", "sky", "clock", "engine", "planning", "archive", "pictures"}
    assert ROOMS["errors"].may == {"errors"} and ROOMS["errors"].bare
    assert ROOMS["archive"].may == {"errors", "units", "limits", "wording", "archive"} and ROOMS["archive"].bare
    assert "archive" in ROOMS["pictures"].may and "findings" not in ROOMS["pictures"].may
    assert "report" not in ROOMS[DEMO].may and "exchange" in ROOMS[DEMO].may
    assert "web" in ROOMS["commands"].may and "commands" not in ROOMS["web"].may
    assert "catalogue" in ROOMS["web"].may and not {"web", DEMO} & ROOMS["catalogue"].may


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
        (
            "report",
            "from django.utils import timezone",
            "only catalogue, web and the demo's rows import Django, not report",
        ),
        ("commands", "from trod.catalogue.start import ready", "a command reaches trod.catalogue late, inside the verb"),
        ("trod_demo", "import trod.report.paper", "trod_demo must not import report"),
        ("catalogue", "from trod.web import pages", "catalogue must not import web"),
    ],
)
def test_a_forbidden_import_is_told_with_its_line(room: str, line: str, fault: str) -> None:
    faults = faults_of(room, "trod/x.py", imports_of(line, f"trod.{room}"))

    assert [text.split(": ", 1)[1] for text in faults] == [fault]


def test_an_allowed_import_is_no_fault() -> None:
    late = "def verb():\n    from trod.catalogue.start import ready\n    from django.db import connection\n"

    assert faults_of("commands", "trod/x.py", imports_of(late, "trod.commands")) == []
    assert faults_of("pictures", "trod/x.py", imports_of("from trod.archive import card\nimport PIL", "")) == []


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
        if room not in ("web", "catalogue") and room in ROOMS and path.name not in DEMO_ROWS:
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


# Rooms inside planning and the catalogue, and the pages' rooms ------------------------------------------------

COMMON = {"home", "holders", "database", "who", "jobs", "line", "slugs", "texts", "trouble"}
ABOVE = {"start", "apps", "work", "__init__"}


def catalogue_rooms(text: str) -> dict[str, set[str]]:
    """{room: the rooms it may import} of the catalogue's own table in docs/shape.md."""
    table = text[text.index("| catalogue | holds |") :].split("\n\n", 1)[0]
    rows = re.findall(r"^\| `([a-z]+)` \|[^|]*\|([^|]*)\|$", table, flags=re.M)
    every = {name for name, _ in rows}
    return {name: every if "every" in what else set(re.findall(r"`([a-z]+)`", what)) for name, what in rows}


def edges_below(package: str) -> list[tuple[str, str, str]]:
    """(room, module, imported room) of every import inside trod.<package> that leaves its own room."""
    found = []
    base = SOURCE / package
    for path in sorted(base.rglob("*.py")):
        inside = path.relative_to(base)
        room = inside.parts[0].removesuffix(".py")
        dotted = ".".join(("trod", package, *inside.parent.parts))
        for one in imports_of(path.read_text("utf-8"), dotted):
            parts = one.name.split(".")
            if parts[:2] == ["trod", package] and len(parts) > 2 and parts[2] != room:
                found.append((room, inside.as_posix(), parts[2]))
    return found


def planning_rooms(text: str) -> list[str]:
    """The rooms of planning in docs/shape.md, from the lowest up."""
    table = text[text.index("| planning | holds |") :].split("\n\n", 1)[0]
    return re.findall(r"^\| `([a-z]+)` \|", table, flags=re.M)


def test_the_rooms_of_planning_are_those_of_its_table_and_import_one_way() -> None:
    order = planning_rooms((ROOT / "docs" / "shape.md").read_text("utf-8"))
    there = {p.name for p in (SOURCE / "planning").iterdir() if p.is_dir() and p.name != "__pycache__"}

    assert set(order) == there and len(order) >= 6
    edges = edges_below("planning")
    assert ("last", "last/stopping.py", "place") in edges  # the walk sees what it is to judge
    faults = [
        f"{module} imports {target}"
        for room, module, target in edges
        if room not in order or (target in order and order.index(target) > order.index(room))
    ]
    assert not faults, "\n".join(faults)


def test_the_rooms_of_the_catalogue_are_those_of_its_table_and_import_one_way() -> None:
    table = catalogue_rooms((ROOT / "docs" / "shape.md").read_text("utf-8"))
    there = {
        p.name for p in (SOURCE / "catalogue").iterdir() if p.is_dir() and p.name not in ("__pycache__", "migrations")
    }

    assert set(table) == there
    faults = [
        f"{module} imports {target}"
        for room, module, target in edges_below("catalogue")
        if (room in table and target not in table[room] | COMMON | ({"start"} if room == "work" else set()))
        or (room in COMMON and target not in COMMON | {"models"})
    ]
    assert not faults, "\n".join(faults)


def test_no_page_room_imports_another() -> None:
    base = SOURCE / "web"
    rooms = {p.name for p in base.iterdir() if (p / "__init__.py").exists()} - {"shared", "forms", "templatetags"}
    faults = [
        f"{module} imports {target}"
        for room, module, target in edges_below("web")
        if target in rooms and room != "urls" and room not in ("settings",)
    ]

    assert len(rooms) >= 12
    assert not faults, "\n".join(faults)


def test_what_page_rooms_share_knows_nothing_of_forms() -> None:
    """Forms of records may use what is shared; it was the other way round as well, and neither could be read alone."""
    edges = edges_below("web")
    rooms = {p.name for p in (SOURCE / "web").iterdir() if (p / "__init__.py").exists()} - {"templatetags"}

    assert ("forms", "shared") in {(room, target) for room, _, target in edges}
    faults = [f"{module} imports {target}" for room, module, target in edges if room == "shared" and target in rooms]
    faults += [
        f"{module} imports {target}"
        for room, module, target in edges
        if room == "forms" and target in rooms - {"shared"}
    ]
    assert not faults, "\n".join(faults)


def test_the_test_of_page_rooms_can_fail() -> None:
    named = imports_of("def f():\n    from trod.web.today import pages", "trod.web.map")

    assert [one.name for one in named] == ["trod.web.today.pages"]
