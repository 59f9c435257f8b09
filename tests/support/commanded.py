"""Commands in processes of their own, as a person or a script calls them."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SRC = Path(__file__).parents[2] / "src"


@dataclass
class Said:
    """What a command said."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Command = Callable[..., Said]


def environment(home: Path) -> dict[str, str]:
    return {**os.environ, "TROD_HOME": str(home), "PYTHONPATH": str(SRC), "TZ": "UTC"}
