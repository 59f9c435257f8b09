"""What walk tests and first pictures say of a camera."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from pytest import approx
from slow_pass import SlowPass

from trod.errors import NotEnoughEvidence, WrongInput
from trod.planning.catch.calibrate import (
    AXES,
    Axis,
    Calibration,
    FirstPictures,
    Grid,
    Known,
    Shown,
    Walk,
    from_pictures,
    walk_test,
)
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import Sensor
from trod.planning.catch.passers import DEER, PERSON, Gait, Passer
from trod.planning.catch.walkby import Case
from trod.telling import calibrations

TRUTH = {"trigger_s": 1.2, "zone_deg": 60.0, "range_m": 18.0}
CLAIMS = {"trigger_s": 0.3, "zone_deg": 45.0, "range_m": 25.0}


class Field:
    """A camera in the field, worked by the slow simulation and not by calibrate's own means."""

    def __init__(self, truth: dict[str, float], seed: int) -> None:
        self.truth, self.rng = truth, np.random.default_rng(seed)
        self.known: dict[tuple[Path, bool], SlowPass] = {}

    def walk(self, path: Path, speed: float, forward: bool) -> Walk:
        key = (path, forward)
        if key not in self.known:
            sensor = Sensor(zone_deg=self.truth["zone_deg"], range_m=self.truth["range_m"])
            self.known[key] = SlowPass(Case(passer=PERSON, path=path, sensor=sensor), forward=forward)
        slow = self.known[key]
        v = speed * math.exp(0.1 * self.rng.standard_normal())
        warm = 5.0 * math.exp(0.3 * self.rng.standard_normal())
        delay = self.truth["trigger_s"] * math.exp(0.15 * self.rng.standard_normal())
        shown: Shown = "none"
        for at, signal, turn in slow.pulses:
            f = v * turn / (2 * math.radians(5))
            gain = 1 / math.sqrt(1 + (0.4 / f) ** 2) / math.sqrt(1 + (f / 8) ** 2)
            if warm * signal * gain / 0.9213 >= 1:
                s = at + v * delay
                share = slow.share_in_view(s)
                if share == 0:
                    shown = "empty"
                elif share >= 0.8:
                    shown = "whole"
                else:
                    shown = "coming" if slow.share_in_view(s + 0.05) > share else "going"
                break
        return Walk(path=path, speed_mps=speed, forward=forward, shown=shown)


def at(angle: float, offset: float) -> Path:
    return Path(offset_m=offset, angle_deg=angle)


def one_speed(field: Field) -> list[Walk]:
    return [field.walk(at(90, 5), 1.2, bool(i % 2)) for i in range(16)]


def many_speeds(field: Field) -> list[Walk]:
    walks = [field.walk(at(90, 5), v, bool(i % 2)) for v in (0.6, 1.2, 2.0, 3.5) for i in range(4)]
    return walks + [field.walk(at(a, q), 1.4, bool(i % 2)) for a in (45, 70) for q in (3, 8) for i in range(2)]


def far_walks(field: Field) -> list[Walk]:
    return [field.walk(at(90, q), 1.4, bool(i % 2)) for q in (10, 14, 17, 20, 24) for i in range(3)]


def test_one_speed_straight_across_cannot_part_trigger_time_and_zone() -> None:
    found = walk_test(one_speed(Field(TRUTH, 3)))

    assert found.linked("trigger_s", "zone_deg") > 0.8
    band = found.band("trigger_s")
    assert band.high / band.low > 3
    assert any(
        line.startswith("Trigger time and detection angle stand for each other") for line in calibrations.advice(found)
    )


def test_several_speeds_and_angles_part_them() -> None:
    field = Field(TRUTH, 4)
    narrow, wide = walk_test(many_speeds(field)), walk_test(one_speed(field))

    for axis in ("trigger_s", "zone_deg"):
        axis_: Axis = axis  # type: ignore[assignment]
        assert narrow.spread_left(axis_) < 0.75 * wide.spread_left(axis_)
        band = narrow.band(axis_)
        assert band.low / 1.15 <= TRUTH[axis] <= band.high * 1.15


