"""What would be set otherwise on a camera: other batteries, a larger card, a longer delay, another burst."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from trod.errors import WrongInput
from trod.planning.equipment.pack_text import pack_from
from trod.planning.last.stopping import Outfit

NO_COUNT = re.compile(
    r"\b[flh]r\s?\d+\b|\d+(?:[.,]\d+)?\s*(?:v|mah|ah|wh)\b"
)  # figures that tell no number of batteries


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is to be set otherwise; None leaves it as it is. batteries : as people write it, like "12 FR6"."""

    batteries: str | None = None
    card_gb: float | None = None
    delay_s: float | None = None
    burst: int | None = None
    clip_s: float | None = None

    @property
    def nothing(self) -> bool:
        """Whether nothing is changed."""
        return all(value is None for value in (self.batteries, self.card_gb, self.delay_s, self.burst, self.clip_s))


def changed(outfit: Outfit, change: Change) -> Outfit:
    """The outfit with a change. Raises WrongInput that names what cannot be."""
    more: dict[str, object] = {}
    if change.batteries is not None:
        pack, _ = pack_from(change.batteries, kind=outfit.pack.battery.designation, number=outfit.pack.number)
        if pack_from(change.batteries)[1].nothing:  # by itself it tells neither number nor kind
            raise WrongInput("batteries", got=change.batteries[:60], needed="a number and a kind, like 12 FR6 or 8 LR6")
        numbers = [int(n) for n in re.findall(r"^\s*-?\d{1,9}|\d{1,9}", NO_COUNT.sub(" ", change.batteries.lower()))]
        if numbers and pack.number not in numbers:  # one came, and it is none that a camera takes
            raise WrongInput("batteries", got=change.batteries[:60], needed="1 to 64 batteries, like 12 FR6 or 8 LR6")
        more["pack"] = pack
    if change.card_gb is not None:
        if not 0 < change.card_gb <= 4096:
            raise WrongInput("card", got=change.card_gb, needed="gigabytes, above 0 and at most 4096")
        more["card_gb"] = change.card_gb
    if change.delay_s is not None:
        if not 0 <= change.delay_s <= 86_400:
            raise WrongInput("delay", got=change.delay_s, needed="seconds, from 0 to 86400")
        more["delay_s"] = change.delay_s
    if change.clip_s is not None:
        if not 0 <= change.clip_s <= 600:
            raise WrongInput("clip", got=change.clip_s, needed="seconds, from 0 to 600")
        more["clip_s"] = change.clip_s
    if change.burst is not None:
        if not 0 <= change.burst <= 100:
            raise WrongInput("burst", got=change.burst, needed="pictures a trigger, a whole number from 0 to 100")
        more["frames"] = change.burst
    new = replace(outfit, **more)  # type: ignore[arg-type]
    if new.frames == 0 and not new.clip_s:
        raise WrongInput("burst", got=0, needed="a picture or a clip for each trigger")
    return new
