"""What the pictures mean: observations and effort become findings, each with its interval and its sentence.

Read in this order: `observations` (the evidence and the filter), `detections`, `effort`, `rates`, `circular`,
`activity`, `change`, `finding` (the answer's record), `questions` (the doors).
"""

from __future__ import annotations

from trod.findings.finding import Finding
from trod.findings.observations import (
    Deployment,
    Evidence,
    Filter,
    Gap,
    Observation,
    Reserve,
    Site,
    UnseenSequence,
)
from trod.findings.questions import change, compare, what_comes, when

__all__ = [
    "Deployment",
    "Evidence",
    "Filter",
    "Finding",
    "Gap",
    "Observation",
    "Reserve",
    "Site",
    "UnseenSequence",
    "change",
    "compare",
    "what_comes",
    "when",
]
