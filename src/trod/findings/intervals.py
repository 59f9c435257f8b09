"""What the independence interval does to a rate: the same evidence merged more and less."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trod.findings import asking
from trod.findings.observations import Evidence, Filter
from trod.findings.rates import Rate
from trod.findings.reviewing import Reviewed

STEPS_MIN = (0.0, 5.0, 15.0, 30.0, 60.0, 120.0, 360.0, 1440.0)


@dataclass(frozen=True, kw_only=True)
class AtInterval:
    """Detections and their rate when those closer than `minutes` count as one. asked : the interval in use."""

    minutes: float
    detections: int
    rate: Rate
    asked: bool


def by_interval(evidence: Evidence, asked: Filter) -> tuple[AtInterval, ...]:
    """The rate of the animals asked for at each usual interval and at the one in use, shortest first.

    Raises NotEnoughEvidence when no camera watched.
    """
    out = []
    reviewed: Reviewed | None = None  # the same at every interval
    for minutes in sorted({*STEPS_MIN, asked.independence_min}):
        selection, found, worked = asking.prepare(evidence, replace(asked, independence_min=minutes))
        reviewed = reviewed or Reviewed(selection)
        out.append(
            AtInterval(
                minutes=minutes,
                detections=len(found),
                rate=asking.rate_of(selection, worked, found, reviewed),
                asked=minutes == asked.independence_min,
            )
        )
    return tuple(out)
