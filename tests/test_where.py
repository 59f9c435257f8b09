"""docs/where.md and docs/decisions: every place that they name is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
WHERE = (ROOT / "docs" / "where.md").read_text("utf-8")
ANSWERS = [line for line in WHERE.splitlines() if line.startswith("| Where")]
RECORDS = sorted((ROOT / "docs" / "decisions").glob("*.md"))
PARTS = ("Context", "Decision", "Alternatives", "What it costs", "What would change our mind", "On record")


def places_of(answer: str) -> list[tuple[str, list[str]]]:
    """(path, names told of it) of one answer, in their order."""
    found: list[tuple[str, list[str]]] = []
    for word in re.findall(r"`([^`]+)`", answer):
        if "/" in word and not word.startswith("@"):
            found.append((word, []))
        elif found:
            found[-1][1].append(word)
    return found


@pytest.mark.parametrize("line", ANSWERS, ids=lambda line: line.split("|")[1].strip())
def test_every_answer_names_a_place_that_is_there(line: str) -> None:
    places = places_of(line.split("|")[2])
    named = [name for _, names in places for name in names]
    text = "\n".join((ROOT / path).read_text("utf-8") for path, _ in places if (ROOT / path).is_file())

    assert places
    assert [path for path, _ in places if not (ROOT / path).exists()] == []
    missing = [n for n in named if not re.search(rf"\b{re.escape(n.lstrip('@'))}\b", text) and n != "urls.py"]
    assert missing == []


def test_there_are_ten_answers_and_more() -> None:
    assert len(ANSWERS) >= 10


TEXTS = [
    *sorted((ROOT / "docs").rglob("*.md")), ROOT / "README.md", ROOT / "CONTRIBUTING.md",
    *sorted((ROOT / "src").rglob("*.py")),
]  # fmt: skip
FILE = re.compile(
    r"`(?:python )?([\w./-]+/[\w.-]+\.(?:py|js|typ|css|svg))(?:::\w+)?`|"
    r"((?:docs|benchmarks|tests|src)/[\w./-]+\.(?:py|md))"
)
MODULE = re.compile(r"`((?:trod(?:_demo)?|archive|catalogue|findings|pictures|planning|telling|web)(?:\.[a-z_]\w*)+)`")


def test_every_file_that_a_text_names_is_there() -> None:
    there = [
        p.relative_to(ROOT).as_posix()
        for room in ("src", "tests", "docs", "benchmarks")
        for p in (ROOT / room).rglob("*")
    ]
    ends = {"/".join(path.split("/")[-n:]) for path in there for n in range(1, path.count("/") + 2)}
    named = [(text, match[1] or match[2]) for text in TEXTS for match in FILE.finditer(text.read_text("utf-8"))]

    assert len(named) > 50
    assert [f"{text.relative_to(ROOT)}: {name}" for text, name in named if name not in ends] == []


def is_there(name: str) -> bool:
    """Whether a dotted name is a room, a module, or a name that a module's text holds."""
    parts = name.split(".") if name.startswith("trod") else ["trod", *name.split(".")]
    for n in range(len(parts), 1, -1):
        at = ROOT.joinpath("src", *parts[:n])
        found = next((p for p in (at.with_suffix(".py"), at / "__init__.py") if p.is_file()), None)
        if found:
            return n == len(parts) or re.search(rf"\b{parts[n]}\b", found.read_text("utf-8")) is not None
    return False


def test_every_module_that_a_text_names_is_there() -> None:
    named = [(text, match[1]) for text in TEXTS for match in MODULE.finditer(text.read_text("utf-8"))]

    assert len(named) > 50
    assert [f"{text.relative_to(ROOT)}: {name}" for text, name in named if not is_there(name)] == []


@pytest.mark.parametrize("record", [r for r in RECORDS if r.name != "README.md"], ids=lambda record: record.stem)
def test_every_decision_has_its_parts_in_forty_lines(record: Path) -> None:
    text = record.read_text("utf-8")

    assert [part for part in PARTS if f"**{part}.**" not in text] == []
    assert len(text.splitlines()) <= 40
    assert f"({record.name})" in (record.parent / "README.md").read_text("utf-8")
