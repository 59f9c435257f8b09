"""A PDF as Poppler sees it, which is not ours: its text, its pages, what it says of itself."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

from absence import need


def poppler(program: str, *words: Any) -> str:
    """What one of Poppler's programs prints; the test is skipped (in CI: fails) where it is absent."""
    command = [need(program, package="poppler-utils"), *map(str, words)]
    return subprocess.run(command, capture_output=True, check=True).stdout.decode()


def text_of(pdf: bytes, folder: Path) -> str:
    """The text of a PDF, laid out as on the page."""
    path = folder / "seen.pdf"
    path.write_bytes(pdf)
    return poppler("pdftotext", "-layout", path, "-")
