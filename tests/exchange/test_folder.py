"""The folder of records, without a database."""

from __future__ import annotations

import csv
import json
from datetime import date

import invented
import pytest

from trod.exchange import folder
from trod.findings import Filter
from trod.findings.blur import cell_of
from trod.leaving.sites import fit_evidence


def rows(where, name):
    with (where / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write(evidence, where, **more):
    return folder.write(
        folder.record_tables(
            fit_evidence(evidence, true_places=more.pop("true_places", False)), more.pop("asked", Filter()), **more
        ),
        where,
        title="Records",
        made="Made by a test",
    )


def test_sites_effort_and_observations_are_written_with_their_description(tmp_path):
    evidence = invented.year(days=60)
    counts = write(evidence, tmp_path)

    animals = [s for s in evidence.observations if s.what == "animal"]
    people = {s.sequence for s in evidence.observations if s.what in ("human", "vehicle")}
    assert counts["sites"] == 8
    assert counts["observations"] == len([s for s in evidence.observations if s.sequence not in people])
    assert sum(row["what"] == "animal" for row in rows(tmp_path, "observations")) == len(animals)
    described = json.loads((tmp_path / "description.json").read_text("utf-8"))
    assert [t["file"] for t in described["tables"]] == ["sites.csv", "effort.csv", "observations.csv"]


def test_gaps_stand_beside_what_was_watched_with_their_reasons(tmp_path):
    evidence = invented.year(days=60)
    write(evidence, tmp_path)
    found = rows(tmp_path, "effort")

    assert {row["reason"] for row in found if row["state"] == "gap"} == {
        "batteries empty", "card full", "lens snowed in", "knocked over",
    }  # fmt: skip
    watched = sum(float(row["days"]) for row in found if row["state"] == "watched")
    assert watched == pytest.approx(sum(b - a for d in evidence.deployments for a, b in d.watched) / 86_400)


def test_a_sensitive_site_never_stands_at_its_point(tmp_path):
    evidence = invented.year(days=10)
    den = next(site for site in evidence.sites if site.sensitive)
    write(evidence, tmp_path / "generalised")
    write(evidence, tmp_path / "true", true_places=True)

    cell = cell_of(latitude_deg=den.latitude_deg, longitude_deg=den.longitude_deg)
    generalised = next(row for row in rows(tmp_path / "generalised", "sites") if row["site"] == den.slug)
    assert (
        float(generalised["latitude"]) == cell.latitude_deg and float(generalised["uncertainty_m"]) == cell.uncertainty_m
    )
    assert repr(den.latitude_deg) not in (tmp_path / "generalised" / "sites.csv").read_text("utf-8")
    true = next(row for row in rows(tmp_path / "true", "sites") if row["site"] == den.slug)
    assert float(true["latitude"]) == den.latitude_deg and true["uncertainty_m"] == ""


def test_sites_and_days_asked_for_are_the_only_ones_written(tmp_path):
    evidence = invented.year(days=60)
    write(evidence, tmp_path, asked=Filter(sites=("alder-ford",), first=date(2025, 3, 5), last=date(2025, 3, 6)))

    assert {row["site"] for row in rows(tmp_path, "sites")} == {"alder-ford"}
    assert {row["start_local"][:10] for row in rows(tmp_path, "observations")} <= {"2025-03-05", "2025-03-06"}
    assert sum(float(row["days"]) for row in rows(tmp_path, "effort")) == pytest.approx(2)


def test_a_break_in_the_middle_leaves_the_old_file_whole(tmp_path):
    def broken():
        yield ("a",)
        raise RuntimeError("the cable was pulled")

    column = (folder.Column(name="x", what="something"),)
    folder.write([folder.Table(name="t", what="T.", columns=column, rows=[("old",)])], tmp_path, title="", made="")
    with pytest.raises(RuntimeError):
        folder.write([folder.Table(name="t", what="T.", columns=column, rows=broken())], tmp_path, title="", made="")

    assert (tmp_path / "t.csv").read_bytes() == b"x\r\nold\r\n"
