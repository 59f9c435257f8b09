"""Fixtures of the commands' tests."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pulled
import pytest
from commanded import Said, Trod, environment


@pytest.fixture
def trod(trod_home: Path) -> Trod:
    """Call `trod` on this test's home; nobody sits at its terminal."""

    def call(*words: str, home: Path | None = None, stdin: str = "") -> Said:
        done = subprocess.run(
            [sys.executable, "-m", "trod", *words],
            env=environment(home or trod_home), input=stdin, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        return Said(done.returncode, done.stdout, done.stderr)

    return call


@pytest.fixture
def card(tmp_path: Path) -> pulled.Pulled:
    """A card with four days of bursts."""
    made = pulled.Pulled(tmp_path / "ESK-01-A")
    made.bursts(pulled.days(4))
    return made
