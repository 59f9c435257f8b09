"""What to carry: how many of a round's cameras will want something, and spares by that risk."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput, positive

Floats = NDArray[np.float64]
# Fresh batteries wherever the chance that they fail before the next visit is above this. Assumed.
RENEW_ABOVE = 0.10
# Enough in the bag on this share of rounds. Assumed.
ENOUGH = 0.95
# A camera that fails for good, for each month it stands. Assumed; ask for the reserve's own.
CAMERA_FAULTS_A_MONTH = 0.01


def how_many(chances: ArrayLike) -> Floats:
    """The distribution of how many of several independent things happen, each with its own chance.

    Returns shape (things + 1,): the chance of 0, 1, 2 … (the Poisson-binomial distribution), exact by convolution.
    """
    each = np.asarray(chances, dtype=float).ravel()
    if not np.all((each >= 0) & (each <= 1)):
        raise WrongInput("chances", got=float(each[~((each >= 0) & (each <= 1))][0]), needed="numbers from 0 to 1")
    found = np.ones(1)
    for chance in each:
        found = np.convolve(found, (1 - chance, chance))
    return found


def enough(chances: ArrayLike, *, level: float = ENOUGH) -> int:
    """The least number that suffices with at least this chance."""
    if not 0 < level < 1:
        raise WrongInput("level", got=level, needed="a chance above 0 and below 1, such as 0.95")
    # The last sum is 1 but for rounding; a hair's breadth keeps 0.95 from wanting one more.
    return int(np.argmax(np.cumsum(how_many(chances)) >= level - 1e-12))


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One camera of a round, for its kit.

    stops_before_next : chance that its batteries fail before the visit after this one, if they stay in (p). battery,
    batteries : kind and number. days_until_next : to the visit after this one. takes : other things it needs for sure,
    such as "wedge" or "lock". unexpected : chance of a want that shows only there, where batteries are not planned to
    be renewed; `stops_before_next` when None.
    """

    name: str
    battery: str
    batteries: int
    stops_before_next: float
    unexpected: float | None = None
    days_until_next: float = 30.0
    card_fault: float = 0.01
    takes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for what in ("stops_before_next", "card_fault", "unexpected"):
            value = getattr(self, what)
            if value is not None and not 0 <= value <= 1:
                raise WrongInput(what, got=value, needed="a chance from 0 to 1")
        if not (isinstance(self.batteries, int) and 0 <= self.batteries <= 64):
            raise WrongInput("batteries", got=self.batteries, needed="a whole number of batteries, 0 to 64")
        positive("days_until_next", self.days_until_next, needed="days, 0 or more", zero=True)


@dataclass(frozen=True, kw_only=True)
class KitLine:
    """One line of a kit: what, how many of it, how many of these are spare."""

    what: str
    number: int
    spare: int = 0


@dataclass(frozen=True, kw_only=True)
class Kit:
    """What to carry on a round. renew : the cameras that get fresh batteries in any case."""

    lines: tuple[KitLine, ...]
    renew: tuple[str, ...]

    def number(self, what: str) -> int:
        """How many of one thing; 0 when it is not in the kit."""
        return sum(line.number for line in self.lines if line.what == what)


def kit(
    stops: Sequence[Stop],
    *,
    level: float = ENOUGH,
    renew_above: float = RENEW_ABOVE,
    camera_faults_a_month: float = CAMERA_FAULTS_A_MONTH,
    tools: Iterable[str] = (),
) -> Kit:
    """Batteries by kind, cards, whole cameras and what the sites need, with spares by risk.

    Batteries: where the chance of failing before the next visit is above `renew_above`, fresh ones are planned; for the
    rest as many packs as suffice with `level`. Cards: one for each camera, and spares for those that turn out bad.
    Cameras: as many as suffice for those that fail for good. tools : one of each for the round, such as "ladder".
    """
    positive("camera_faults_a_month", camera_faults_a_month, needed="a chance a month, 0 or more", zero=True)
    lines: list[KitLine] = []
    renew = tuple(stop.name for stop in stops if stop.stops_before_next > renew_above)
    for battery in sorted({stop.battery for stop in stops if stop.batteries}):
        of_kind = [stop for stop in stops if stop.battery == battery and stop.batteries]
        planned = [stop for stop in of_kind if stop.stops_before_next > renew_above]
        rest = [stop for stop in of_kind if stop.stops_before_next <= renew_above]
        spare_packs = enough([_chance(stop) for stop in rest], level=level)
        # The packs that may be wanted, largest first: one cannot know which camera it will be.
        spare = sum(sorted((stop.batteries for stop in rest), reverse=True)[:spare_packs])
        number = sum(stop.batteries for stop in planned) + spare
        if number:
            lines.append(KitLine(what=battery, number=number, spare=spare))
    if stops:
        bad = enough([stop.card_fault for stop in stops], level=level)
        lines.append(KitLine(what="card", number=len(stops) + bad, spare=bad))
        months = [stop.days_until_next / 30.4375 for stop in stops]
        # Chance that it is found failed for good, over the time it stood: as long as until the next visit.
        lost = enough([1 - (1 - min(camera_faults_a_month, 1.0)) ** m for m in months], level=level)
        if lost:
            lines.append(KitLine(what="camera", number=lost, spare=lost))
    for what, number in sorted(Counter(thing for stop in stops for thing in stop.takes).items()):
        lines.append(KitLine(what=what, number=number))
    for tool in tools:
        lines.append(KitLine(what=tool, number=1))
    return Kit(lines=tuple(lines), renew=renew)


def _chance(stop: Stop) -> float:
    return stop.stops_before_next if stop.unexpected is None else stop.unexpected
