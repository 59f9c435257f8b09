"""The same small reserve as the catalogue's tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

_spec = importlib.util.spec_from_file_location(
    "small_reserve", Path(__file__).parents[1] / "catalogue" / "conftest.py"
)
assert _spec is not None and _spec.loader is not None
small_reserve = importlib.util.module_from_spec(_spec)
sys.modules["small_reserve"] = small_reserve
_spec.loader.exec_module(small_reserve)
small, take = small_reserve.small, small_reserve.take
