"""Cameras ranked for a use."""

from __future__ import annotations

from dataclasses import replace

import pytest

from trod.errors import Stopped, WrongInput
from trod.planning.catch.ranking import TIED, USES, HeldBack, Ranked, patch_share, rank_for
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.telling import ranking
from trod_demo.camera_models import CAMERA_SPECS

GOOD = CameraSpec(
    maker="Thornmere",
    model="Good",
    claimed=Figures(
        zone_deg=42, range_m=24, fov_deg=45, trigger_s=0.3, rearm_s=2, burst_gap_s=0.5, burst_max=3,
        flash_reach_m=20, columns=4000, rows=3000,
    ),
)  # fmt: skip


def like_good(model: str, **changed: float) -> CameraSpec:
    return replace(GOOD, model=model, claimed=replace(GOOD.claimed, **changed))  # type: ignore[arg-type]


def order(use: str, *specs: CameraSpec) -> list[str]:
    return [ranked.spec.model for ranked in rank_for(use, specs)]


def test_a_slow_trigger_comes_last_for_fast_animals() -> None:
    assert order("fast animals on a trail", like_good("Slow", trigger_s=2.5), GOOD) == ["Good", "Slow"]


def test_a_wide_sharp_view_comes_first_for_a_herd() -> None:
    assert order("herd at a feeding ground", GOOD, like_good("Wide", fov_deg=70))[0] == "Wide"
    blurred = like_good("Wide but coarse", fov_deg=100, columns=1280, rows=960)
    assert order("herd at a feeding ground", GOOD, blurred)[0] == "Good"


def test_a_short_range_comes_last_for_small_animals() -> None:
    assert order("small animals", like_good("Deaf", range_m=8), GOOD) == ["Good", "Deaf"]


def test_a_flash_that_does_not_reach_comes_last_for_security() -> None:
    ranked = rank_for("security", [like_good("Dim", flash_reach_m=5), GOOD])

    assert [r.spec.model for r in ranked] == ["Good", "Dim"]
    assert ranked[1].day > ranked[1].night + 0.3


def test_the_box_is_not_believed_when_the_camera_was_measured() -> None:
    boast = replace(
        like_good("Boast", trigger_s=0.1, columns=8000, rows=6000),
        measured=Figures(trigger_s=2.5, columns=1280, rows=960),
    )

    ranked = rank_for("fast animals on a trail", [boast, GOOD])

    assert ranked[0].spec.model == "Good"
    assert "Claims 39.1 times the pixels that its sensor has; ranked by the sensor's." in ranking.cautions(ranked[1])


def test_reasons_say_what_holds_a_camera_back_and_what_it_would_be_worth() -> None:
    slow = rank_for("fast animals on a trail", [like_good("Slow", trigger_s=2.5)])[0]

    assert any(
        line.startswith("Held back by its trigger time of 2.5 s (claimed): with 0.2 s it would catch about ")
        for line in ranking.reasons(slow, "metric")
    )
    assert ranking.reasons(slow, "metric")[0].startswith("Of 100 that pass, about ")


def test_a_reach_is_told_in_the_readers_units() -> None:
    one = HeldBack(figure="flash_reach_m", own=9.0, better=30.0, origin="claimed", caught=0.6)

    assert ranking.held_back(one, 0.4, "metric") == (
        "Held back by its flash that reaches 9.0 m (claimed): with 30 m it would catch about 60 instead of about 40."
    )
    assert ranking.held_back(one, 0.4, "us") == (
        "Held back by its flash that reaches 30 ft (claimed): with 98 ft it would catch about 60 instead of about 40."
    )


def test_a_camera_without_flash_takes_nothing_by_night() -> None:
    day_only = rank_for("fast animals on a trail", [replace(GOOD, flash="none")])[0]

    assert day_only.night == 0.0
    assert "It has no flash, so it takes nothing by night." in ranking.reasons(day_only, "metric")
    assert not any("flash reach" in line for line in ranking.cautions(day_only))


def test_what_nobody_says_is_told_to_be_assumed() -> None:
    silent = rank_for("security", [CameraSpec(maker="Thornmere", model="Silent")])[0]

    assert ranking.cautions(silent)[0] == (
        "Nobody says its detection angle, detection range, angle of view, trigger time, recovery time, "
        "burst, flash reach, pixels; assumed here."
    )
    assert "Its flash can be seen, so whoever is photographed may know." in ranking.cautions(silent)


def test_cameras_that_the_model_cannot_tell_apart_are_tied() -> None:
    ranked = rank_for("security", [GOOD, like_good("Twin", trigger_s=0.31)])

    assert [r.place for r in ranked] == [1, 2]
    assert not ranked[0].tied and ranked[1].tied
    assert abs(ranked[0].caught - ranked[1].caught) < TIED


@pytest.mark.parametrize("use", sorted(USES))
def test_the_demos_dozen_can_be_ranked_for_every_use(use: str) -> None:
    ranked: list[Ranked] = rank_for(use, CAMERA_SPECS, passes=512)

    assert len(ranked) == 12
    assert ranked[0].caught > ranked[-1].caught + 0.3
    for one in ranked:
        assert 0 <= one.night <= 1 and 0 <= one.day <= 1 and ranking.reasons(one, "us")


def test_a_patch_is_wholly_or_half_in_view() -> None:
    from trod.planning.catch.crossing import View
    from trod.planning.catch.dwelling import Stay

    patch = Stay(near_m=20, depth_m=1, width_m=2)
    assert patch_share(patch, View(fov_deg=60, reach_m=50)) == 1.0
    assert patch_share(patch, View(fov_deg=60, reach_m=10)) == 0.0
    assert patch_share(patch, View(fov_deg=60, reach_m=20.5)) == pytest.approx(0.5, abs=0.03)


def test_an_unknown_use_is_refused_with_those_there_are() -> None:
    with pytest.raises(WrongInput, match="one of fast animals on a trail, herd at a feeding ground"):
        rank_for("birds", [GOOD])


def test_a_rank_tells_its_standard_error_and_how_far_the_work_is() -> None:
    told: list[tuple[int, int]] = []

    rough = rank_for("small animals", [GOOD], passes=512, progress=lambda done, total: told.append((done, total)))[0]
    fine = rank_for("small animals", [GOOD], passes=8192)[0]

    assert told[0] == (0, 2)
    assert told[-1] == (2, 2)
    # Sixteen times the passes, a quarter of the error.
    assert rough.standard_error == pytest.approx(4 * fine.standard_error, rel=0.15)
    assert abs(rough.caught - fine.caught) < 4 * rough.standard_error


def test_a_ranking_that_is_told_to_stop_stops() -> None:
    with pytest.raises(Stopped, match="stopped after 0 of 4 steps"):
        rank_for("small animals", [GOOD, GOOD], stop=lambda: True)


def test_the_pixels_that_security_asks_for_are_told_with_their_edition_and_that_they_speak_of_people() -> None:
    """IEC/EN 62676-4:2014/2015, Video surveillance systems for use in security applications – Part 4: Application
    guidelines, table of levels: recognise 125 pixels a metre, of people.
    """
    use = USES["security"]

    assert use.per_m == 125
    assert use.note == (
        "A picture counts from 125 pixels a metre on, the step “recognise” of EN/IEC 62676-4:2014/2015. These steps "
        "were written for people under watch. For animals they are a scale of resolution, no more; a later edition of "
        "the standard has other words and other numbers."
    )
    assert [other.note for other in USES.values() if other.name != "security"] == [""] * (len(USES) - 1)
