"""The house is kept: nothing of one machine, no address in a lock, every door explained."""

from __future__ import annotations

import ast
import re
import subprocess
import tomllib
import warnings
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "trod"
PUBLIC = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
LOCKS = ("core.txt", "dev.txt", "built.txt")
CORE_ROOMS = [
    path
    for path in sorted(SOURCE.rglob("*.py"))
    if path.relative_to(SOURCE).parts[0] not in ("web", "commands") and path.parent.name != "migrations"
]


def tracked() -> list[Path]:
    """The text files that git keeps; without git, those of the folders we write in."""
    try:
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
        names = [name for name in listed.decode("utf-8").split("\0") if name]
    except (OSError, subprocess.CalledProcessError):
        folders = (".ci", "docs", "scripts", "src", "tests", "requirements", "changelog.d")
        names = [p.relative_to(ROOT).as_posix() for f in folders for p in (ROOT / f).rglob("*") if p.is_file()]
        names += [p.name for p in ROOT.iterdir() if p.is_file()]
    paths = [ROOT / name for name in names if "__pycache__" not in name]
    return [path for path in paths if path.is_file() and b"\0" not in path.read_bytes()[:4096]]


def lines_with(pattern: str, paths: list[Path]) -> list[str]:
    """ "path:line: text" of every line that the pattern is found in."""
    found = []
    for path in paths:
        for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), 1):
            if re.search(pattern, line):
                found.append(f"{path.relative_to(ROOT).as_posix()}:{number}: {line.strip()[:100]}")
    return found


def is_overload(node: ast.AST) -> bool:
    """Whether this is one of the typed faces of a function, whose docstring stands at the function itself."""
    return any(ast.unparse(mark).endswith("overload") for mark in getattr(node, "decorator_list", []))


def pins(name: str) -> dict[str, set[str]]:
    """Canonical package name -> the pinned versions of a lock file (several where markers part them)."""
    found: dict[str, set[str]] = {}
    for line in (ROOT / "requirements" / name).read_text("utf-8").splitlines():
        if match := re.match(r"([A-Za-z0-9._-]+)==(\S+)", line):
            found.setdefault(canonicalize_name(match[1]), set()).add(match[2])
    return found


def wanted(name: str) -> list[Requirement]:
    """The requirements of an .in file, without those it includes."""
    lines = (ROOT / "requirements" / name).read_text("utf-8").splitlines()
    return [Requirement(line) for line in lines if line and not line.startswith(("#", "-r"))]


def test_a_lock_file_carries_no_address() -> None:
    found = lines_with("://", [ROOT / "requirements" / name for name in LOCKS])
    assert not found, "\n".join(found)
    found = lines_with(r"^\s*--(?!hash=)", [ROOT / "requirements" / name for name in LOCKS])
    assert not found, "\n".join(found)


def test_the_checks_name_no_package_index() -> None:
    found = lines_with("://(?!trod@127)", sorted((ROOT / ".ci").iterdir()))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", LOCKS)
def test_every_pinned_package_has_its_hash(name: str) -> None:
    text = (ROOT / "requirements" / name).read_text("utf-8").replace("\\\n", " ")
    entries = [line for line in text.splitlines() if line.strip()]

    assert entries
    assert [line for line in entries if "==" not in line or "--hash=sha256:" not in line] == []


@pytest.mark.parametrize(("asked", "lock"), [("core", "core"), ("core", "dev"), ("dev", "dev"), ("built", "built")])
def test_a_lock_file_is_as_fresh_as_what_it_is_made_from(asked: str, lock: str) -> None:
    pinned = pins(f"{lock}.txt")

    stale = [
        str(need)
        for need in wanted(f"{asked}.in")
        if not any(need.specifier.contains(v) for v in pinned.get(canonicalize_name(need.name), ()))
    ]

    assert stale == [], "make the locks anew with scripts/lock"


