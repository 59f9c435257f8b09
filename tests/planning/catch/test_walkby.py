"""Walk-bys: the quick simulation against closed forms, against a slow one, and against the trade's rules."""

from __future__ import annotations

import importlib.util
import itertools
import math
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest
from pytest import approx
from slow_pass import Outcome, SlowPass

from trod.errors import Stopped, WrongInput
from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import Sensor
from trod.planning.catch.passers import (
    DEER,
    ELK,
    FOX,
    HARE,
    MIXED,
    RUN,
    TROT,
    WALK,
    Body,
    Gait,
    Passer,
)
from trod.planning.catch.walkby import (
    Case,
    Chances,
    Tally,
    Timing,
    angle_advice,
    chances,
    first_answer,
    in_words,
    open_ground,
    refine,
)
from trod.telling import setups

SOURCE = FilePath(__file__).resolve().parents[3] / "src"
LINE = Body(length_m=1.5, width_m=0.0, height_m=0.5533)
SO_SENSITIVE = Sensor(sensitivity=1e6, low_hz=0.0)
ENDLESS = View(reach_m=math.inf)
PASSES = 300_000

# As in test_crossing.py; derived here, checked by simulation.
CLOSED = [
    (5, 0.25, 1.2, 0.30, 90, 0.0001),
    (5, 1.0, 1.2, 0.30, 90, 0.7802),
    (5, 1.0, 3.5, 0.25, 90, 0.8792),
    (4, 2.0, 1.2, 0.30, 90, 0.9468),
    (4, 2.0, 3.5, 0.25, 90, 0.0097),
    (4, 2.0, 3.5, 0.25, 45, 0.7366),
    (4, 1.0, 7.0, 0.20, 45, 0.7836),
    (4, 2.0, 3.5, 0.25, 60, 0.1156),
]


def going(*gaits: Gait, body: Body = DEER.body) -> Passer:
    return Passer(name="animal", body=body, gaits=gaits)


def at(angle_deg: float, offset_m: float = 4.0) -> Path:
    return Path(offset_m=offset_m, angle_deg=angle_deg)


@pytest.mark.parametrize(("offset", "delay", "median", "sigma", "angle", "chance"), CLOSED)
def test_the_simulation_gives_the_closed_form_to_two_thousandths(
    offset: float, delay: float, median: float, sigma: float, angle: float, chance: float
) -> None:
    """A thin body, a sensor that the first ray trips, no jitter, one frame. 0.002 is the tolerance set for
    the task; the standard error of 300 000 passes is below 0.0008, so it is about 2.5 of them.
    """
    case = Case(
        passer=going(Gait(share=1, median_mps=median, sigma_ln=sigma), body=LINE),
        path=at(angle, offset),
        sensor=SO_SENSITIVE,
        view=ENDLESS,
        timing=Timing(trigger_s=delay, jitter_ln=0, rearm_s=1e6),
    )

    found = first_answer(case, passes=PASSES)

    assert found.middle.value == approx(chance, abs=0.002)
    assert found.triggered.value == 1.0
    assert found.triggers.value == 1.0


@pytest.mark.parametrize("angle", [30, 45, 60, 90])
def test_without_delay_and_with_the_zone_inside_the_view_every_trigger_is_framed(angle: float) -> None:
    """Limit: a thin body's front end trips a ray of the zone, which the view holds with half its length."""
    case = Case(
        passer=going(WALK, TROT, RUN, body=Body(length_m=0.3, width_m=0, height_m=0.5)),
        path=at(angle, 5),
        sensor=Sensor(zone_deg=30, sensitivity=1e6, low_hz=0),
        view=View(fov_deg=41, reach_m=math.inf),
        timing=Timing(trigger_s=0, rearm_s=1e6),
    )

    found = first_answer(case)

    assert (found.triggered.value, found.middle.value) == (1.0, 1.0)
    assert found.empty is not None and found.empty.value == 0.0


