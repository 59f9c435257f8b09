"""The chart-drawing script for the browser, made once on this machine out of the installed chart library.

It is no file of ours and lies in TROD_HOME/cache; its address carries the versions, so a browser may keep it.
"""

from __future__ import annotations

import gzip
import os
import tempfile
import threading
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

from trod.catalogue import home
from trod.report.charts import VEGALITE

_lock = threading.Lock()
# Our own: how the bundle is wrapped. Higher, when that changes.
WRAPPING = 1


@lru_cache(maxsize=1)
def stamp() -> str:
    """Versions of all that goes into the script."""
    return f"{version('vl-convert-python')}-{VEGALITE}-{WRAPPING}"


def file(*, gzipped: bool = True) -> Path:
    """The script, made now if it is missing (a second or two). Raises OSError when it cannot be written."""
    path = home.home() / "cache" / "charts" / f"{stamp()}.js{'.gz' if gzipped else ''}"
    if path.is_file():
        return path
    with _lock:
        if not path.is_file():
            import vl_convert

            bundle: str = vl_convert.javascript_bundle(  # type: ignore[call-arg]  # its stubs ask for a snippet
                vl_version=VEGALITE
            )
            data = f"(() => {{\n{bundle}\n}})();\n".encode()  # its names stay its own
            _write(path, gzip.compress(data, 6, mtime=0) if gzipped else data)
    return path


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
