"""The report as a folder of tables: CSV, a plain README and a description of every column."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from trod import wording
from trod.report import sentences
from trod.report.contents import ReportData, SiteEffort, findings_of

_SPECIES_KEYS = (
    "species_key", "species", "detections", "sequences", "individuals_max", "sites", "rate", "low", "high",
    "level", "interval_kind", "exact_low", "exact_high", "first", "last",
)  # fmt: skip
_MONTH_KEYS = ("month", "detections", "camera_days", "rate", "low", "high", "interval_kind")


def report_csv_folder(data: ReportData, dest: Path) -> tuple[Path, ...]:
    """Write the report's tables into a folder: CSV files, a README.txt, and a description of every column.

    dest : made when it is not there; files of the same names in it are replaced, nothing else is touched.
    CSV as in RFC 4180: UTF-8, comma, CRLF. A text that a spreadsheet would take for a formula begins with an
    apostrophe. Returns the files written.
    """
    dest.mkdir(parents=True, exist_ok=True)
    tables = _tables(data)
    written = []
    for table in tables:
        path = dest / f"{table['name']}.csv"
        _write(path, _csv([column["name"] for column in table["columns"]], table["rows"]))
        written.append(path)
    findings = dest / "findings.json"
    _write(findings, json.dumps([f.to_dict() for f in findings_of(data)], ensure_ascii=False, indent=1) + "\n")
    described = dest / "description.json"
    _write(described, json.dumps(_description(data, tables), ensure_ascii=False, indent=1) + "\n")
    readme = dest / "README.txt"
    _write(readme, _readme(data, tables))
    return (*written, findings, described, readme)


def _write(path: Path, text: str) -> None:
    """Written beside and moved over, so that a file is there whole or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(text.encode("utf-8", "replace"))
    part.replace(path)


