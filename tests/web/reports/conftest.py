from __future__ import annotations

from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()
