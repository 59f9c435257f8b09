"""What the pictures mean: sightings and effort become findings, each with its interval and its sentence.

Read in this order: `sightings` (the evidence and the filter), `passages`, `effort`, `rates`, `circular`,
`activity`, `change`, `finding` (the answer's record), `questions` (the three doors).
"""

from __future__ import annotations

from trod.findings.finding import Finding
from trod.findings.questions import change, what_comes, when
from trod.findings.sightings import (
    Deployment,
    Evidence,
    Filter,
    Gap,
    Reserve,
    Sighting,
    Site,
    UnseenEvent,
)

__all__ = [
    "Deployment",
    "Evidence",
    "Filter",
    "Finding",
    "Gap",
    "Reserve",
    "Sighting",
    "Site",
    "UnseenEvent",
    "change",
    "what_comes",
    "when",
]
