"""Faults of a camera's clock as pages show them: what is wrong, what is proposed, what a person may choose."""

from __future__ import annotations

from dataclasses import dataclass

from trod.catalogue.imports import clock_checks
from trod.catalogue.models import Import, Picture
from trod.telling import clock_faults
from trod.timekeeping.faults import which_end


@dataclass(frozen=True)
class Offered:
    """A shift that would fit: its number among them, the question, and the picture that answers it."""

    number: int
    sentence: str
    picture: Picture | None


@dataclass(frozen=True)
class ClockLine:
    """One fault. number : among the import's. proposed : whether one press puts it right."""

    card_import: Import
    number: int
    happened: str
    proposal: str
    proposed: bool
    offered: list[Offered]


def clock_lines(card_import: Import) -> list[ClockLine]:
    """The faults of an import of which no correction speaks yet, in the order of the files."""
    stay = clock_checks.stay_of(card_import)
    if stay is None or card_import.deployment is None:
        return []
    zone = card_import.deployment.site.reserve.zone
    lines = []
    for number, fault in clock_checks.open_faults(card_import, clock_checks.look(card_import)):
        timed = card_import.pictures.filter(foreign=False, looked=True, time_from="exif", taken_raw__isnull=False)
        at = {"first": fault.first, "last": fault.last}
        offered = []
        for n, add in enumerate(fault.others):
            end = which_end(add, fault, stay)
            picture = timed.order_by("file_order")[at[end] : at[end] + 1].first() if end else None
            offered.append(Offered(n, clock_faults.offered(add, fault, stay, zone), picture))
        lines.append(
            ClockLine(
                card_import=card_import,
                number=number,
                happened=clock_faults.happened(fault, stay, zone),
                proposal=clock_faults.proposal(fault),
                proposed=fault.add_s is not None,
                offered=offered,
            )
        )
    return lines
