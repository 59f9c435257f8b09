"""What is planned of visits is handed out as facts: sentences stand in docstrings and errors alone."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from trod.planning import visit

LEAST_SPACES = 4  # a key such as "bag for spent batteries" has three
ERRORS = {"super().__init__", "positive", "CannotBeVisited"}
# Put together before the error that says it is raised.
NEEDED = {"metres from -3000 (down) to 5000 (up)", "stop {}, which must be visited"}


def sentences(source: str) -> list[str]:
    """Long texts of a module, those of docstrings, errors and assertions left out; {} stands for what is filled in."""
    tree = ast.parse(source)
    passed: set[int] = set()
    for node in ast.walk(tree):
        said = isinstance(node, ast.Call) and ast.unparse(node.func) in ERRORS
        alone = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if said or alone or isinstance(node, ast.Raise | ast.Assert):
            passed |= {id(inner) for inner in ast.walk(node)}
    found = []
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        if isinstance(node, ast.JoinedStr):
            passed |= {id(part) for part in node.values}
            words = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            words = node.value
        else:
            continue
        if words.strip().count(" ") >= LEAST_SPACES:
            found.append(words)
    return found


def test_no_sentence_is_made_where_visits_are_planned() -> None:
    made = {
        f"{path.name}: {words}"
        for path in sorted(Path(visit.__file__).parent.glob("*.py"))
        for words in sentences(path.read_text("utf-8"))
        if words not in NEEDED
    }

    assert made == set()


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('out.append(f"The nearest track is {n} m away.")', ["The nearest track is {} m away."]),
        ('WHY = "Batteries may last longer than that."', ["Batteries may last longer than that."]),
        ('def f():\n    """A docstring may be as long as it likes."""', []),
        ('raise WrongInput("x", got=1, needed="a number that is above nothing")', []),
        ('assert ok, "a searcher gave an order that cannot be kept"', []),
        ('THING = "bag for spent batteries"', []),
    ],
)
def test_a_sentence_that_is_made_is_found_and_an_error_is_not(source: str, found: list[str]) -> None:
    assert sentences(source) == found
