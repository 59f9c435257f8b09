"""A part of a file as a file of its own, so that the web server sends it by itself.

A part that is read here and handed over piece by piece would wait in the server's memory or on its disk while a slow
browser takes it; a file is read as fast as it is taken.
"""

from __future__ import annotations

import io
from pathlib import Path


class Piece(io.RawIOBase):
    """Bytes first … first + length − 1 of a file, to be read."""

    def __init__(self, path: Path, first: int, length: int) -> None:
        super().__init__()
        self._file = path.open("rb")
        self._first, self._length, self._at = first, length, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._length}[whence]
        self._at = max(0, base + offset)
        return self._at

    def tell(self) -> int:
        return self._at

    def read(self, size: int = -1) -> bytes:
        left = max(0, self._length - self._at)
        self._file.seek(self._first + self._at)
        data = self._file.read(left if size is None or size < 0 else min(size, left))
        self._at += len(data)
        return data

    def close(self) -> None:
        self._file.close()
        super().close()