SLOW = [
    Case(path=at(90), timing=Timing(trigger_s=0.25)),
    Case(path=at(45), timing=Timing(trigger_s=0.25, frames=3)),
    Case(path=at(30), timing=Timing(trigger_s=2.0, rearm_s=1.0)),
    Case(path=at(60, 9), passer=FOX, contrast_k=3.0, view=View(reach_m=12)),
    Case(path=at(75, 20), contrast_k=6.0),
]


@pytest.mark.parametrize("case", SLOW, ids=lambda case: f"{case.path.angle_deg:g}° at {case.path.offset_m:g} m")
def test_the_quick_simulation_agrees_with_a_slow_one_made_otherwise(case: Case) -> None:
    rng = np.random.default_rng(11)
    slow = Outcome()
    for forward in (True, False):
        SlowPass(case, forward=forward).run(350, rng, slow)

    quick = first_answer(case, passes=100_000)

    n = slow.passes
    for name, count in (("triggered", slow.triggered), ("middle", slow.middle), ("whole", slow.whole)):
        share = getattr(quick, name).value
        spread = math.sqrt(max(share * (1 - share), 0.002) / n)
        assert count / n == approx(share, abs=3.5 * spread + 0.004), name
    assert slow.triggers / n == approx(quick.triggers.value, abs=0.12)
    if slow.frames > 100:
        assert quick.empty is not None
        assert slow.empty / slow.frames == approx(quick.empty.value, abs=0.05)


def test_standard_errors_are_what_repeating_shows() -> None:
    case = Case(timing=Timing(trigger_s=0.5, frames=2))
    many = [first_answer(case, passes=4_000, seed=seed) for seed in range(60)]

    for name in ("middle", "whole", "triggers", "empty", "cut", "pixels"):
        values = np.array([getattr(one, name).value for one in many])
        stated = np.mean([getattr(one, name).standard_error for one in many])
        # Gaits come in fixed proportion, so the true spread may lie below what is stated, hardly above it.
        assert values.std(ddof=1) < 1.3 * stated, name
        assert values.std(ddof=1) > 0.45 * stated, name


def test_none_of_many_is_not_shown_as_certain() -> None:
    found = chances(Tally(passes=1000))

    assert found.triggered.value == 0.0
    assert found.triggered.standard_error > 0
    assert found.empty is None and found.pixels is None


def test_refining_narrows_the_answer_and_the_first_is_the_same_again() -> None:
    case = Case()
    steps = list(refine(case, passes=60_000, step=20_000))

    assert [step.passes for step in steps] == [20_000, 40_000, 60_000]
    assert steps[-1].middle.standard_error < steps[0].middle.standard_error
    assert first_answer(case) == first_answer(case)


def test_refining_stops_when_asked() -> None:
    answers = refine(Case(), passes=1_000_000, step=10_000, stop=iter([False, True]).__next__)

    next(answers)
    with pytest.raises(Stopped, match="stopped after 10000 of 1000000 simulated passes"):
        next(answers)


def test_a_camera_that_rearms_at_once_fires_more_often() -> None:
    fired = [
        first_answer(Case(path=at(90), timing=Timing(trigger_s=0.25, rearm_s=s))).triggers.value for s in (0, 1, 5, 60)
    ]

    assert fired == sorted(fired, reverse=True)
    assert fired[0] > 3 * fired[-1]


def test_an_animal_that_stands_still_on_its_way_lets_the_camera_catch_up() -> None:
    hurried = Case(passer=going(TROT), path=at(90), timing=Timing(trigger_s=2.0, frames=5))
    pausing = replace(hurried, passer=replace(hurried.passer, pause_chance=1.0, pause_mean_s=20.0))

    assert first_answer(pausing).middle.value > first_answer(hurried).middle.value + 0.2


def test_pixels_along_the_body_follow_the_lens() -> None:
    """A thin body straight across on the axis: columns · L / (2 q tan φ/2); derived here."""
    case = Case(
        passer=going(Gait(share=1, median_mps=1.0, sigma_ln=0.0), body=LINE),
        path=at(90, 8),
        sensor=Sensor(zone_deg=1.0, pitch_deg=1.0, sensitivity=1e6, low_hz=0),
        view=View(fov_deg=41, reach_m=math.inf, columns=4000),
        timing=Timing(trigger_s=0.0, rearm_s=1e6),
    )

    found = first_answer(case, passes=1_000).pixels

    assert found is not None
    assert found.value == approx(4000 * 1.5 / (2 * 8 * math.tan(math.radians(20.5))), rel=1e-4)


