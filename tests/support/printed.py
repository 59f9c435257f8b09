"""Printed values from the literature, kept in tests/published/*.csv with their source in the head lines."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of one file of printed values, as text; lines that begin with # tell the source."""
    lines = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def columns(name: str) -> dict[str, list[float]]:
    """The same by column, as numbers; an empty battery is nan."""
    table = rows(name)
    return {key: [float(row[key]) if row[key] else float("nan") for row in table] for key in table[0]}
