"""What the invented technicians say about the demo's sequences, taken from the truth with a person's caution.

A sequence is a list of its pictures in time order, each as (sha256, time taken). A word is a plain dict:

    {"sequence": position in the list, "by": name, "at": ISO 8601 UTC, "note": "",
     "observations": [{"what", "species", "count", "sex", "life_stage"}],
     "marks": [{"sha256", "x", "y"}]}

`species` is a key of `trod_demo.reserve.SPECIES` and is None unless `what` is "animal".
"""

from __future__ import annotations

from collections import Counter, abc
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from zlib import crc32

import numpy as np

from trod_demo.reserve import SPECIES_BY_KEY, TECHNICIANS
from trod_demo.truth import TrueAnimal, Truth

Sequence = abc.Sequence[tuple[str, datetime]]

_PER_SEQUENCE_S = 6.0
_HARD_TO_SEE = 0.22
_FEW_ROWS = 0.05


def identifications_from_truth(
    truth: Iterable[Truth],
    sequences: abc.Sequence[Sequence],
    *,
    said_from: datetime | Mapping[str, datetime],
    seed: int = 1,
    people: abc.Sequence[str] = TECHNICIANS,
    skip: float = 0.0,
) -> list[dict[str, Any]]:
    """One word for each sequence whose pictures the truth knows.

    said_from : when the review begins, aware; one for all, or by the name of the card. Words follow one
    another some seconds apart. skip : share of the sequences that nobody has looked at yet.
    A person is unknown when all bodies of a sequence are tiny or mostly hidden, and about one time in thirty
    besides; leaves sex and life stage open when little of an animal shows; and does not count what cannot be
    seen.
    """
    by_hash = {row.sha256: row for row in truth if row.damage != "zero bytes"}
    rng = np.random.default_rng([seed, 23])
    later: Counter[str] = Counter()
    words: list[dict[str, Any]] = []
    for n, sequence in enumerate(sequences):
        rows = [by_hash[sha] for sha, _ in sequence if sha in by_hash]
        chance = float(rng.random())
        doubt = float(rng.random())
        if not rows or chance < skip:
            continue
        card = rows[0].card
        start = said_from if isinstance(said_from, datetime) else said_from[card]
        later[card] += 1
        at = start + timedelta(seconds=_PER_SEQUENCE_S * later[card] * (0.7 + 0.6 * doubt))
        by = people[crc32(f"{card}/{later[card] // 120}".encode()) % len(people)]
        observations, marks = _observations(rows, unknown=doubt < 1 / 30)
        words.append(
            {
                "sequence": n,
                "by": by,
                "at": at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
                "note": "",
                "observations": observations,
                "marks": marks,
            }
        )
    return words


def _clear(a: TrueAnimal) -> bool:
    return a.visible >= _HARD_TO_SEE and a.box[3] - a.box[1] >= _FEW_ROWS


def _line(
    what: str, *, species: str | None = None, count: int = 1, sex: str = "unknown", life_stage: str = "unknown"
) -> dict[str, Any]:
    return {"what": what, "species": species, "count": count, "sex": sex, "life_stage": life_stage}


def _observations(rows: abc.Sequence[Truth], *, unknown: bool) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    with_bodies = [r for r in rows if r.animals]
    if not with_bodies:
        return [_line("blank")], []
    if not any(_clear(a) for r in with_bodies for a in r.animals):
        return [_line("unknown")], []
    out: list[dict[str, Any]] = []
    marks: list[dict[str, Any]] = []
    kinds = sorted({(a.what, a.species) for r in with_bodies for a in r.animals})
    if unknown and all(what == "animal" for what, _ in kinds):
        return [_line("unknown")], []
    for what, species in kinds:
        # The picture that shows the most of this kind is the one a person counts in.
        best = max(
            with_bodies,
            key=lambda r: (
                sum(a.what == what and a.species == species for a in r.animals),
                sum(a.visible for a in r.animals if a.what == what and a.species == species),
            ),
        )
        bodies = [a for a in best.animals if a.what == what and a.species == species]
        marks += [
            {
                "sha256": best.sha256,
                "x": round((a.box[0] + a.box[2]) / 2, 4),
                "y": round((a.box[1] + a.box[3]) / 2, 4),
            }
            for a in bodies
        ]
        if what != "animal":
            out.append(_line(what, count=len(bodies)))
            continue
        told: Counter[tuple[str, str]] = Counter()
        for a in bodies:
            sexes = SPECIES_BY_KEY[species].sexes_shown and a.visible > 0.45
            told[(a.sex if sexes else "unknown", a.life_stage if a.visible > 0.35 else "unknown")] += 1
        out += [
            _line("animal", species=species, count=count, sex=sex, life_stage=age)
            for (sex, age), count in sorted(told.items())
        ]
    return out, marks
