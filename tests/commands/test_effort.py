"""`trod effort`."""

from __future__ import annotations

import csv

import pytest

pytestmark = pytest.mark.django_db


def test_every_deployment_is_told_and_written_by_day(made, said, tmp_path):
    to = tmp_path / "effort.csv"
    told = said("effort", to)
    first, second = told["deployments"]

    assert first["deployment"] == "alder-ford-2025" and first["watched_days"] > 26
    assert first["watched_days"] + first["open_days"] + first["lost_days"] == pytest.approx(40 + 1 / 24)
    assert first["watched_days"] <= first["counted_days"] <= first["watched_days"] + first["open_days"]
    with to.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert told["days"] == len(rows) == 2 * 41
    assert sum(float(row["watched_h"]) for row in rows) == pytest.approx(
        24 * (first["watched_days"] + second["watched_days"]), abs=0.1
    )
    silent = next(row for row in rows if row["day"] == "2026-02-03" and row["site"] == "alder-ford")
    assert (silent["watched_h"], silent["open_h"], silent["lost_h"]) == ("0.0", "24.0", "0.0")
    assert silent["reasons"] == "stopped at some time before it was found not working"


def test_a_period_and_a_site_narrow_it(made, said):
    (only,) = said("effort", "--site", "Grey Lick", "--from", "2026-01-10", "--to", "2026-01-12")["deployments"]
    assert only["watched_days"] + only["open_days"] + only["lost_days"] == pytest.approx(3)


def test_a_last_day_before_the_first_is_refused(made, trod):
    done = trod("effort", "--from", "2026-02-01", "--to", "2026-01-01")
    assert done.exit_code == 3
    assert "a first day on or before the last day" in done.output
