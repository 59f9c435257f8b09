"""What docs/limits.md promises is what the code holds to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from trod import limits

DOCS = Path(__file__).resolve().parents[1] / "docs"
UNITS = {"": 1, "kB": 1000, "MB": 1_000_000}


def rows() -> dict[str, float]:
    found = re.findall(r"^\| [^|]+ \| ([\d.]+) ?(kB|MB)? \| `([A-Z_]+)` \|$", (DOCS / "limits.md").read_text(), re.M)
    assert len({name for *_, name in found}) == len(found)
    return {name: round(float(number) * UNITS[unit]) for number, unit, name in found}


def test_every_limit_is_told_with_its_number() -> None:
    held = {name: value for name, value in vars(limits).items() if name.isupper()}

    assert rows() == held


def test_the_field_forms_own_page_tells_the_same() -> None:
    text = (DOCS / "fieldform.md").read_text()

    assert f"{limits.FIELD_FORM_BYTES // 1_000_000} MB a file, {limits.FIELD_FORM_VISITS} visits" in text
    assert f"{limits.FIELD_FORM_PHOTOS} photos a visit of {limits.FIELD_FORM_PHOTO_BYTES // 1_000_000} MB each" in text


@pytest.mark.parametrize("name", [name for name in vars(limits) if name.isupper()])
def test_no_limit_is_written_down_and_used_nowhere(name: str) -> None:
    source = DOCS.parent / "src" / "trod"

    assert any(re.search(rf"\b{name}\b", p.read_text()) for p in source.rglob("*.py") if p.name != "limits.py")


def test_the_largest_file_fits_into_a_request() -> None:
    assert (
        1.02 * max(limits.FIELD_FORM_BYTES, limits.HAND_IN_BYTES, limits.HEIGHTS_PAGE_BYTES, 2 * limits.TARGET_BYTES)
        < limits.REQUEST_BYTES
    )
