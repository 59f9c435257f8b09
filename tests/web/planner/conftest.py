"""A camera model, and the placement planner of the Ford (a ford has a path) and of the Meadow (animals stay)."""

from __future__ import annotations

from typing import Any

import pytest

FORD = "/map/sites/of/ford/planner/"
MEADOW = "/map/sites/of/meadow/planner/"


@pytest.fixture
def model(cast: Any) -> Any:
    """A camera model of an invented maker; the cameras Red and Blue are of it."""
    from trod.catalogue import models as m

    row = m.CameraModel.objects.create(
        maker="Umber", name="Two", slug="umber-two", detection_angle_deg=48, detection_range_m=20,
        field_of_view_deg=42, trigger_time_s=0.4, recovery_time_s=5, burst_max=3, flash="low_glow", flash_range_m=15,
    )  # fmt: skip
    m.Camera.objects.update(model=row)
    return row


@pytest.fixture
def told() -> dict[str, str]:
    """What a person has told of a path, in metric units."""
    return {
        "units": "metric",
        "animal": "roe_deer",
        "camera_model": "umber-two",
        "feature": "ford",
        "path_bearing_deg": "40",
        "offset_m": "4",
    }
