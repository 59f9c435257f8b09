"""The number of the archive's format: what lifts an older one to today's, and what refuses a newer one by name.

The head of the register bears the number of the whole archive; each paper, and each line of identifications.jsonl,
bears the number of the format it was written in. A paper is written whole, so an older one is written again
(`trod.archive.upgrade`). A line is never changed: an older one is lifted each time it is read. A bag bears no number;
every later format must read it as it is.

A change of format means: count `FORMAT` up by one and put into `STEPS` what lifts the format before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from trod.errors import NewerFormat, OlderFormat

Json = dict[str, Any]

FORMAT = 1  # what this Trod writes, and the newest it reads


@dataclass(frozen=True)
class Step:
    """What lifts records by one format. Both functions return new fields and look at nothing but what they are given.

    paper : given the kind of a paper and its fields, without its head.
    line : given the fields of a line of identifications.jsonl, without its number.
    """

    paper: Callable[[str, Json], Json]
    line: Callable[[Json], Json]


STEPS: dict[int, Step] = {}  # {number: what lifts records of that format to the next}


def oldest() -> int:
    """The oldest format that can be lifted."""
    number = FORMAT
    while number - 1 in STEPS:
        number -= 1
    return number


def heed(number: int, what: str) -> None:
    """Raises NewerFormat or OlderFormat for a number that this Trod does not read. what : bears it, for the sentence."""
    if number > FORMAT:
        raise NewerFormat(what, number, FORMAT)
    if number < oldest():
        raise OlderFormat(what, number, oldest(), FORMAT)


def lift_paper(number: int, kind: str, fields: Json) -> Json:
    """The fields of a paper in today's format. number : one that `heed` lets pass."""
    for at in range(number, FORMAT):
        fields = STEPS[at].paper(kind, fields)
    return fields


def lift_line(number: int, fields: Json) -> Json:
    """The fields of a line in today's format. number : one that `heed` lets pass."""
    for at in range(number, FORMAT):
        fields = STEPS[at].line(fields)
    return fields
