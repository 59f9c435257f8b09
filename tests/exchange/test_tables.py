"""Plain tables as CSV."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime

import pytest

from trod.exchange import tables


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (None, ""), (True, "true"), (3, "3"), (0.1 + 0.2, "0.30000000000000004"), (float("nan"), ""),
        (float("inf"), ""), (date(2026, 5, 31), "2026-05-31"),
        (datetime(2026, 5, 31, 4, tzinfo=UTC), "2026-05-31T04:00:00+00:00"), ("Ford", "Ford"), ("a\0b", "ab"),
    ],
)  # fmt: skip
def test_a_value_is_written_whole_and_what_is_not_known_is_empty(value, written):
    assert tables.cell(value) == written


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_name_that_a_spreadsheet_would_run_is_kept_as_text(text):
    assert tables.cell(text) == f"'{text}"


def test_a_negative_number_stays_a_number():
    assert tables.cell(-1.5) == "-1.5"


def test_commas_quotes_and_line_breaks_come_back_as_they_were():
    written = tables.text(["a", "b"], [["one, two", 'say "ford"'], ["line\nbreak", "é"]])

    assert written.startswith("a,b\r\n")
    back = list(csv.reader(io.StringIO(written, newline="")))
    assert back == [["a", "b"], ["one, two", 'say "ford"'], ["line\nbreak", "é"]]
