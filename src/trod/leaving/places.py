"""A place, and a line between places, as they may leave."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import InitVar, dataclass

from trod.errors import WrongInput
from trod.findings.blur import Cell, cell_of

Line = Sequence[tuple[float, float]]
"""Points as (latitude, longitude). [°]"""

_SEAL = object()


@dataclass(frozen=True, kw_only=True)
class FitToLeave:
    """What this room made fit to leave. Nobody else can make one, nor change one (`dataclasses.replace`)."""

    seal: InitVar[object] = None

    def __post_init__(self, seal: object) -> None:
        if seal is not _SEAL:
            raise WrongInput(type(self).__name__, got="one made by hand", needed="one made by trod.leaving")


@dataclass(frozen=True, kw_only=True)
class FitPlace(FitToLeave):
    """A place: its true point, or the middle of the coarse cell in which it lies somewhere. [°]

    cell : set where only that may be told. sensitive : it must not be given away.
    """

    latitude_deg: float
    longitude_deg: float
    cell: Cell | None = None
    sensitive: bool = False

    @property
    def hidden(self) -> bool:
        """Only its cell is told."""
        return self.cell is not None

    @property
    def shown(self) -> bool:
        """A sensitive place at its true point, because somebody decided so."""
        return self.sensitive and self.cell is None

    @property
    def uncertainty_m(self) -> float | None:
        """How far the true place may lie from the point; None for the true point."""
        return self.cell.uncertainty_m if self.cell is not None else None


def fit_place(
    *, latitude_deg: float, longitude_deg: float, sensitive: bool = False, true_places: bool = False
) -> FitPlace:
    """A place as it may leave.

    true_places : somebody with the right decided that sensitive places are told. Raises WrongInput for a place off
    the globe.
    """
    if not (math.isfinite(latitude_deg) and math.isfinite(longitude_deg)) or not (
        -90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180
    ):
        raise WrongInput(
            "place",
            got=(latitude_deg, longitude_deg),
            needed="a latitude from -90 to 90 and a longitude from -180 to 180, in degrees",
        )
    if sensitive and not true_places:
        cell = cell_of(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
        latitude_deg, longitude_deg = cell.latitude_deg, min(cell.longitude_deg, 180.0)
        return FitPlace(latitude_deg=latitude_deg, longitude_deg=longitude_deg, cell=cell, sensitive=True, seal=_SEAL)
    return FitPlace(latitude_deg=latitude_deg, longitude_deg=longitude_deg, sensitive=sensitive, seal=_SEAL)


@dataclass(frozen=True, kw_only=True)
class FitLine(FitToLeave):
    """A way or a track that leads to no hidden place."""

    points: tuple[tuple[float, float], ...]


def fit_line(points: Line, *, leads_to: Iterable[FitPlace] = ()) -> FitLine | None:
    """A line as it may leave; None where one of the places that it leads to is hidden, since it ends there."""
    if any(place.hidden for place in leads_to):
        return None
    return FitLine(points=tuple((float(lat), float(lon)) for lat, lon in points), seal=_SEAL)