def mean_profile_width_m(*, reach_m: float, angle_rad: float) -> float:
    """How wide a sector stands, on average, in the way of animals that come from anywhere: r(2+θ)/π.

    A convex figure's perimeter over π (Cauchy's theorem on mean width); for cameras J. M. Rowcliffe, J. Field,
    S. T. Turvey & C. Carbone (2008) J. Appl. Ecol. 45:1228–1236.
    """
    return reach_m * (2.0 + angle_rad) / math.pi


@pytest.mark.parametrize("theta_deg", [20, 45, 90, 150])
def test_lines_at_random_enter_a_sector_as_its_mean_profile_is_wide(theta_deg: float) -> None:
    """r(2+θ)/π as an entry rate (Cauchy's theorem; Rowcliffe et al. 2008): of lines within 20 m, the share
    that cuts the sector times 40 m is its width.
    """
    rng = np.random.default_rng(4)
    n, reach, within = 400_000, 10.0, 20.0
    low, high = crossing.sector_span(
        rng.uniform(0, within, n),
        rng.uniform(0, 2 * np.pi, n),
        half_angle_rad=math.radians(theta_deg) / 2,
        reach_m=reach,
    )

    width = float((high > low).mean()) * 2 * within
    expected = mean_profile_width_m(reach_m=reach, angle_rad=math.radians(theta_deg))
    assert width == approx(expected, rel=0.015)


def test_animals_from_anywhere_fire_the_camera_as_its_zone_is_wide() -> None:
    """D1 through the whole simulation: small, warm, slow-spread animals and a sensor that sees just so far
    make the zone a sector; its rays are close, so hardly anything passes between them.
    """
    reach = 10.0
    case = Case(
        passer=going(
            Gait(share=1, median_mps=1.0, sigma_ln=0.0), body=Body(length_m=0.02, width_m=0.02, height_m=1)
        ),
        # A square body shows 0.02·(|sin|+|cos|) to a ray, on average 4/π times its side.
        sensor=Sensor(
            zone_deg=60, pitch_deg=1.0, low_hz=0, high_hz=1e9,
            range_m=reach * math.sqrt(0.83 / (0.02 * 4 / math.pi)),
        ),
        contrast_spread_ln=0.0,
    )  # fmt: skip

    found = open_ground(case, passes=40_000, within_m=14.0)

    width = found.triggered.value * 28.0
    assert width == approx(mean_profile_width_m(reach_m=reach, angle_rad=math.radians(60)), rel=0.05)


# ---- Rules of the trade, come true ("common practice": known in the field, no source claimed) ----------


@pytest.mark.parametrize(
    ("gait", "delay", "frames"),
    [(TROT, 2.0, 1), (TROT, 2.0, 3), (RUN, 1.0, 1), (RUN, 1.0, 3), (WALK, 0.25, 1), (TROT, 0.5, 3)],
)
def test_common_practice_a_slant_of_45_degrees_beats_straight_across(gait: Gait, delay: float, frames: int) -> None:
    """Common practice. The differences by gait, trigger time, offset and burst: docs/models/walkby.md."""
    timing = Timing(trigger_s=delay, frames=frames)
    slant, across = (first_answer(Case(passer=going(gait), path=at(angle), timing=timing)) for angle in (45, 90))

    gap = slant.whole.value - across.whole.value
    assert gap > 0.05
    assert gap > 4 * math.hypot(slant.whole.standard_error, across.whole.standard_error)


def test_a_single_frame_whose_delay_just_fits_the_speed_does_better_straight_across() -> None:
    """Where the rule of 45° ends, by this model: a trot, half a second, one frame, a slow re-arm."""
    timing = Timing(trigger_s=0.5, rearm_s=5.0)
    slant, across = (
        first_answer(Case(passer=going(TROT), path=at(angle), timing=timing)).whole.value for angle in (45, 90)
    )

    assert across > slant + 0.2


