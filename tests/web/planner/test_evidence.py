"""Walk tests and counted pictures beside a maker's claims."""

from __future__ import annotations

from datetime import timedelta

import pytest

from trod.catalogue.rows.specs import spec_of
from trod.errors import NotEnoughEvidence
from trod.planning.catch.animals import animal
from trod.planning.catch.calibrate import FirstPictures
from trod.planning.catch.crossing import Path
from trod.web.planner.counts import CountsForm
from trod.web.shared import walk_evidence as evidence

pytestmark = pytest.mark.django_db
SLOW = [
    {"offset_m": 4, "angle_deg": 90, "speed_m_s": speed, "got": got}
    for speed, got in ((0.6, "whole"), (1.2, "part"), (1.2, "empty"), (2.0, "empty"), (2.0, "empty"), (3.5, "empty"))
]


@pytest.fixture
def walked(cast, model):
    def note(walks):
        from trod.catalogue import models as m

        return m.WalkTest.objects.create(deployment=cast.deployment, at=cast.now, by="Ada", walks=walks)

    return note


def test_walks_that_come_too_late_tell_a_slower_trigger_than_the_maker_does(walked, model):
    walked(SLOW)
    says = evidence.says(spec_of(model), evidence.tests_of(model), system="metric")
    line = {one.label: one for one in says.lines}["Trigger time"]

    assert (line.claim, line.agree) == ("0.40 s", False)
    assert dict(says.keep)["trigger_s"] > 0.8
    assert says.rests_on == "6 walks past Red"


def test_without_a_walk_nothing_is_said(cast, model):
    assert evidence.says(spec_of(model), evidence.tests_of(model), system="metric") is None


def test_walks_past_cameras_of_another_kind_do_not_count(walked, cast):
    walked(SLOW)
    from trod.catalogue import models as m

    other = m.CameraModel.objects.create(maker="Umber", name="Three", slug="umber-three")

    assert evidence.tests_of(other) == []


@pytest.mark.parametrize(
    "walk",
    [
        None, 7, "walk", [], {}, {"offset_m": "x", "angle_deg": 90, "speed_m_s": 1, "got": "whole"},
        {"offset_m": 4, "angle_deg": 90, "speed_m_s": 0, "got": "whole"},
        {"offset_m": -4, "angle_deg": 90, "speed_m_s": 1, "got": "whole"},
        {"offset_m": float("nan"), "angle_deg": 90, "speed_m_s": 1, "got": "whole"},
        {"offset_m": 4, "angle_deg": 90, "speed_m_s": 1, "got": "seen"},
    ],
)  # fmt: skip
def test_a_walk_that_cannot_be_one_is_left_out(walk):
    class Test:
        walks = [walk, SLOW[0]]

    assert len(evidence.walks_of([Test()])) == 1


def test_thirty_first_pictures_are_needed(model):
    with pytest.raises(NotEnoughEvidence, match="30"):
        evidence.by_pictures(
            FirstPictures(empty=5, cut=5, whole=10), animal("roe_deer"), Path(offset_m=4, angle_deg=45), spec_of(model)
        )


def test_counts_of_pictures_are_numbers():
    def form(told, system="metric"):
        return CountsForm(told, animal="roe_deer", offset_m=4.0, system=system)

    assert form({}).counts() is None
    assert form({"empty": "3", "whole": "40"}).counts() == FirstPictures(empty=3, cut=0, whole=40)
    for wrong in ("-3", "many", "1e3", "9999999"):
        one = form({"empty": wrong})
        assert one.counts() is None and one.errors == {"empty": ["needed: a number of pictures, 0 or more"]}


def test_the_path_of_counted_pictures_is_as_the_site_is_known_or_as_typed_with_its_unit():
    def path(told, system):
        one = CountsForm({"whole": "40"} | told, animal="roe_deer", offset_m=4.0, system=system)
        assert one.counts() is not None
        return one.path()

    assert path({}, "us").offset_m == pytest.approx(4, abs=0.01)
    assert path({"offset": "4,5", "angle": "30"}, "metric") == Path(offset_m=4.5, angle_deg=30)
    assert path({"offset": "10"}, "us").offset_m == pytest.approx(3.048)
    assert path({"offset": "3 ft 4 in"}, "us").offset_m == pytest.approx(1.016)


def test_blanks_are_told_with_wilsons_interval():
    """Wilson's interval; 10 of 100 by hand from the formula: (0.1 + z²/200 ± z·√(0.0009/1 + z²/40000))/(1 + z²/100)."""
    low, high = evidence.Blanks(10, 100).interval

    assert (low, high) == pytest.approx((5.522, 17.437), abs=0.01)


def test_wilsons_interval_is_that_of_newcombe_1998():
    """R. G. Newcombe (1998) Stat. Med. 17:857–872, Table I, Wilson's without correction (the table is from memory)."""
    for seen, of, low, high in (
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
    ):  # fmt: skip
        assert evidence.Blanks(seen, of).interval == pytest.approx((100 * low, 100 * high), abs=0.01)


def test_blanks_of_a_site_are_counted_once_each(cast, bring_sequences):
    from trod.catalogue import models as m

    bring_sequences([cast.now - timedelta(days=k) for k in range(4)])
    assert evidence.blanks_of(cast.meadow) is None
    for k, sequence in enumerate(m.Sequence.objects.all()):
        word = m.Identification.objects.create(sequence=sequence, by="a", at=cast.now)
        m.Observation.objects.create(identification=word, what="blank" if k == 0 else "animal")
        sequence.identification = word
        sequence.save()

    assert evidence.blanks_of(cast.meadow) == evidence.Blanks(1, 4)
