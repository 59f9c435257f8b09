"""`trod rounds` and `trod fieldform` on a catalogue: who is due, a plan with its papers, a field form out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import gpxpy
import icalendar
import pytest
from click.testing import CliRunner, Result

from trod.catalogue import models as m
from trod.commands import main

pytestmark = pytest.mark.django_db


def trod(*words: object) -> Result:
    return CliRunner(env={"COLUMNS": "200"}).invoke(main, [str(word) for word in words])


def test_without_a_day_it_tells_who_is_due_and_keeps_nothing(base: Any) -> None:
    told = json.loads(trod("rounds", "--json").output)

    assert {row["site"] for row in told["due"]} == {"Meadow", "Ford"}
    assert all(0 <= row["chance"] <= 1 for row in told["due"])
    assert m.Round.objects.count() == 0


def test_a_named_round_is_kept_and_its_papers_are_read_by_others(base: Any, wish: Any, tmp_path: Path) -> None:
    papers = {kind: tmp_path / f"round.{kind}" for kind in ("gpx", "ics", "pdf", "csv")}
    files = [word for kind, path in papers.items() for word in (f"--{kind}", path)]
    done = trod("rounds", "--day", wish().first, "--which", "all", "--name", "West side", *files)

    assert done.exit_code == 0, done.output
    assert [stop.site.name for stop in m.Round.objects.get(name="West side").stops.all()]
    names = [p.name for p in gpxpy.parse(papers["gpx"].read_text()).waypoints]
    assert any("Ford" in name for name in names) and any("Meadow" in name for name in names)
    assert list(icalendar.Calendar.from_ical(papers["ics"].read_bytes()).walk("VEVENT"))
    assert papers["pdf"].read_bytes().startswith(b"%PDF-")
    assert "Meadow" in papers["csv"].read_text("utf-8-sig")


def test_a_paper_that_cannot_be_written_keeps_no_round(base: Any, wish: Any, tmp_path: Path) -> None:
    done = trod("rounds", "--day", wish().first, "--which", "all", "--name", "Once", "--gpx", tmp_path / "no" / "r.gpx")

    assert done.exit_code == 3
    assert "a name in a folder that is there" in done.output
    assert m.Round.objects.count() == 0


def test_a_file_without_a_day_is_refused(base: Any, tmp_path: Path) -> None:
    done = trod("rounds", "--pdf", tmp_path / "x.pdf")

    assert done.exit_code == 2 and "needs a round: give --day" in done.output


def test_the_field_form_of_a_kept_round_is_one_file_that_calls_nobody(kept: Any, tmp_path: Path) -> None:
    out = tmp_path / "field-form.html"
    told = json.loads(trod("fieldform", "--round", kept.name, "--out", out, "--json").output)
    page = out.read_text("utf-8")

    assert told["stops"] == kept.stops.count() > 0 and told["bytes"] == out.stat().st_size
    assert "default-src 'none'" in page and 'src="http' not in page


def test_a_round_nobody_kept_is_told_with_those_there_are(kept: Any, tmp_path: Path) -> None:
    done = trod("fieldform", "--round", "Nowhere", "--out", tmp_path / "p.html")

    assert done.exit_code == 3 and "'Nowhere'" in done.output and kept.name in done.output