PAPER = FilePath(__file__).resolve().parents[3] / "docs" / "models" / "walkby.md"
GAITS = {"walk": (WALK,), "trot": (TROT,), "run": (RUN,), "mixed": MIXED}
ANGLES = (30, 45, 60, 90)


def printed(frames: str, offset_m: int) -> list[tuple[str, float, list[list[float]], float]]:
    """(gait, trigger time, cells of middle/whole/empty by angle, 45° less 90°) of a table of the paper."""
    part = PAPER.read_text("utf-8").split(f"**{frames}, path {offset_m} m off**")[1].split("**")[0]
    lines = [line.strip("| ").split(" | ") for line in part.splitlines() if line.startswith("| ")][1:]
    return [
        (gait, float(delay.removesuffix(" s")), [[float(x) for x in cell.split("/")] for cell in cells], float(gap))
        for gait, delay, *cells, gap in lines
    ]


@pytest.mark.parametrize("offset_m", [4, 8])
@pytest.mark.parametrize(("frames", "words"), [(1, "One frame"), (3, "Burst of three")])
def test_by_how_much_45_degrees_beats_straight_across_is_what_the_paper_prints(
    frames: int, words: str, offset_m: int
) -> None:
    """Common practice, by gait, trigger time, offset and burst: each of 64 rows worked out again. 10 000 passes
    have a standard error of 0.005 at most, the paper's 100 000 one of 0.002 and the printed half a hundredth.
    """
    rows = printed(words, offset_m)

    assert [(gait, delay) for gait, delay, _, _ in rows] == list(itertools.product(GAITS, (0.25, 0.5, 1.0, 2.0)))
    for gait, delay, cells, gap in rows:
        found = [
            first_answer(
                Case(
                    passer=going(*GAITS[gait]), path=at(angle, offset_m), timing=Timing(trigger_s=delay, frames=frames)
                ),
                passes=10_000,
            )
            for angle in ANGLES
        ]
        for one, (middle, whole, empty) in zip(found, cells, strict=True):
            assert (one.middle.value, one.whole.value) == approx((middle, whole), abs=0.025), (gait, delay)
            assert one.empty is not None and one.empty.value == approx(empty, abs=0.03), (gait, delay)
        assert found[1].whole.value - found[3].whole.value == approx(gap, abs=0.03), (gait, delay)


def test_where_the_rule_of_45_degrees_ends_is_where_the_paper_says() -> None:
    """Of the 64 printed rows a slant of 45° wins by more than 0.03 in 42, by more than 0.3 in 26. It loses by more
    than 0.03 in four, by a third in two of them: one frame whose delay just fits the speed. The rest are level.
    """
    rows = {
        (frames, offset, gait, delay): gap
        for frames, words in ((1, "One frame"), (3, "Burst of three"))
        for offset in (4, 8)
        for gait, delay, _, gap in printed(words, offset)
    }

    assert len(rows) == 64
    assert (sum(gap > 0.03 for gap in rows.values()), sum(gap > 0.3 for gap in rows.values())) == (42, 26)
    assert {row: gap for row, gap in rows.items() if gap < -0.03} == {
        (1, 4, "trot", 0.5): -0.32, (1, 4, "run", 0.25): -0.36, (1, 8, "run", 0.5): -0.04, (3, 4, "walk", 0.5): -0.04,
    }  # fmt: skip


def test_common_practice_the_faster_the_animal_and_the_slower_the_trigger_the_more_a_slant_is_worth() -> None:
    """Common practice."""

    def gain(gait: Gait, delay: float) -> float:
        slant, across = (
            first_answer(Case(passer=going(gait), path=at(angle), timing=Timing(trigger_s=delay, frames=3))).middle.value
            for angle in (45, 90)
        )
        return slant - across

    assert gain(TROT, 2.0) > gain(WALK, 2.0) + 0.2
    assert gain(TROT, 2.0) > gain(TROT, 0.25) + 0.2


