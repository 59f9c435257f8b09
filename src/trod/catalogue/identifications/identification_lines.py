"""One identification, line by line: read from outside with distrust, told as one written line."""

from __future__ import annotations

import math
import uuid as uuids
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trod.catalogue.models import Identification, Observation
from trod.errors import WrongInput

MOST_ANIMALS = 999
LONGEST_NOTE = 500
LONGEST_NAME = 80
ALONE = (Observation.What.BLANK.value, Observation.What.UNKNOWN.value)  # told without a number
UNSET = "unknown"  # a sex or a life stage that is not told
TOLD = dict([*Observation.Sex.choices, *Observation.LifeStage.choices])  # a sex or a life stage → how it is told


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A dot on one animal. picture : SHA-256. x, y : 0 left/top to 1 right/bottom."""

    picture: str
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of an identification: what, species (by slug), how many, sex, life stage, and the dots counted.

    named : instead of a slug, the name of a kind that may not be on the list yet; it is put there when it is said.
    """

    what: str
    species: str | None = None
    named: str | None = None
    count: int = 1
    sex: str = "unknown"
    life_stage: str = "unknown"
    dots: tuple[Dot, ...] = ()

    def __post_init__(self) -> None:
        _one_of("what", self.what, Observation.What.values)
        _one_of("sex", self.sex, Observation.Sex.values)
        _one_of("life_stage", self.life_stage, Observation.LifeStage.values)
        if (self.species is not None or self.named is not None) and self.what != "animal":
            got = self.species if self.species is not None else self.named
            raise WrongInput("species", got=got, needed=f"no species beside {self.what!r}")
        if self.named is not None and (self.species is not None or not 1 <= len(self.named) <= LONGEST_NAME):
            raise WrongInput("name", got=self.named[:90], needed=f"a name of 1 to {LONGEST_NAME} letters, or a species")
        if isinstance(self.count, bool) or not isinstance(self.count, int) or not 1 <= self.count <= MOST_ANIMALS:
            raise WrongInput("count", got=self.count, needed=f"a whole number from 1 to {MOST_ANIMALS}")
        for dot in self.dots:
            for axis in (dot.x, dot.y):
                if not (isinstance(axis, (int, float)) and math.isfinite(axis) and 0 <= axis <= 1):
                    raise WrongInput("dot", got=axis, needed="a place from 0 to 1 across and down the picture")


def _one_of(name: str, got: Any, allowed: Sequence[str]) -> None:
    if got not in allowed:
        raise WrongInput(name, got=got, needed="one of " + ", ".join(allowed))


def line_from(raw: Mapping[str, Any]) -> Line:
    """A Line from JSON. Raises WrongInput for whatever does not fit."""
    try:
        dots = tuple(Dot(picture=text(d["picture"]), x=d["x"], y=d["y"]) for d in raw.get("dots") or ())
        return Line(
            what=raw["what"],
            species=text(raw["species"]) if raw.get("species") else None,
            named=" ".join(text(raw["named"]).split()) if raw.get("named") else None,
            count=raw.get("count", 1),
            sex=raw.get("sex") or "unknown",
            life_stage=raw.get("life_stage") or "unknown",
            dots=dots,
        )
    except (KeyError, TypeError, AttributeError) as problem:
        raise WrongInput(
            "observation", got=str(raw)[:120], needed="what, species, count, sex, life_stage, dots"
        ) from problem


def text(value: Any) -> str:
    """A text that every database takes: PostgreSQL knows no NUL."""
    return str(value).replace("\0", "\ufffd")


def name_of(by: str) -> str:
    """The name of whoever says it. Raises WrongInput when there is none."""
    name = text(by).strip()[:80]
    if not name:
        raise WrongInput("by", got=by, needed="the name of whoever says it")
    return name


def uuid_of(value: str | uuids.UUID) -> uuids.UUID:
    """A UUID of text from outside. Raises WrongInput when it is none."""
    try:
        return value if isinstance(value, uuids.UUID) else uuids.UUID(str(value))
    except ValueError as problem:
        raise WrongInput("uuid", got=value, needed="a UUID (RFC 9562)") from problem


def tell(identification: Identification) -> str:
    """An identification as one written line: “3 × Red deer (1 female, adult; 2 juvenile), 1 × Red fox; note”."""
    return tell_lines(
        [
            (row.what, row.species.said_name if row.species else None, row.count, row.sex, row.life_stage)
            for row in identification.observations.all()
        ],
        identification.note,
    )


def tell_lines(rows: Iterable[tuple[str, str | None, int, str, str]], note: str = "") -> str:
    """rows : (what, species' name, count, sex, life_stage). The lines of one species are told together."""
    groups: dict[str, list[tuple[str, int, str]]] = {}
    for what, name, count, sex, age in rows:
        label = name or ("animal, species unknown" if what == "animal" else what)
        shown = ", ".join(TOLD[value] for value in (sex, age) if value != UNSET)
        groups.setdefault(label, []).append((what, count, shown))
    parts = []
    for label, lines in groups.items():
        whole = sum(count for _, count, _ in lines)
        if lines[0][0] in ALONE:
            parts.append(label)
            continue
        classes = [(count, shown) for _, count, shown in lines if shown]
        text = f"{whole} × {label}"
        if len(lines) == 1 and classes:
            text += f" ({classes[0][1]})"
        elif classes:
            text += " (" + "; ".join(f"{count} {shown}" for count, shown in classes) + ")"
        parts.append(text)
    return "; ".join(filter(None, [", ".join(parts), note]))
