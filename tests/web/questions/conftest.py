from __future__ import annotations

from pathlib import Path
from typing import Any

import asked
import sequenced
import pytest


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()
