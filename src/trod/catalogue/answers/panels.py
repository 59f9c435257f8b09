"""Sites, seasons or years side by side, from a filter to the answer with its small charts, for page and command."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from trod.catalogue.answers import remembered
from trod.catalogue.answers.evidence import Account
from trod.drawing import panels as drawing
from trod.drawing.pen import Svg
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding
from trod.findings import panels as facts
from trod.findings.panels import By, Show
from trod.telling import panels as told

MOST_AT_ONCE = 4  # curves over the day that are worked out while somebody waits, each about 0.4 s


@dataclass(frozen=True, kw_only=True)
class Shown:
    """The finding, or the reason why there is none. By a part's key: figures, small charts; alone, the part's filter."""

    filter: Filter
    by: By
    show: Show
    finding: Finding | None
    trouble: NotEnoughEvidence | None
    figures: Mapping[str, Svg] = field(default_factory=dict)
    alone: Mapping[str, Filter] = field(default_factory=dict)


def ask(account: Account, asked: Filter, by: str, show: str) -> Shown:
    """Lay the parts side by side. Raises WrongInput for a part or a chart that there is not."""
    own = _one_of("each", by, {"site": "site", "season": "season", "year": "year"})
    what = _one_of("show", show, {"months": "months", "hours": "hours"})

    def work() -> tuple[Finding, Mapping[str, Svg], Mapping[str, Filter]]:
        known = facts.panels(account.evidence, asked, by=own, show=what)
        labels = {panel.key: f"{panel.name}: {told.told(panel)}" for panel in known.panels}
        return told.finding(known), drawing.figures(known, labels), facts.alone(known)

    long = what == "hours" and facts.parts_at_most(account.evidence, asked, own) > MOST_AT_ONCE
    found, trouble = remembered.answered(
        account, ("side-by-side", own, what, *remembered.key_of(asked)), work, long=long
    )
    finding, figures, alone = found or (None, {}, {})
    return Shown(filter=asked, by=own, show=what, finding=finding, trouble=trouble, figures=figures, alone=alone)


def _one_of(name: str, given: str, known: dict[str, Any]) -> Any:
    if given not in known:
        raise WrongInput(name, got=given[:40], needed=" or ".join(known))
    return known[given]
