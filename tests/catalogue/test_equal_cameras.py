"""Equal cameras from rows: which placements tell a chance, and what the answer says of it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced
from pytest import approx

from trod.catalogue.answers import answers, equal_cameras, evidence
from trod.errors import WrongInput

FIGURES = {"trigger_time_s": 0.4, "detection_angle_deg": 50, "detection_range_m": 22, "columns": 4000}
TRAIL = {"path_bearing_deg": 30.0, "offset_m": 4.0}


def hang(made: sequenced.Ground, *, second: dict[str, Any] | None = None, figures: dict[str, Any] | None = None) -> None:
    """Both deployments made of placements: one near the path, the second by `second`."""
    from trod.catalogue import models as m

    kind = m.CameraModel.objects.create(maker="Tarnbeckle", name="Lanthorn 3", slug="lanthorn-3", **(figures or FIGURES))
    for deployment, entered in zip(made.deployments, (TRAIL, second or {**TRAIL, "offset_m": 6.0}), strict=True):
        deployment.camera.model = kind
        deployment.camera.save()
        deployment.placement = m.Placement.objects.create(
            site=deployment.site, camera_model=kind, animal="red_fox", inputs=entered,
            at=datetime(2026, 1, 1, tzinfo=UTC),
        )  # fmt: skip
        deployment.save()


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()


def ask(made: sequenced.Ground, unknown: str = "", **more: Any) -> equal_cameras.Equal:
    account = evidence.gather(made.reserve)
    wanted = answers.make_filter(account, **{"species": ["red-fox"], **more})
    return equal_cameras.ask(account, wanted, equal_cameras.unknown_of(unknown))


def test_the_camera_that_catches_less_has_its_rate_raised(made: sequenced.Ground) -> None:
    hang(made)
    finding = ask(made).finding

    assert finding is not None and finding.interval is not None
    near, far = finding.rows
    assert near["chance"] > far["chance"] and far["detections"] == 10
    numbers = finding.series["equal_cameras"]
    # All foxes came to the second site by night, so that camera's chance by night alone carries them.
    assert finding.value > numbers["as_recorded"]
    assert finding.value == approx(far["equal"] * far["site_days"] / (near["site_days"] + far["site_days"]))
    assert finding.interval.low < finding.value < finding.interval.high
    assert numbers["rests_on"] == ["modelled"] and numbers["apart"] == []
    assert "as recorded it is" in finding.sentence
    assert any("no animals were counted to check them" in line for line in finding.told)
    assert any("walk tests would make them surer" in line for line in finding.told)


def test_measured_figures_are_told_as_such_and_never_as_measured_chances(made: sequenced.Ground) -> None:
    hang(made, figures={**FIGURES, "measured": {"trigger_s": 0.4, "zone_deg": 50, "range_m": 22}})
    finding = ask(made).finding

    assert finding is not None
    assert any(line.endswith("Range, zone and trigger time of these cameras were measured.") for line in finding.told)
    assert any(line.startswith("The chances are modelled") for line in finding.told)


def test_without_placements_it_says_what_it_would_take(made: sequenced.Ground) -> None:
    trouble = ask(made).trouble

    assert trouble is not None
    assert trouble.have == "the cameras' chances are known for 0 % of the site-days"
    assert "placements" in trouble.need


def test_where_animals_stay_no_chance_is_made_up(made: sequenced.Ground) -> None:
    hang(made, second={"feature": "feeding"})
    left_out, kept = ask(made).trouble, ask(made, "kept").trouble

    assert left_out is not None and left_out.have.endswith("of the site-days")  # under half of them are left
    assert kept is not None and kept.have == "the chance is known of one camera alone"


def test_many_placements_are_worked_out_beside_the_page(made: sequenced.Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    hang(made, second={**TRAIL, "offset_m": 6.5})  # asked nowhere else, so in no memory
    monkeypatch.setattr(equal_cameras, "MOST_AT_ONCE", 1)
    before = evidence.in_a_hurry.set(True)
    try:
        with pytest.raises(evidence.StillReading) as still:
            ask(made)
        evidence.in_a_hurry.set(False)
        assert still.value.todo is not None
        still.value.todo()
        evidence.in_a_hurry.set(True)
        assert ask(made).finding is not None  # from memory
    finally:
        evidence.in_a_hurry.reset(before)


@pytest.mark.parametrize(("species", "why"), [([], "no single kind"), (["jay"], "neither size nor speeds of Jay")])
def test_one_kind_that_the_planner_knows(made: sequenced.Ground, species: list[str], why: str) -> None:
    hang(made)
    trouble = ask(made, species=species).trouble
    assert trouble is not None and why in trouble.have


def test_a_changed_placement_is_asked_anew(made: sequenced.Ground) -> None:
    hang(made)
    before = ask(made).finding
    row = made.deployments[1].placement
    row.inputs = {**TRAIL, "offset_m": 7.0}
    row.save()
    after = ask(made).finding

    assert before is not None and after is not None
    assert after.rows[1]["chance"] < before.rows[1]["chance"]


def test_what_is_done_with_unknown_ones_is_one_of_two_words() -> None:
    assert equal_cameras.unknown_of("") == "left out" and equal_cameras.unknown_of("kept") == "kept"
    with pytest.raises(WrongInput, match="left-out or kept"):
        equal_cameras.unknown_of("perhaps")


def test_the_command_adds_it_beneath_and_as_a_key(made: sequenced.Ground) -> None:
    hang(made)
    words = ("ask", "what-comes", "--species", "red-fox")
    plain = json.loads(asked.trod(*words, "--json").output)
    whole = json.loads(asked.trod(*words, "--equal-cameras", "--json").output)
    spoken = asked.trod(*words, "--equal-cameras").output

    equal = whole.pop("equal_cameras")
    assert whole == plain
    finding = ask(made).finding
    assert finding is not None and equal == json.loads(finding.to_json())
    assert "Had every camera been as good as the average one here, Red fox" in spoken
    none = asked.trod("ask", "what-comes", "--equal-cameras").output
    assert "No rate with equal cameras: no single kind of animal was asked for." in none
    told = json.loads(asked.trod("ask", "what-comes", "--equal-cameras", "--json").output)
    assert told["equal_cameras"]["value"] is None and "one species" in told["equal_cameras"]["need"]
