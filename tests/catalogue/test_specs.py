from __future__ import annotations

import pytest

from trod.catalogue.models import CameraModel
from trod.catalogue.rows import specs
from trod.planning.equipment.camera import CameraSpec, Figures
from trod_demo.camera_models import CAMERA_SPECS

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("spec", CAMERA_SPECS, ids=lambda s: s.model)
def test_a_camera_kept_as_a_row_comes_back_as_it_was(spec: CameraSpec) -> None:
    row, new = specs.store(spec)
    assert new
    row.refresh_from_db()
    assert specs.spec_of(row) == spec


def test_a_second_list_adds_to_a_row_and_forgets_nothing() -> None:
    first = CameraSpec(maker="Alder", model="One", claimed=Figures(trigger_s=0.3), measured=Figures(columns=2560))
    second = CameraSpec(maker="ALDER", model="one", claimed=Figures(fov_deg=42), measured=Figures(trigger_s=0.9))
    specs.store(first)
    row, new = specs.store(second)
    assert not new
    assert CameraModel.objects.count() == 1
    kept = specs.spec_of(row)
    assert kept.claimed == Figures(trigger_s=0.3, fov_deg=42)
    assert kept.measured == Figures(columns=2560, trigger_s=0.9)


def test_megapixels_alone_stand_for_a_four_to_three_picture() -> None:
    row = CameraModel(maker="A", name="B", slug="a-b", native_megapixels=5, claimed_megapixels=20)
    spec = specs.spec_of(row)
    assert spec.measured.columns * spec.measured.rows == pytest.approx(5e6, rel=0.002)
    assert spec.claimed.columns * spec.claimed.rows == pytest.approx(20e6, rel=0.002)


def test_figures_that_cannot_be_are_unknown_instead_of_an_error() -> None:
    measured = {"trigger_s": -3, "fov_deg": "wide", "columns": True, "no_such": 4, "rearm_s": 2.0}
    row = CameraModel(maker="A", name="B", slug="a-b", measured=measured, detection_angle_deg=180)
    assert specs.spec_of(row).measured == Figures(rearm_s=2.0)
    assert specs.spec_of(row).claimed == Figures()