def test_common_practice_the_best_angle_opens_with_the_offset() -> None:
    """Best about 20° + 3°·q for q from 2 to 12 m, give or take a step of 5° and the plateau; ours."""
    for offset in (2, 4, 6, 8, 10):
        advice = angle_advice(Case(path=at(45, offset), timing=Timing(trigger_s=2.0, frames=3)), passes=8_000)
        assert advice.low_deg <= 20 + 3 * offset + 5 and advice.high_deg >= 20 + 3 * offset - 5
        assert abs(advice.best_deg - (20 + 3 * offset)) <= 7.5
        assert advice.chance >= advice.across


def test_common_practice_a_zone_near_the_view_wastes_fewest_pictures() -> None:
    """Common practice: of zones as wide as the view or wider, the one closest to it."""
    empties = []
    for zone in (40, 45, 60, 80):
        found = first_answer(Case(sensor=Sensor(zone_deg=zone), timing=Timing(trigger_s=0.25))).empty
        assert found is not None
        empties.append(found.value)

    assert empties == sorted(empties)
    assert empties[0] < 0.1 < 0.4 < empties[-1]


def test_a_zone_narrower_than_the_view_wastes_fewer_still_and_costs_reach_to_the_sides() -> None:
    """Where the rule above ends, by this model: hardly an empty picture from a zone half as wide as the view. What
    it costs is seen on open ground, where fewer of the animals fire it.
    """
    on_trail, on_ground = [], []
    for zone in (20, 40):
        case = Case(sensor=Sensor(zone_deg=zone), timing=Timing(trigger_s=0.25))
        found = first_answer(case).empty
        assert found is not None
        on_trail.append(found.value)
        on_ground.append(open_ground(case, passes=6_000, within_m=30).triggered.value)

    assert on_trail[0] < 0.01 < 0.04 < on_trail[1]
    assert on_ground[0] < 0.9 * on_ground[1]


def test_common_practice_on_open_ground_too_a_wide_zone_wastes_pictures() -> None:
    """Common practice."""
    empties = []
    for zone in (20, 45, 60):
        case = Case(sensor=Sensor(zone_deg=zone), timing=Timing(trigger_s=0.25))
        found = open_ground(case, passes=6_000, within_m=30).empty
        assert found is not None
        empties.append(found.value)

    assert empties[0] < 0.03
    assert empties == sorted(empties)
    assert empties[2] > empties[1] + 0.1


def test_common_practice_low_sensitivity_misses_small_bodies() -> None:
    """Common practice: on a day with little contrast (2 K)."""

    def fires(passer: Passer, sensitivity: float) -> float:
        case = Case(passer=passer, contrast_k=2.0, sensor=Sensor(sensitivity=sensitivity), path=at(45, 5))
        return first_answer(case).triggered.value

    for small in (FOX, HARE):
        assert fires(small, 0.5) < 0.5
        assert fires(small, 2.0) > fires(small, 0.5) + 0.4
    assert fires(ELK, 0.5) > 0.99


def test_common_practice_a_burst_repairs_a_trigger_that_is_too_quick() -> None:
    """Common practice: a quick camera with a zone wider than its view takes its first frame too early."""
    single, burst, slower = (
        first_answer(Case(path=at(90), timing=timing)).middle.value
        for timing in (
            Timing(trigger_s=0.25),
            Timing(trigger_s=0.25, frames=3, gap_s=0.7),
            Timing(trigger_s=2.0),
        )
    )

    assert single < slower - 0.3
    assert burst > 0.95


def test_crossing_motion_fires_farther_off_than_coming_straight_on() -> None:
    """A path beside the lens, along its axis, never leaves one sub-zone for long."""
    across, along = (first_answer(Case(path=at(angle, 4), passer=FOX)) for angle in (90, 0))

    assert across.triggered.value > 0.99
    assert along.whole.value < 0.5 < across.triggered.value