def test_the_range_is_told_only_by_walks_far_off() -> None:
    field = Field(TRUTH, 5)
    near = walk_test(one_speed(field))
    far = near & walk_test(far_walks(field))

    assert not near.told("range_m")
    assert "To learn the range, walk lines so far off that some walks bring no picture." in calibrations.advice(near)
    assert far.told("range_m") and far.spread_left("range_m") < near.spread_left("range_m") / 2
    assert far.band("range_m").low <= TRUTH["range_m"] <= far.band("range_m").high
    assert far.pieces == ("16 walks", "15 walks")


def test_the_makers_claim_stands_beside_what_the_field_says() -> None:
    field = Field({"trigger_s": 2.4, "zone_deg": 40.0, "range_m": 18.0}, 6)
    found = walk_test(many_speeds(field) + many_speeds(field))

    assert found.told("trigger_s") and not found.agrees("trigger_s", CLAIMS["trigger_s"])
    assert found.agrees("trigger_s", found.band("trigger_s").middle)
    assert re.fullmatch(r"about \d\.\d s \(\d\.\d s to \d\.\d s\)", calibrations.band(found, "trigger_s", "us"))
    assert not found.told("range_m")


def test_a_range_is_told_in_the_readers_units() -> None:
    assert calibrations.figure(18.4, "range_m", "metric") == "18 m"
    assert calibrations.figure(18.4, "range_m", "us") == "60 ft"
    assert calibrations.figure(40.2, "zone_deg", "us") == "40°"


@pytest.mark.long
def test_nine_in_ten_of_the_intervals_hold_the_truth() -> None:
    """Cameras drawn from the grid, walked past by the slow simulation; 90 % intervals. With 0.9 true, fewer
    than 32 of 42 come up less than three times in a thousand (binomial).
    """
    rng = np.random.default_rng(8)
    held = 0
    for number in range(14):
        truth = {
            "trigger_s": float(np.exp(rng.uniform(math.log(0.15), math.log(4.0)))),
            "zone_deg": float(np.exp(rng.uniform(math.log(18), math.log(100)))),
            "range_m": float(np.exp(rng.uniform(math.log(7), math.log(40)))),
        }
        field = Field(truth, 100 + number)
        found = walk_test(many_speeds(field) + far_walks(field))
        for axis in AXES:
            band = found.band(axis)
            held += band.low <= truth[axis] <= band.high

    assert held >= 32


def test_one_setup_sheet_of_the_pencil_does_not_exclude_the_truth() -> None:
    field = Field(TRUTH, 9)
    walks = many_speeds(field)
    onesheet = [*walks, Walk(path=at(90, 5), speed_mps=1.2, shown="none")]

    assert walk_test(onesheet).posterior.max() < 0.9
    middle = walk_test(onesheet).band("zone_deg").middle
    assert middle == approx(walk_test(walks).band("zone_deg").middle, rel=0.25)


def test_a_deployments_own_pictures_narrow_a_wide_zone() -> None:
    """Pictures by the slow simulation: a wide zone and a quick trigger give many empty first pictures."""
    truth = {"trigger_s": 0.2, "zone_deg": 80.0, "range_m": 24.0}
    rng = np.random.default_rng(2)
    deer = Passer(name="deer", body=DEER.body, gaits=(Gait(share=1, median_mps=1.2, sigma_ln=0.3),))
    counts = {"empty": 0, "cut": 0, "whole": 0}
    sensor = Sensor(zone_deg=truth["zone_deg"], range_m=truth["range_m"])
    for forward in (True, False):
        slow = SlowPass(Case(passer=deer, path=at(60, 5), sensor=sensor), forward=forward)
        first = slow.pulses[0][0] if slow.pulses[0][1] * 5 > 1.3 else slow.pulses[2][0]
        for _ in range(100):
            v = 1.2 * math.exp(0.3 * rng.standard_normal())
            share = slow.share_in_view(first + v * 0.2 * math.exp(0.15 * rng.standard_normal()))
            counts["empty" if share == 0 else "whole" if share >= 0.8 else "cut"] += 1

    found = from_pictures(
        FirstPictures(**counts, other_blanks=(0.0, 0.0)),
        passer=deer,
        path=at(60, 5),
        grid=Grid(trigger_s=(0.15, 0.2, 0.25)),
    )

    assert counts["empty"] > 100
    assert found.band("zone_deg").low > 48
    assert found.pieces == ("200 first pictures",)


