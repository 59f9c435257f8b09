"""What walks and counted pictures say of a camera, in words."""

from __future__ import annotations

from trod.planning.catch.calibrate import STEPS, Axis, Calibration
from trod.telling.measures import length, to_step
from trod.telling.ranking import NAMES
from trod.units import System


def name(axis: Axis) -> str:
    """What a figure is called."""
    return NAMES[axis]


def figure(value: float, axis: Axis, system: System) -> str:
    """A figure, no finer than walks can tell it."""
    if axis == "trigger_s":
        return f"{value:.1f} s" if value >= 1 else f"{value:.2f} s"
    stepped = to_step(value, STEPS[axis])
    if axis == "zone_deg":
        return f"{stepped:.0f}°"
    return f"{stepped:.0f} m" if system == "metric" else length(value, system)


def band(found: Calibration, axis: Axis, system: System) -> str:
    """What the field says of a figure."""
    of = found.band(axis)
    middle, low, high = (figure(value, axis, system) for value in (of.middle, of.low, of.high))
    return f"about {middle} ({low} to {high})"


def advice(found: Calibration) -> tuple[str, ...]:
    """What more walks would tell."""
    lines = []
    if found.two_for_one:
        lines.append(
            "Trigger time and detection angle stand for each other in these walks: walk once more at another speed, or "
            "at another angle to the camera."
        )
    if not found.told("range_m"):
        lines.append("To learn the range, walk lines so far off that some walks bring no picture.")
    return tuple(lines)
