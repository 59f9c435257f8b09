"""How often a site loses a camera, how long batteries lasted, what a year cost, in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trod import wording
from trod.planning.visit.maintenance import BatterySet, LossRate, YearCosts

# Fewer sets of batteries than this give no middle worth naming. Ours.
LEAST_SETS = 3
# What has no price, one and several of it.
UNPRICED = {
    "incidents": ("incident", "incidents"),
    "batteries": ("use of batteries", "uses of batteries"),
    "cards": ("use of cards", "uses of cards"),
    "other": ("other use", "other uses"),
}


def losses(rate: LossRate) -> str:
    """How often a camera is stopped, with what it rests on."""
    years = _plain(rate.camera_years)
    stood = f"{years} camera-year{'' if years == '1' else 's'}"
    if rate.incidents == 0:
        return f"None in {stood}; up to {_plain(rate.high)} a year for each camera cannot be ruled out (90 %)."
    return (
        f"{rate.incidents} in {stood}: {_plain(rate.per_year)} a year for each camera, "
        f"{_plain(rate.low)} to {_plain(rate.high)} (90 %)."
    )


def losses_of_all(rate: LossRate | None) -> str:
    """The same of all sites together; None where no camera stood."""
    if rate is None:
        return "No camera has stood anywhere yet."
    if rate.incidents:
        return f"Of what stopped a camera the log has {losses(rate)}"
    return f"Nothing in the log has stopped a camera. {losses(rate)}"


def _plain(value: float) -> str:
    """A number of 0 or more to two digits."""
    return f"{value:.2g}" if value < 9.95 else f"{value:.0f}"


def batteries(sets: Sequence[BatterySet], *, present: bool = True) -> str:
    """What a camera's sets of batteries tell, without calling a set finished that was changed with power left.

    present : tell of the set that is in, too.
    """
    if not sets:
        return "It has not stood anywhere yet, so nothing is known of its batteries."
    known = [s for s in sets if s.fresh]
    dead = [s for s in known if s.end == "dead"]
    early = [s for s in known if s.end == "changed"]
    parts: list[str] = []
    if dead:
        days = sorted(s.days for s in dead)
        some = _middle(days) if len(days) >= LEAST_SETS else _list_days(days)
        found = f"{wording.plural(len(dead), 'set')} found dead"
        parts.append(f"{found}: it was at most {some} in the field" if len(dead) == 1
                     else f"{found}, at most {some} in the field")  # fmt: skip
    if early:
        days = sorted(s.days for s in early)
        span = f"{days[0]:.0f}" if len(days) == 1 else f"{days[0]:.0f} to {days[-1]:.0f}"
        left = sorted(s.percent for s in early if s.percent is not None)
        shown = _span_of_charge(left, len(early))
        parts.append(f"{wording.plural(len(early), 'set')} changed after {span} days with power left{shown}")
    last = sets[-1]
    if present and last.end == "still in":
        of = f" ({last.kind})" if last.kind else ""
        parts.append(f"the present set{of} is in for {wording.plural(round(last.days), 'day')}")
    if not parts and present:
        return "No change of batteries is noted of it yet, so nothing is known of how long they last."
    if not parts:
        return "No set has been changed yet."
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _span_of_charge(left: Sequence[float], sets: int) -> str:
    """What was read of sets that were changed early; that of some sets says nothing of the others. [%]"""
    if not left:
        return ""
    span = f"{left[0]:.0f} %" if round(left[0]) == round(left[-1]) else f"{left[0]:.0f} to {left[-1]:.0f} %"
    return f", at {span}" if len(left) == sets else f", at {span} where it was read ({len(left)} of {sets})"


def _middle(days: Sequence[float]) -> str:
    return f"{float(np.median(days)):.0f} days in the middle ({days[0]:.0f} to {days[-1]:.0f})"


def _list_days(days: Sequence[float]) -> str:
    return " and ".join(f"{d:.0f}" for d in days) + " days"


def money(value: float, currency: str = "") -> str:
    """An amount with its currency as people wrote it: `1 234.50 €`. Two decimals below 1000, none above."""
    text = f"{value:,.2f}" if abs(value) < 1000 else f"{value:,.0f}"
    return f"{text.replace(',', ' ')} {currency}".strip()


def costs(found: YearCosts, year: int, currency: str = "", *, unbooked: int = 0) -> str:
    """A year in a sentence, and what is not in it. unbooked : visits whose batteries nobody took off the stock."""
    whole = found.whole
    if not whole.total:
        text = f"Nothing with a price is noted for {year}."
    else:
        text = f"In {year} keeping the cameras cost {money(whole.total, currency)}"
        if whole.per_camera_day is not None:
            days = wording.count(round(whole.camera_days))
            text += f": {money(whole.per_camera_day, currency)} for each of the {days} days that one camera stood"
        text += "."
    for kind, n in sorted(found.unpriced.items()):
        text += f" Not in it: {wording.plural(n, *UNPRICED[kind])} without a price."
    if unbooked:
        text += f" Not in it: {wording.plural(unbooked, 'change')} of batteries that nobody booked."
    if found.travel_unknown:
        text += " Travel is not in it: nobody has typed the way and its price."
    return text
