"""Making the catalogue anew: which old one may be gone on with."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from trod.catalogue.work import anew

TEXT = "a checksum that stands in the table and in its index"


@pytest.fixture
def base(tmp_path: Path) -> Path:
    path = tmp_path / "catalogue.sqlite3"
    made = sqlite3.connect(path)
    made.execute("CREATE TABLE picture (sha256 TEXT)")
    made.execute("CREATE INDEX by_sha ON picture (sha256)")
    made.executemany("INSERT INTO picture VALUES (?)", [(TEXT,), ("another",)])
    made.commit()
    made.close()
    return path


def test_a_whole_catalogue_can_be_read(base: Path) -> None:
    assert anew.can_be_read(base)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("flip", [0x01, 0x80])
def test_a_catalogue_whose_index_says_something_else_than_its_table_cannot(base: Path, which: int, flip: int) -> None:
    data = bytearray(base.read_bytes())
    at = data.index(TEXT.encode())
    assert data.count(TEXT.encode()) == 2
    if which:
        at = data.index(TEXT.encode(), at + 1)
    data[at + 5] ^= flip
    base.write_bytes(data)

    assert not anew.can_be_read(base)
