"""The table: kind of fault by verb, with what was lost, wrongly believed and found."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from faulting.trials import Result


@dataclass
class Row:
    """Counts of one kind of fault upon one verb."""

    tried: int = 0
    inert: int = 0
    lost: int = 0
    wrong: int = 0
    bare: int = 0
    found: int = 0
    sought: int = 0


def rows_of(results: Iterable[Result]) -> dict[tuple[str, str], Row]:
    """Results gathered by kind and verb, in their order by name."""
    rows: dict[tuple[str, str], Row] = defaultdict(Row)
    for result in results:
        row = rows[result.kind, result.verb]
        row.tried += 1
        row.inert += result.inert
        row.lost += bool(result.lost)
        row.wrong += bool(result.wrong)
        row.bare += bool(result.bare)
        row.sought += result.found is not None
        row.found += bool(result.found)
    return dict(sorted(rows.items()))


def as_text(results: Iterable[Result]) -> str:
    """The table in plain text. `too late` are faults that came when the work was done."""
    rows = rows_of(results)
    total = Row()
    for row in rows.values():
        for name in vars(total):
            setattr(total, name, getattr(total, name) + getattr(row, name))
    wide = max([len(k) for k, _ in rows] + [5]), max([len(v) for _, v in rows] + [5])
    head = f"{'fault':{wide[0]}}  {'upon':{wide[1]}}  {'tried':>6} {'too late':>8} {'lost':>5} {'believed':>8} "
    head += f"{'bare':>5}  found"
    lines = [head]
    for (kind, verb), row in [*rows.items(), (("all", ""), total)]:
        found = f"{row.found} of {row.sought}" if row.sought else ""
        lines.append(
            f"{kind:{wide[0]}}  {verb:{wide[1]}}  {row.tried:6} {row.inert:8} {row.lost:5} {row.wrong:8} "
            f"{row.bare:5}  {found}".rstrip()
        )
    return "\n".join(lines)


def as_words(results: Iterable[Result], most: int) -> str:
    """The troubles in words: of those that begin alike upon one verb the first alone, with how many there are."""
    alike: dict[tuple[str, ...], list[Result]] = defaultdict(list)
    for result in results:
        if result.bad:
            first = [*result.lost[:1], *result.wrong[:1], *result.bare[-1:]] or ["not found by verify"]
            plain = [re.sub(r"[0-9a-f]{8,}|\d+", "#", words)[:60] for words in first]
            alike[result.kind, result.verb, *plain].append(result)
    lines = []
    for group in sorted(alike.values(), key=len, reverse=True)[:most]:
        one = group[0]
        lines.append(f"\n{len(group)} like number {one.number}: {one.kind}, {one.verb} ({one.note})")
        lines += [f"    {words}" for words in (*one.lost[:3], *one.wrong[:3], *one.bare[:2])] or ["    not found"]
    return "\n".join(lines)