def test_blanks_by_wind_make_empty_pictures_say_less() -> None:
    pictures = {"empty": 80, "cut": 20, "whole": 100}
    sure, unknown = (
        from_pictures(FirstPictures(**pictures, other_blanks=blanks), passer=DEER, path=at(60, 5)).spread_left(
            "zone_deg"
        )
        for blanks in ((0.0, 0.0), (0.0, 0.6))
    )

    assert unknown > sure


def test_few_pictures_and_no_walk_are_refused() -> None:
    with pytest.raises(NotEnoughEvidence) as caught:
        from_pictures(FirstPictures(empty=5, cut=5, whole=9), passer=DEER, path=at(60, 5))
    assert str(caught.value) == "19 first pictures; at least 30 say something about the camera"
    with pytest.raises(NotEnoughEvidence) as caught:
        walk_test([])
    assert str(caught.value) == "no walk was noted; walk past the camera a few times and note each"


def test_a_grid_of_one_camera_says_that_camera() -> None:
    grid = Grid(trigger_s=(0.5,), zone_deg=(45.0,), range_m=(20.0,))

    found = walk_test([Walk(path=at(90, 5), speed_mps=1.2, shown="cut")], grid=grid)

    assert found.band("trigger_s").middle == approx(0.5)
    assert found.posterior.sum() == approx(1.0)
    assert not found.told("zone_deg")


def test_evidence_on_two_grids_cannot_be_joined() -> None:
    one = Calibration(Grid(), np.zeros(Grid().shape))
    other_grid = Grid(trigger_s=(0.5, 1.0))
    other = Calibration(other_grid, np.zeros(other_grid.shape))

    with pytest.raises(WrongInput, match="evidence worked out on one grid"):
        one & other


def test_no_evidence_leaves_everything_open() -> None:
    nothing = Calibration(Grid(), np.zeros(Grid().shape))

    for axis in AXES:
        assert nothing.spread_left(axis) == approx(1.0)
        assert not nothing.told(axis)
    assert nothing.linked("trigger_s", "zone_deg") == approx(0.0, abs=1e-9)
    assert nothing.linked("zone_deg", "trigger_s") == approx(0.0, abs=1e-9)


def test_the_view_and_the_walkers_warmth_are_taken_as_known() -> None:
    walk = [Walk(path=at(90, 15), speed_mps=1.4, shown="none")] * 4
    warm, cool = (
        walk_test(walk, known=Known(contrast_k=k, view=View(fov_deg=50))).band("range_m").middle for k in (12, 3)
    )

    # A warm walker who is missed says more against the range than a cool one.
    assert warm < cool


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (
            lambda: Walk(path=at(90, 5), speed_mps=0, shown="whole"),
            "speed_mps: got 0; needed: a number above 0",
        ),
        (
            lambda: Walk(path=at(90, 5), speed_mps=1, shown="half"),  # type: ignore[arg-type]
            "shown: got 'half'; needed: one of none, empty, coming, whole, going, cut",
        ),
        (
            lambda: FirstPictures(empty=-1, cut=0, whole=0),
            "empty: got -1; needed: a number of pictures, 0 or more",
        ),
        (
            lambda: FirstPictures(empty=1, cut=0, whole=0, other_blanks=(0.5, 0.1)),
            "other_blanks: got (0.5, 0.1); needed: two shares, 0 ≤ low ≤ high < 1",
        ),
        (lambda: Grid(zone_deg=(45.0, 30.0)), "zone_deg: got (45.0, 30.0); needed: rising numbers above 0"),
    ],
)
def test_what_cannot_be_is_refused_in_words(make: object, words: str) -> None:
    with pytest.raises(WrongInput) as caught:
        make()  # type: ignore[operator]

    assert str(caught.value) == words
