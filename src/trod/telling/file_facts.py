"""What the files of a card say besides their pictures, in words: temperature, voltage, another camera's serial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trod import wording
from trod.telling.measures import air
from trod.units import System


@dataclass(frozen=True, kw_only=True)
class FileFacts:
    """What the headers of some files tell.

    files : how many there are. with_air, with_voltage : how many of them tell it. coldest_c, warmest_c : in °C.
    first_v, last_v : of the first and the last file in time that tells a voltage, in V. readers : by what it was read.
    """

    files: int
    with_air: int = 0
    coldest_c: float | None = None
    warmest_c: float | None = None
    with_voltage: int = 0
    first_v: float | None = None
    last_v: float | None = None
    readers: Sequence[str] = ()


def sentences(facts: FileFacts, system: System) -> list[str]:
    """What the files say, a sentence each; none where they say nothing of it."""
    out = []
    if facts.coldest_c is not None and facts.warmest_c is not None:
        low, high = air(facts.coldest_c, system), air(facts.warmest_c, system)
        told = low if low == high else f"{low} to {high}"
        out.append(
            f"The camera's own thermometer told {told} in {_part(facts.with_air, facts.files)}; it warms in the sun "
            "with the camera, and may stand well above the air by day."
        )
    if facts.first_v is not None and facts.last_v is not None:
        came = volts(facts.first_v)
        if facts.with_voltage > 1:
            came = f"{came} in the first file that tells it and {volts(facts.last_v)} in the last"
        out.append(
            f"The batteries gave {came}, as the camera wrote it in {_part(facts.with_voltage, facts.files)}; lithium "
            "(FR6) and rechargeable (HR6) batteries hold their voltage until shortly before their end."
        )
    if out:
        out.append(f"Read by {wording.listed(list(facts.readers))}." if facts.readers else "By what is not known.")
    return out


def volts(voltage_v: float) -> str:
    """A voltage, to a tenth."""
    return f"{voltage_v:.1f} V"


def course(first_v: float | None, last_v: float | None) -> str:
    """The voltage of a set of batteries, from its first file that tells one to its last; "" where none does."""
    if first_v is None or last_v is None:
        return ""
    first, last = volts(first_v), volts(last_v)
    return first if first == last else f"{first} to {last}"


def _part(some: int, of: int) -> str:
    return (
        f"all {wording.count(of)} files" if some == of > 1 else f"{wording.count(some)} of {wording.plural(of, 'file')}"
    )


def another_camera(bears: str, entered: str) -> str:
    """The pictures of a card bear another serial than that of the camera which is on record for it."""
    return (
        f"The pictures bear the serial {bears}; the camera of this deployment is entered as {entered}. "
        "If it is the same, mend its serial under Cameras; if not, place this import elsewhere."
    )
