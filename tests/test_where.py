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


@pytest.mark.parametrize("record", [r for r in RECORDS if r.name != "README.md"], ids=lambda record: record.stem)
def test_every_decision_has_its_parts_in_forty_lines(record: Path) -> None:
    text = record.read_text("utf-8")

    assert [part for part in PARTS if f"**{part}.**" not in text] == []
    assert len(text.splitlines()) <= 40
    assert f"({record.name})" in (record.parent / "README.md").read_text("utf-8")
