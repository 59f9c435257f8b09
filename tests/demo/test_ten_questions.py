"""Ten questions of the demo with known answers, asked by `trod ask`: one seed of benchmarks/demo_questions.py."""

from __future__ import annotations

import importlib.util
import itertools
import sys
from pathlib import Path
from typing import Any

import pytest

STUDY = Path(__file__).resolve().parents[2] / "benchmarks" / "demo_questions.py"
PICTURES, STORIES = 1200, 20


@pytest.fixture(scope="module")
def study() -> Any:
    spec = importlib.util.spec_from_file_location("demo_questions", STUDY)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["demo_questions"] = module
    spec.loader.exec_module(module)
    return module


def test_the_truth_knows_when_each_camera_slept(study: Any) -> None:
    """301 days are asked for. Heron Pool slept from 21:00 of day 186 to 11:00 of day 203, 16.58 days; Stone Ford from
    day 204 until another camera stood there; Hay Stand while its card was full; no other for over an hour or two."""
    days = study.watched_days()

    assert days["heron-pool"] == pytest.approx(301 - (203 + 11 / 24 - 186 - 21 / 24))
    assert days["stone-ford"] < 278 and 285 < days["hay-stand"] < 292
    assert {site for site, many in days.items() if many < 300} == {"heron-pool", "stone-ford", "hay-stand"}


def test_the_truth_joins_pictures_under_half_an_hour_apart(study: Any) -> None:
    comings = study.story(5, PICTURES)
    by: dict[tuple[str, str], list[Any]] = {}
    for one in comings:
        by.setdefault((one.site, one.species), []).append(one.at)

    assert len(comings) > 60
    apart = [(b - a).total_seconds() for own in by.values() for a, b in itertools.pairwise(own)]
    assert min(apart) > study.APART_S
    assert not any(one.species == study.NEVER[0] and one.site == study.NEVER[1] for one in comings)


@pytest.mark.long
def test_ten_answers_hold_what_the_simulator_knows(study: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(study, "EXPECTED_FROM", STORIES)
    answers = study.answers_of(tmp_path / "demo", 3, PICTURES)
    found = {name: judge(answers[name], 3, PICTURES) for name, judge in study.JUDGES.items()}

    assert found["change"].verdict == "refused"
    # What slept unnoticed between two pictures is counted: 17 of 3,600 days.
    assert answers["effort"]["effort"]["site_days"] == pytest.approx(sum(study.watched_days().values()), rel=0.01)
    wrong = {name: one for name, one in found.items() if one.verdict == "wrong" and name != "effort"}
    assert not wrong
    assert {"kinds", "common", "never", "first and last"} <= {n for n, one in found.items() if one.verdict == "right"}