def _csv(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([_safe(value) for value in row] for row in rows)
    return out.getvalue()


def _safe(value: Any) -> Any:
    """Numbers with full precision, nothing for None; text that looks like a formula made harmless."""
    if value is None:
        return ""
    if isinstance(value, str):
        return "'" + value if value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
    return repr(value) if isinstance(value, float) else value


def _column(name: str, what: str, unit: str = "") -> dict[str, str]:
    return {"name": name, "description": what, **({"unit": unit} if unit else {})}


def _tables(data: ReportData) -> list[dict[str, Any]]:
    per = "detections per 100 camera-days"
    return [
        {
            "name": "sites",
            "description": "The sites with their effort in the period.",
            "columns": [
                _column("site", "key of the site"),
                _column("name", "its name"),
                _column("feature", "what kind of place it is"),
                _column("latitude", "WGS 84; for a sensitive site the middle of a coarse cell", "degrees"),
                _column("longitude", "WGS 84; for a sensitive site the middle of a coarse cell", "degrees"),
                _column("uncertainty_m", "how far the true place may lie from it; empty when exact", "m"),
                _column("camera_days", "time in which a camera watched", "days"),
                _column("gap_days", "time in which a camera hung there but did not watch", "days"),
                _column("gap_reasons", "why, most days first"),
            ],
            "rows": [_site_row(data, line) for line in data.sites],
        },
        {
            "name": "effort_by_month",
            "description": "Camera-days by site and calendar month of the reserve.",
            "columns": [
                _column("site", "key of the site"),
                _column("month", "year and month"),
                _column("camera_days", "time in which a camera watched", "days"),
            ],
            "rows": [
                (site, month.isoformat()[:7], days)
                for (site, month), days in data.effort.by_site_month.items()
            ],
        },
        {
            "name": "species",
            "description": "What came, how often, with intervals.",
            "columns": [
                _column("species", "key of the species"),
                _column("name", "its name"),
                _column("detections", "detections in the period"),
                _column("sequences", "sequences in them"),
                _column("most_at_once", "largest number of animals in one sequence"),
                _column("sites", "sites at which it was seen"),
                _column("rate", "detections over effort", per),
                _column("low", "lower end of the interval shown", per),
                _column("high", "upper end of the interval shown", per),
                _column("level", "how often such an interval holds the truth"),
                _column("interval", "how it was made"),
                _column("exact_low", "lower exact Poisson limit", per),
                _column("exact_high", "upper exact Poisson limit", per),
                _column("first", "local date first seen"),
                _column("last", "local date last seen"),
            ],
            "rows": [tuple(row[key] for key in _SPECIES_KEYS) for row in data.comes.rows],
        },
        {
            "name": "species_by_site",
            "description": "Detections of each species at each site.",
            "columns": [
                _column("species", "key of the species"),
                _column("site", "key of the site"),
                _column("detections", "detections in the period"),
                _column("camera_days", "time in which a camera watched there", "days"),
            ],
            "rows": [
                (row["species_key"], site, number, data.effort.by_site.get(site, 0.0))
                for row in data.comes.rows
                for site, number in row["by_site"].items()
            ],
        },
        {
            "name": "months",
            "description": "The rate of the most frequent species by month.",
            "columns": [
                _column("species", "key of the species"),
                _column("month", "year and month"),
                _column("detections", "detections in the month"),
                _column("camera_days", "time in which a camera watched", "days"),
                _column("rate", "detections over effort; empty under a day of effort", per),
                _column("low", "lower end of the interval shown", per),
                _column("high", "upper end of the interval shown", per),
                _column("interval", "how it was made"),
            ],
            "rows": [
                (part.key, *(row[key] for key in _MONTH_KEYS))
                for part in data.species
                if part.change is not None
                for row in part.change.rows
            ],
        },
        {
            "name": "hours",
            "description": "How the activity of the most frequent species is spread over the day.",
            "columns": [
                _column("species", "key of the species"),
                _column("clock", "sun (sunrise and sunset brought to their means) or clock"),
                _column("hour", "hour of the day", "h"),
                _column("density", "share of activity in an hour; empty where it was not watched", "1/h"),
                _column("low", "lower end of the 95 % band", "1/h"),
                _column("high", "upper end of the 95 % band", "1/h"),
            ],
            "rows": [
                (part.key, kind, *values)
                for part in data.species
                if part.when is not None
                for kind in ("sun", "clock")
                if part.when.series[kind]
                for values in zip(
                    *(part.when.series[kind][k] for k in ("hours", "density", "low", "high")), strict=True
                )
            ],
        },
        {
            "name": "conditions",
            "description": "What was found wrong with, or done to, the cameras.",
            "columns": [
                _column("date", "local date"),
                _column("site", "key of the site"),
                _column("camera", "the camera"),
                _column("what", "what was found or done"),
            ],
            "rows": [(c.when.isoformat(), c.site, c.camera, c.what) for c in data.conditions],
        },
    ]  # fmt: skip


def _site_row(data: ReportData, line: SiteEffort) -> tuple[Any, ...]:
    site = line.site
    return (
        site.slug,
        site.name,
        site.feature,
        site.place.latitude_deg,
        site.place.longitude_deg,
        site.place.uncertainty_m,
        line.camera_days,
        line.gap_days,
        "; ".join(f"{reason} ({days:.1f} d)" for reason, days in line.reasons),
    )


def _description(data: ReportData, tables: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return {
        "title": data.title,
        "period": data.period,
        "filter": data.filter_sentence,
        "made": f"Trod {data.made}",
        "tables": [
            {"file": f"{t['name']}.csv", "description": t["description"], "columns": t["columns"]} for t in tables
        ],
    }


def _readme(data: ReportData, tables: Sequence[Mapping[str, Any]]) -> str:
    lines = [
        f"{data.title}: what the cameras saw, {data.period}",
        "",
        f"Looked at: {data.filter_sentence}.",
        data.comes.sentence,
        "",
        "Files (UTF-8, comma, one header line; the columns are described in description.json):",
        *(f"  {t['name']}.csv: {t['description']}" for t in tables),
        "  findings.json: every finding with full precision, its method, assumptions and pictures.",
        "",
        "What this cannot say:",
        *(f"  - {text}" for text in data.cannot_say),
        "",
        "Mind in these data:",
        *(f"  - {text}" for text in data.cautions or ("nothing out of the ordinary.",)),
        "",
        f"Made with Trod {data.made}." + (f" {wording.day(data.made_on)}." if data.made_on else ""),
    ]
    if not data.show_sensitive and any(line.site.sensitive for line in data.sites):
        lines.insert(4, "Sensitive sites stand at the middle of a coarse cell, with their uncertainty in metres.")
    return str(sentences.clean("\n".join(lines))) + "\n"
