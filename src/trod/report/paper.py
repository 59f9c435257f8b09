"""The report as a PDF."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from trod import wording
from trod.errors import WrongInput
from trod.findings.finding import Finding
from trod.report import charts, sketch_map
from trod.report.contents import ReportData, SpeciesPart, findings_of, site_names
from trod.report.setting import set_pdf
from trod.report.tables import report_csv_folder

__all__ = ["report_csv_folder", "report_pdf"]

_PAPERS = ("a4", "us-letter")


def report_pdf(data: ReportData) -> bytes:
    """The report as PDF.

    Raises WrongInput for a paper that is neither a4 nor us-letter.
    """
    if data.paper not in _PAPERS:
        raise WrongInput("paper", got=data.paper, needed="a4 or us-letter")
    return set_pdf("trod.report", "report.typ", _printed(data))


def _printed(data: ReportData) -> dict[str, Any]:
    """What the template prints, every number already in words."""
    watched = [line for line in data.sites if line.camera_days > 0]
    seen = [row for row in data.comes.rows if row["detections"]]
    hidden = [] if data.show_sensitive else [line for line in data.sites if line.site.sensitive]
    lost = sum(line.gap_days for line in data.sites)
    when = f" on {wording.day(data.made_on)}" if data.made_on else ""
    return {
        "paper": data.paper,
        "title": data.title,
        "period": data.period,
        "kicker": "What the cameras saw",
        "made": f"Made with Trod {data.made}{when}",
        "filter_sentence": data.filter_sentence,
        "answers": [data.comes.sentence, *_answers(data.species)],
        "figures": [
            {
                "number": wording.count(len(watched)),
                "what": "site watched" if len(watched) == 1 else "sites watched",
            },
            {"number": wording.days_number(data.effort.camera_days), "what": "camera-days"},
            {
                "number": wording.count(sum(row["detections"] for row in seen)),
                "what": "detections of animals",
            },
            {"number": wording.count(len(seen)), "what": "species"},
        ],
        "map": sketch_map.draw(
            [sketch_map.Marker(place=s.site.place, number=s.number, watched=s.camera_days > 0) for s in data.sites],
            system=data.system,
        ),
        "map_alt": f"Map of {wording.plural(len(data.sites), 'site')}, numbered as in the table of effort.",
        "map_note": "Sites by their numbers in the table that follows."
        + (
            " A hatched square stands for a sensitive site that lies somewhere within it."
            if hidden
            else " Sensitive sites are at their true places: keep this report to those who may know them."
            if any(line.site.sensitive for line in data.sites)
            else ""
        ),
        "effort_sentence": (
            f"{wording.capital(wording.plural(len(watched), 'site'))} were watched for "
            f"{wording.camera_days(data.effort.camera_days)}."
            if len(watched) != 1
            else f"One site was watched for {wording.camera_days(data.effort.camera_days)}."
        )
        + (f" Another {wording.camera_days(lost)} were lost while a camera hung there." if lost >= 0.05 else ""),
        "bar_head": data.period,
        "sites": [
            {
                "number": str(line.number),
                "name": line.site.name,
                "feature": line.site.feature or "–",
                "camera_days": _days(line.camera_days),
                "gap_days": _days(line.gap_days),
                "reasons": wording.listed([reason for reason, _ in line.reasons]),
                "bar": [{"from": a, "to": b, "kind": kind} for a, b, kind in line.bar],
            }
            for line in data.sites
        ],
        "comes": _comes(data.comes),
        "species": [
            {
                "name": wording.capital(part.name),
                "when": _drawn(part.when),
                "why_no_when": part.why_no_when,
                "change": _drawn(part.change),
                "why_no_change": part.why_no_change,
            }
            for part in data.species
        ],
        "conditions": [
            [
                wording.day(condition.when),
                site_names(data).get(condition.site, condition.site),
                condition.camera,
                condition.what,
            ]
            for condition in data.conditions
        ],
        "methods": _once(finding.method for finding in findings_of(data)),
        "assumptions": _once(text for finding in findings_of(data) for text in finding.assumptions),
        "cautions": list(data.cautions),
        "cannot_say": list(data.cannot_say),
    }


def _once(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))


def _answers(parts: Sequence[SpeciesPart]) -> list[str]:
    """The first answer on when and on change, to stand on the front page."""
    whens = [part.when.sentence for part in parts if part.when is not None][:1]
    changes = [part.change.sentence for part in parts if part.change is not None][:1]
    return whens + changes


def _days(days: float) -> str:
    return "–" if days < 0.05 else wording.days_number(days)


def _drawn(finding: Finding | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    spec = charts.chart(finding, "paper")
    return {
        "sentence": finding.sentence,
        "told": list(finding.told),
        "chart": charts.svg(spec) if spec else "",
        "caption": charts.caption(finding),
    }


def _comes(finding: Finding) -> dict[str, Any]:
    drawn = _drawn(finding)
    assert drawn is not None
    return {
        **drawn,
        "head": [
            "Species", "Detections", "Most at once", "Sites", "Per 100 days", "Interval", "Exact Poisson",
            "First", "Last",
        ],
        "rows": [
            [
                row["species"],
                wording.count(row["detections"]),
                wording.count(row["individuals_max"]) if row["detections"] else "–",
                wording.count(row["sites"]),
                "–" if row["rate"] is None else wording.number(row["rate"]),
                _ends(row["low"], row["high"]),
                _ends(row["exact_low"], row["exact_high"]),
                row["first"] or "–",
                row["last"] or "–",
            ]
            for row in finding.rows
        ],
    }  # fmt: skip


def _ends(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return "–"
    return f"{wording.number(low)}–{wording.number(high)}"
