"""The answer to a question as one record: page, command, chart and report all read this and nothing else."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from trod.findings.rates import Interval

ColumnKind = Literal["name", "count", "rate", "interval", "days", "share", "date", "time", "text"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a finding's table: the row's key, its heading, what kind of value, its unit."""

    key: str
    title: str
    kind: ColumnKind = "text"
    unit: str = ""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One answer.

    kind : what-comes | when | change | compare.
    question, sentence : asked and answered in plain words; the sentence comes first on every page.
    told : plain sentences beside it: what it rests on, what such a record can show.
    value, unit : the headline number; None when the answer is a table or too little is known.
    interval : of the value. other_intervals : beside it, each with its kind.
    effort : camera-days in all, by site and month, as plain values.
    filter, filter_sentence : as a dict, and as printed.
    method : how it was computed, in a sentence or two, with its sources.
    assumptions : what must be true for it to hold. cautions : what in these data limits it.
    columns, rows : the table. Each row has `pictures`, the SHA-256 of the first picture of every detection
    behind it, and `sequence_keys`, the keys of their sequences.
    series : the numbers behind the chart, by name; `report.charts.chart` draws them.
    chart : a Vega-Lite spec, once drawn. pictures : SHA-256s behind the whole answer, in time order.
    sequences : keys of the sequences behind it, in time order. made : version of Trod.
    """

    kind: str
    question: str
    sentence: str
    value: float | None
    unit: str
    interval: Interval | None
    other_intervals: tuple[Interval, ...] = ()
    told: tuple[str, ...] = ()
    effort: Mapping[str, Any] = field(default_factory=dict)
    filter: Mapping[str, Any] = field(default_factory=dict)
    filter_sentence: str = ""
    method: str = ""
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    rows: tuple[Mapping[str, Any], ...] = ()
    series: Mapping[str, Any] = field(default_factory=dict)
    chart: Mapping[str, Any] | None = None
    pictures: tuple[str, ...] = ()
    sequences: tuple[str, ...] = ()
    made: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain values with full precision, keys in a fixed order, without the chart."""
        return {
            "kind": self.kind,
            "question": self.question,
            "sentence": self.sentence,
            "told": list(self.told),
            "value": _plain(self.value),
            "unit": self.unit,
            "interval": self.interval.to_dict() if self.interval else None,
            "other_intervals": [interval.to_dict() for interval in self.other_intervals],
            "effort": _plain(self.effort),
            "filter": {"sentence": self.filter_sentence, **_plain(self.filter)},
            "method": self.method,
            "assumptions": list(self.assumptions),
            "cautions": list(self.cautions),
            "columns": [{"key": c.key, "title": c.title, "kind": c.kind, "unit": c.unit} for c in self.columns],
            "rows": _plain(self.rows),
            "series": _plain(self.series),
            "pictures": list(self.pictures),
            "sequences": list(self.sequences),
            "made": self.made,
        }

    def to_json(self, indent: int | None = 2) -> str:
        """The finding as JSON; the same evidence gives the same bytes."""
        return json.dumps(self.to_dict(), ensure_ascii=False, indent=indent, allow_nan=False)


def _plain(value: Any) -> Any:
    """Only what JSON knows; numbers without limit, and those that are none, become null."""
    if isinstance(value, Interval):
        return value.to_dict()
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return _plain(value.tolist())
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
