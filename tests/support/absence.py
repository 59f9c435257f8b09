"""Programs that a test needs and a machine may lack."""

from __future__ import annotations

import os
import shutil

import pytest

IN_CI = os.environ.get("CI") == "true"


def absent(what: str, remedy: str) -> None:
    """Skip the test at hand because a program is absent; in CI, where .ci/run installs it, fail."""
    if IN_CI:
        pytest.fail(f"{what} is absent, and in CI it must be there. {remedy}", pytrace=False)
    pytest.skip(f"{what} is absent. {remedy}")


def need(program: str, *, package: str) -> str:
    """The path of a program on the search path; without it the test at hand ends here."""
    found = shutil.which(program)
    if found is None:
        absent(program, f"On Debian: apt install {package}")
    return str(found)
