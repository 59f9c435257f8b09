"""`trod report`."""

from __future__ import annotations

import re

import pytest

from trod.catalogue.answers import making

pytestmark = pytest.mark.django_db


def test_a_report_and_its_tables_go_where_they_are_told(made, said, tmp_path):
    out, tables = tmp_path / "Winter über.pdf", tmp_path / "tables"
    told = said("report", "--out", out, "--csv", tables, "--species-pages", 1)

    assert out.read_bytes().startswith(b"%PDF-")
    assert told["pdf"] == str(out) and told["bytes"] == out.stat().st_size
    assert {path.name for path in tables.iterdir()} >= {"sites.csv", "species.csv", "README.txt"}
    assert told["period"] == "5 January to 13 February 2026"
    assert told["sensitive_shown"] is False
    assert making.made() == []


def test_without_a_place_it_stands_among_the_reports_of_the_page(made, trod):
    done = trod("report", "--species-pages", 0)

    assert done.exit_code == 0
    assert done.stdout.startswith("Two species came by in")
    assert [m.title for m in making.made()] == ["Eskerwold (invented)"]


def test_letter_and_a_period(made, said, tmp_path):
    out = tmp_path / "r.pdf"
    told = said("report", "--paper", "letter", "--from", "2026-01-10", "--to", "2026-01-20", "--out", out)

    assert re.search(rb"/MediaBox ?\[0 0 612 792\]", out.read_bytes())
    assert told["period"] == "10 to 20 January 2026"


def test_sensitive_sites_are_blurred_unless_told(made, trod, tmp_path):
    made.sites[1].latitude = 47.291234
    made.sites[1].save()
    trod("report", "--out", tmp_path / "a.pdf", "--csv", tmp_path / "a", "--species-pages", 0)
    trod("report", "--out", tmp_path / "b.pdf", "--csv", tmp_path / "b", "--species-pages", 0, "--true-places")

    assert "47.291234" not in "".join(p.read_text("utf-8") for p in (tmp_path / "a").iterdir())
    assert "47.291234" in (tmp_path / "b" / "sites.csv").read_text("utf-8")


def test_without_effort_no_file_is_made(made, trod, tmp_path):
    done = trod("report", "--from", "2040-01-01", "--out", tmp_path / "r.pdf")

    assert done.exit_code == 3 and "no camera watched" in done.stderr
    assert list(tmp_path.glob("*.pdf*")) == []


def test_a_place_that_is_not_there_is_told(made, trod, tmp_path):
    done = trod("report", "--out", tmp_path / "gone" / "r.pdf", "--species-pages", 0)

    assert done.exit_code == 3
    assert "Choose another place with --out or --csv." in done.stderr