def test_the_tests_run_on_the_versions_that_are_shipped() -> None:
    core, dev = pins("core.txt"), pins("dev.txt")

    assert {name: (core[name], dev.get(name)) for name in core if core[name] != dev.get(name)} == {}


def test_the_package_asks_for_what_the_lock_is_made_from() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]

    assert {Requirement(need) for need in project["dependencies"]} == set(wanted("core.in"))


def test_no_file_knows_the_machine_it_was_written_on() -> None:
    places = "|".join(("wo" + "rk", "ro" + "ot", "fa" + "rm"))

    found = lines_with(rf"(?<![\w.~>}}])/({places})/", tracked())
    assert not found, "\n".join(found)


def test_no_link_is_kept() -> None:
    """A link to a folder of one machine, once kept, puts itself in that folder's place wherever it is checked out."""
    try:
        listed = subprocess.run(["git", "ls-files", "-s", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("needs git and a checkout")
    found = [line.split("\t")[1] for line in listed.decode("utf-8").split("\0") if line.startswith("120000 ")]

    assert found == []


def test_no_note_to_ourselves_is_left() -> None:
    notes = "|".join(("TO" + "DO", "FIX" + "ME", "X" + "XX", "HA" + "CK"))

    assert (
        lines_with(rf"\b({notes})\b", [p for p in tracked() if p.suffix in (".py", ".md", ".toml", ".html", "")]) == []
    )


def test_every_public_name_of_the_core_says_what_it_is() -> None:
    bare = []
    for path in CORE_ROOMS:
        tree = ast.parse(path.read_text("utf-8"))
        name = path.relative_to(ROOT).as_posix()
        if tree.body and not ast.get_docstring(tree):
            bare.append(f"{name}: the module")
        for node in tree.body:
            public = isinstance(node, PUBLIC) and not node.name.startswith("_")
            if public and not ast.get_docstring(node) and not is_overload(node):
                bare.append(f"{name}:{node.lineno}: {node.name}")

    assert not bare, "no docstring:\n" + "\n".join(bare)


ROOMS = [p.parent for p in sorted([*SOURCE.glob("*/__init__.py"), ROOT / "src" / "trod_demo" / "__init__.py"])]


def on_the_map(text: str) -> list[str]:
    """The names that a map tells of: those that stand before two blanks or more at the beginning of a line."""
    heads = [re.match(r" {0,4}([a-z_]+(?: [a-z_]+)?) {2,}\S", line) for line in text.splitlines()]
    return [name for head in heads if head for name in head[1].split()]


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_the_map_of_a_room_names_all_that_is_in_it_and_nothing_else(room: Path) -> None:
    inside = {p.stem for p in room.glob("*.py")} | {p.parent.name for p in room.glob("*/__init__.py")}
    told = on_the_map(ast.get_docstring(ast.parse((room / "__init__.py").read_text("utf-8"))) or "")

    assert sorted(told) == sorted(inside - {"__init__"})


def test_a_map_is_read_by_its_names_alone() -> None:
    assert on_the_map("A room.\n\nfolder  what  lies there\none two  both\nThis is no  entry.") == [
        "folder",
        "one",
        "two",
    ]


def test_a_module_past_600_lines_is_told_and_past_800_refused() -> None:
    sizes = {
        path.relative_to(ROOT).as_posix(): len(path.read_text("utf-8").splitlines())
        for path in sorted(SOURCE.rglob("*.py"))
        if "migrations" not in path.parts  # written by Django
    }
    for name, count in sizes.items():
        if count > 600:
            warnings.warn(f"{name} has {count} lines; past 600 a module wants a second look", stacklevel=1)

    assert {name: count for name, count in sizes.items() if count > 800} == {}, "part the module"


def test_the_licence_is_the_one_that_the_package_names() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    licence = (ROOT / "LICENSE").read_text("utf-8")

    assert project["license"] == "Apache-2.0"
    assert "Apache License" in licence and "Version 2.0, January 2004" in licence
    assert len(licence.splitlines()) > 190  # the whole text, not a pointer to it
