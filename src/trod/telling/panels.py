"""Sites, seasons or years side by side, told: the finding with its sentences."""

from __future__ import annotations

import math
from typing import Any

from trod import __version__, wording
from trod.findings import asking
from trod.findings.finding import Column, Finding
from trod.findings.panels import FEWEST, Panel, Panels
from trod.findings.reviewing import Reviewed
from trod.telling import shared

QUESTION = "Side by side"
COLUMNS = (
    Column(key="part", title="Part", kind="text"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="site_days", title="Effort", kind="days", unit="site-days"),
    Column(key="waiting", title="Waiting for review", kind="count"),
    Column(key="told", title="Chart", kind="text"),
)
_METHOD = {
    "months": "Each part by itself as in “Is it changing?”: the rate of every month with the interval that its runs "
    "deserve (quasi-Poisson over the weeks of a site), what waits for review taken to be like what was reviewed.",
    "hours": "Each part by itself as in “When do they come?”: detections over the time watched at each hour of the "
    "clock, von Mises kernels, Garwood's (1936) limits divided by how much days and weeks scatter.",
}
_PARTS = {"site": ("site", "sites"), "season": ("season", "seasons"), "year": ("year", "years")}
ASSUMPTIONS = (
    "Parts that look unlike may differ by chance: bands and intervals are of each part alone, and that they overlap or "
    "do not is no test. To know whether two differ, compare them.",
    "Cameras of different sites do not see equally well; a higher chart is not more animals.",
)


def finding(known: Panels) -> Finding:
    """The answer of `findings.panels` as a finding; it has no headline number."""
    selection = known.selection
    asked = selection.filter
    return Finding(
        kind="side-by-side",
        question=QUESTION,
        sentence=sentence(known),
        value=None,
        unit="",
        interval=None,
        effort=known.worked.to_dict(),
        filter={**asked.to_dict(), "each": known.by, "show": known.show},
        filter_sentence=shared.sentence(selection),
        method=_METHOD[known.show],
        assumptions=(*ASSUMPTIONS, shared.WATCHED, shared.STEADY_DETECTION, shared.NOT_NUMBERS),
        cautions=tuple(
            shared.cautions_of(selection, known.found, Reviewed(selection) if known.show == "months" else None)
        ),
        columns=COLUMNS,
        rows=tuple(_row(panel) for panel in known.panels),
        series={"panels": {panel.key: _series(panel) for panel in known.panels if panel.state == "drawn"}},
        made=__version__,
        **asking.opened(known.found),
    )


def sentence(known: Panels) -> str:
    """How many parts there are, and how many of them say enough to be drawn."""
    who = shared.who(known.selection.evidence, known.selection.filter, known.found)
    one, many = _PARTS[known.by]
    parts = wording.plural(len(known.panels), one, many)
    drawn = sum(panel.state == "drawn" for panel in known.panels)
    what = "by the hour" if known.show == "hours" else "month by month"
    head = f"{who} {what} at {parts}" if known.by == "site" else f"{who} {what} in {parts}"
    if drawn == len(known.panels):
        return f"{head}, all on one scale."
    if not drawn:
        return f"{head}: none says enough to be drawn."
    return f"{head}, all on one scale; {len(known.panels) - drawn} of them {_say(len(known.panels) - drawn)} too little."


def _say(n: int) -> str:
    return "says" if n == 1 else "say"


def told(panel: Panel) -> str:
    """What a part says that is not drawn, or what is drawn of it, in a sentence."""
    days = f"{wording.days_number(panel.days)} site-days"
    if panel.state == "unwatched":
        return "Less than a day is known to have been watched: nothing is known."
    if panel.state == "none":
        if panel.most_if_none is None and not panel.waiting:
            return f"None seen in {days}, of which less than a day is certain."
        if panel.most_if_none is None:
            return (
                f"None seen in {days}; {wording.plural(panel.waiting, 'sequence waits', 'sequences wait')} for review."
            )
        return (
            f"None seen in {days}; that leaves room for up to {wording.number(panel.most_if_none, 2)} detections per "
            "100 site-days (95 %)."
        )
    seen = wording.plural(len(panel.found), "detection")
    if panel.state == "few":
        return f"{seen} in {days}: too few to draw, which takes {FEWEST}."
    if panel.state == "refused":
        assert panel.why is not None
        return f"{seen} in {days}: not drawn. There is: {panel.why.have}."
    return f"{seen} in {days}."


def _row(panel: Panel) -> dict[str, Any]:
    doors = asking.opened(panel.found)
    return {
        "key": panel.key,
        "part": panel.name,
        "detections": len(panel.found),
        "site_days": panel.days,
        "waiting": panel.waiting,
        "state": panel.state,
        "told": told(panel),
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }


def _series(panel: Panel) -> dict[str, Any]:
    if panel.curve is not None:
        curve = panel.curve
        return {"hours": curve.hours, "density": curve.density, "low": curve.low, "high": curve.high}
    return {
        "months": [
            {
                "month": row.month.isoformat()[:7],
                "detections": len(row.detections),
                "site_days": row.effort_days,
                "rate": row.rate,
                "low": row.shown.low if row.shown else None,
                "high": row.shown.high if row.shown and math.isfinite(row.shown.high) else None,
            }
            for row in panel.months
        ]
    }
