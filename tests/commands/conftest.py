"""Calling verbs: in this process on rows (`trod`, `said`), or in one of its own (`command`)."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import asked
import pulled
import pytest
import sequenced
from click.testing import CliRunner, Result
from commanded import Command, Said, environment

from trod.commands import main


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    """A catalogue with something to ask of."""
    return asked.catalogue()


@pytest.fixture
def trod(trod_home: Path) -> Callable[..., Result]:
    """Call a verb in this process."""

    def call(*words: object) -> Result:
        return CliRunner(env={"COLUMNS": "200"}).invoke(main, [str(word) for word in words])

    return call


@pytest.fixture
def said(trod: Callable[..., Result]) -> Callable[..., Any]:
    """Call a verb that must succeed, and read its JSON."""

    def call(*words: object) -> Any:
        done = trod(*words, "--json")
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)

    return call


@pytest.fixture
def command(trod_home: Path) -> Command:
    """Call `trod` in a process of its own, on this test's home; nobody sits at its terminal."""

    def call(*words: str, home: Path | None = None, stdin: str = "") -> Said:
        done = subprocess.run(
            [sys.executable, "-m", "trod", *words],
            env=environment(home or trod_home),
            input=stdin,
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        return Said(done.returncode, done.stdout, done.stderr)

    return call


@pytest.fixture
def card(tmp_path: Path) -> pulled.Pulled:
    """A card with four days of bursts."""
    made = pulled.Pulled(tmp_path / "ESK-01-A")
    made.bursts(pulled.days(4))
    return made
