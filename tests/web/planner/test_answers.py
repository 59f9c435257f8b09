"""What the placement planner answers, and what it gives up."""

from __future__ import annotations

import pytest

from trod.errors import Stopped
from trod.planning.equipment.camera import CameraSpec
from trod.web.shared import placing as answers
from trod.web.shared.placing import Place

SPEC = CameraSpec(maker="Umber", model="Two")
PLACE = Place(47.3, 13.9, utc_offset_min=60)


def ask(spec=SPEC, animal="roe_deer", **inputs):
    return answers.asked(spec, animal, inputs, PLACE, system="metric", year=2026)


def test_an_angle_becomes_a_heading_that_makes_it():
    for angle in (20.0, 45.0, 90.0):
        done = answers.work(ask(path_bearing_deg=40.0, angle_deg=angle))
        made = done.path.angle_deg
        assert min(made, 180 - made) == pytest.approx(angle, abs=1e-3)


def test_of_the_headings_with_one_angle_the_one_with_less_sun_is_taken():
    # A path east to west at 47° north: across it one looks north or south.
    turned = answers.turned(SPEC, {"path_bearing_deg": 90.0, "angle_deg": 90.0}, PLACE, year=2026)

    assert turned["heading_deg"] % 360 == pytest.approx(0, abs=1e-6)


def test_a_heading_that_is_told_goes_before_an_angle():
    turned = answers.turned(SPEC, {"path_bearing_deg": 90.0, "angle_deg": 20.0, "heading_deg": 200.0}, PLACE, year=2026)

    assert turned == {"path_bearing_deg": 90.0, "heading_deg": 200.0}


def test_a_slider_that_goes_to_and_fro_does_not_flicker():
    first = answers.work(ask(path_bearing_deg=40.0, height_m=1.0)).day.chances
    answers.work.cache_clear()

    assert answers.work(ask(path_bearing_deg=40.0, height_m=1.0)).day.chances == first


def test_the_closer_answer_agrees_with_the_first_and_knows_it_better():
    question = ask(path_bearing_deg=40.0, offset_m=8.0, heading_deg=130.0)
    first, better = answers.work(question).day.chances, answers.closer(question)[0].chances

    assert better.passes > 4 * first.passes
    assert better.whole.standard_error < first.whole.standard_error / 2
    for name in ("triggered", "middle", "whole", "empty"):
        one, two = getattr(first, name), getattr(better, name)
        assert abs(one.value - two.value) < 5 * (one.standard_error + two.standard_error)


def test_work_for_an_older_question_is_given_up():
    turns = answers.Turns()
    turns.take("a", 3)
    turns.take("a", 2)  # came late

    assert turns.is_old("a", 2)
    assert not turns.is_old("a", 3)
    assert not turns.is_old("another", 1)
    with pytest.raises(Stopped):
        answers.closer(ask(path_bearing_deg=41.0, height_m=0.77), stop=lambda: True)


def test_benches_that_nobody_looks_at_any_more_are_forgotten():
    turns = answers.Turns(most=3)
    for planner in "abcd":
        turns.take(planner, 5)

    assert not turns.is_old("a", 1)
    assert turns.is_old("d", 1)


def test_a_herd_has_a_curve_only_where_it_stays():
    stays = answers.herd(answers.work(ask(animal="elk", feature="feeding", herd=20, patch_near_m=8.0, patch_far_m=23.0)))

    assert stays is not None
    shares = [share for _, share in stays.rows]
    assert shares[-1] > shares[0]
    assert answers.herd(answers.work(ask(animal="elk", feature="trail", herd=20))) is None
    assert answers.herd(answers.work(ask(animal="elk", feature="feeding", herd=1))) is None


def test_from_high_up_more_of_a_herd_is_seen_than_from_the_knee():
    """Common practice: over a feeding ground a camera hangs at 2.5 to 4 m and not at 0.9 m."""
    place = {"feature": "feeding", "herd": 30, "patch_near_m": 8.0, "patch_far_m": 23.0}
    curve = answers.herd(answers.work(ask(animal="elk", **place)))
    by_height = dict(curve.rows)

    assert by_height[3.0] > by_height[1.0] + 0.1


def test_every_animal_is_told_at_its_own_pace_and_as_it_is_asked_for():
    question = ask(path_bearing_deg=40.0, offset_m=6.0)
    found = {pace.animal.key: pace.outcome for pace in answers.paces(question, ["roe_deer", "pine_marten"])}

    assert found["pine_marten"].chances.triggered.value < found["roe_deer"].chances.triggered.value
    assert found["pine_marten"].case.passer.gaits != found["roe_deer"].case.passer.gaits
