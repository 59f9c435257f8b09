"""A placement worked out as it may leave.

At a hidden site from its cell's middle, and without what was measured there of hills and horizon, which would tell one
place from another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from trod.leaving.places import _SEAL, FitPlace, FitToLeave
from trod.planning.catch.animals import Animal
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place import inputs as entered
from trod.telling.setups import ToldSetup, work_out
from trod.units import System

OF_THE_PLACE = ("horizon",)  # inputs that are measured for one point on the ground


@dataclass(frozen=True, kw_only=True)
class FitSetup(ToldSetup, FitToLeave):
    """A setup. place : for which it was worked out."""

    place: FitPlace

    @property
    def hidden(self) -> bool:
        """Only the cell of its site is told."""
        return self.place.hidden


def fit_setup(
    spec: CameraSpec,
    inputs: Mapping[str, Any],
    *,
    place: FitPlace,
    animal: Animal,
    system: System = "metric",
    **how: Any,
) -> FitSetup:
    """Work a placement out for a place that may leave.

    how : as of `work_out_setup` (year, passes, simulate_angle). Raises WrongInput that names the input.
    """
    told = {key: value for key, value in inputs.items() if not (place.hidden and key in OF_THE_PLACE)}
    read = entered.read(
        told,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        animal=animal,
        sensitive=place.sensitive,
    )
    done = work_out(spec, read, system=system, **how)
    return FitSetup(**{f.name: getattr(done, f.name) for f in fields(done)}, place=place, seal=_SEAL)
