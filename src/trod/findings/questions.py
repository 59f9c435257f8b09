"""The questions, each a door from evidence and filter to a finding.

what_comes(evidence, filter) : which species come here, and how often.
when(evidence, filter) : at what time of day they come.
change(evidence, filter) : whether they come more or less often than before, as facts for `telling.change`.
compare(evidence, first, second) : two periods, or two sites, side by side, as facts for `telling.two_sides`.
"""

from __future__ import annotations

from trod.findings.changing import change
from trod.findings.hours_answer import when
from trod.findings.species_answer import what_comes
from trod.findings.two_sides import compare

__all__ = ["change", "compare", "what_comes", "when"]
