"""docs/promises.md names tests that are there, and leaves out no promise of docs/shape.md."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PROMISES = (ROOT / "docs" / "promises.md").read_text("utf-8")


def rows() -> list[tuple[str, list[str]]]:
    """(promise, the tests beside it) of every line of every table."""
    found = []
    for line in PROMISES.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("|") and len(cells) == 2 and not set(cells[0]) <= {"-"} and "promised" not in cells[0][:12]:
            found.append((cells[0], re.findall(r"`([^`]+)`", cells[1])))
    return found


def is_there(node: str) -> bool:
    """Whether a file of tests has that test."""
    path, _, name = node.partition("::")
    file = ROOT / path
    if not (path.startswith("tests/") and file.is_file()):
        return False
    names = {n.name for n in ast.walk(ast.parse(file.read_text("utf-8"))) if isinstance(n, ast.FunctionDef)}
    return name.startswith("test_") and name in names


def test_every_promise_names_tests_that_are_there() -> None:
    found = rows()

    assert len(found) > 40
    assert [promise for promise, tests in found if not tests] == [], "promised without a test"
    assert [test for _, tests in found for test in tests if not is_there(test)] == []


def test_no_promise_of_the_plan_is_left_out() -> None:
    shape = (ROOT / "docs" / "shape.md").read_text("utf-8").split("\n## Promises\n")[1].split("\n## ")[0]
    planned = re.findall(r"^\d+\. .+$", shape, flags=re.M)

    assert len(planned) == 6
    assert re.findall(r"^## (\d+\. .+)$", PROMISES, flags=re.M) == planned


def test_what_is_not_promised_is_said_too_and_the_readme_leads_there() -> None:
    assert len(PROMISES.split("\n## What Trod does not promise\n")[1].splitlines()) > 8
    assert "(docs/promises.md)" in (ROOT / "README.md").read_text("utf-8")


def test_a_name_that_is_no_test_is_noticed() -> None:
    assert is_there("tests/test_promises.py::test_a_name_that_is_no_test_is_noticed")
    assert not is_there("tests/test_promises.py::test_of_nothing")
    assert not is_there("tests/test_promises.py::is_there")
    assert not is_there("tests/nowhere.py::test_of_nothing")