@pytest.mark.parametrize(
    ("offset", "walk", "trot", "run"),
    [(15, 0.99, 1.0, 1.0), (20, 0.54, 0.90, 0.92), (24, 0.10, 0.49, 0.57), (28, 0.01, 0.12, 0.19)],
)
def test_how_far_off_a_crossing_deer_still_fires(offset: float, walk: float, trot: float, run: float) -> None:
    """Derived here, from an earlier prototype of the same formulas with a body of its own; within 0.05."""
    for gait, share in ((WALK, walk), (TROT, trot), (RUN, run)):
        found = first_answer(Case(passer=going(gait), path=at(90, offset))).triggered.value
        assert found == approx(share, abs=0.05)


# ---- Speed, and the page ------------------------------------------------------------------------------


def test_the_room_starts_without_scipy_so_the_first_answer_comes_at_once() -> None:
    code = "import sys, trod.planning.catch.walkby as w; w.first_answer(w.Case()); print('scipy' in sys.modules)"

    told = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(SOURCE)},
    )

    assert told.stdout.strip() == "False"


def test_the_plain_numpy_version_that_speed_is_measured_against_is_the_same_model() -> None:
    """benchmarks/walkby.py; its shares lie within four standard errors of ours."""
    path = FilePath(__file__).resolve().parents[3] / "benchmarks" / "walkby.py"
    spec = importlib.util.spec_from_file_location("walkby_benchmark", path)
    assert spec is not None and spec.loader is not None
    benchmark = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(benchmark)
    for case in (Case(), Case(timing=Timing(frames=3)), Case(path=at(90), timing=Timing(rearm_s=1.0))):
        shares = benchmark.plain(case, 40_000, np.random.default_rng(3))
        ours = first_answer(case, passes=200_000)
        for share, one in zip(shares, (ours.triggered, ours.middle, ours.whole), strict=True):
            assert share == approx(one.value, abs=4 * math.sqrt(0.25 / 40_000))


def test_the_answer_in_words_has_no_more_digits_than_the_model() -> None:
    assert [in_words(x) for x in (0.0, 0.004, 0.034, 0.37, 0.664, 0.93, 0.994, 1.0)] == [
        "none", "hardly any", "about 3", "about 35", "about 65", "about 93", "nearly all", "all",
    ]  # fmt: skip
    sentence = setups.passes(first_answer(Case()))
    assert sentence.startswith("of 100 that pass, all set the camera off, about 65 are in a picture, ")
    assert sentence.endswith("pictures about 25 are empty.")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Timing(trigger_s=-1), "trigger_s: got -1; needed: seconds, 0 or more"),
        (lambda: Timing(frames=0), "frames: got 0; needed: a whole number of frames from 1 to 100"),
        (lambda: Timing(rearm_s=math.nan), "rearm_s: got nan; needed: seconds, 0 or more"),
        (lambda: Case(contrast_k=0), "contrast_k: got 0; needed: a number above 0"),
        (lambda: Case(forward_share=2), "forward_share: got 2; needed: a share from 0 to 1"),
        (lambda: first_answer(Case(), passes=0), "passes: got 0; needed: a number above 0"),
        (lambda: chances(Tally()), "passes: got 0; needed: at least one simulated pass"),
        (lambda: open_ground(Case(), within_m=0.1), "within_m: got 0.1; needed: metres above 0.3"),
    ],
)
def test_what_cannot_be_is_refused_in_words(make: object, words: str) -> None:
    with pytest.raises(WrongInput) as caught:
        make()  # type: ignore[operator]

    assert str(caught.value) == words


def test_odd_but_possible_cases_give_numbers() -> None:
    for angle, offset, fov, zone in itertools.product((0, 5, 90, 180), (0.3, 4, 60), (1, 170), (1, 170)):
        found: Chances = first_answer(
            Case(path=at(angle, offset), view=View(fov_deg=fov, reach_m=20), sensor=Sensor(zone_deg=zone)),
            passes=500,
        )
        for name in ("triggered", "middle", "whole"):
            assert 0 <= getattr(found, name).value <= 1
        assert found.middle.value <= found.triggered.value
        assert found.pixels is None or math.isfinite(found.pixels.value)
