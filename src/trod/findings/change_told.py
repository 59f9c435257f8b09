"""What is said of change: plain sentences from the two yearly factors, or from why there are none."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod import wording
from trod.errors import NotEnoughEvidence
from trod.findings import yearly
from trod.findings.yearly import YearlyChange
from trod.findings.yearly_fit import Factor

# Changes this large are looked out for when it is told beforehand what a record can show.
OUTLOOK_YEARS = (3, 5)


def times(log_value: float) -> str:
    """A yearly factor as it is said: '0.75'. Only factors that a refusal let through come here."""
    return wording.number(math.exp(log_value), 2)


def ends(factor: Factor) -> str:
    """Both ends of a yearly factor, '0.62 to 0.92'."""
    return f"{times(factor.low)} to {times(factor.high)}"


def allowance(share: float) -> str:
    """How much years are taken to differ: 'about a fifth'."""
    if share == 0:
        return "nothing"
    named = {0.1: "a tenth", 0.2: "a fifth", 0.25: "a quarter", 0.3: "three tenths", 0.5: "a half"}
    return f"about {named.get(round(share, 2), wording.share(share))}"


def years(months: int) -> str:
    """'2 years', '2.5 years'."""
    number = wording.trimmed(months / 12, 2)
    return f"{number} year{'' if number == '1' else 's'}"


def headline(name: str, found: YearlyChange) -> str:
    """Both numbers in plain words. name : whom it is about, as a subject."""
    lasting, happened = found.lasting, found.happened
    inside = "animals" if name == "Animals" else name
    here = f"In this record: {times(happened.middle)} times as often each year ({ends(happened)})."
    if found.claim in ("more", "fewer"):
        word = "more" if found.claim == "more" else "less"
        beyond = ", by more than good and bad years usually explain" if found.allowance > 0 else ""
        return (
            f"{name} came {word} often{beyond}: {times(lasting.middle)} times as often each year "
            f"({ends(lasting)}, 95 %). {here}"
        )
    if found.claim == "steady":
        return (
            f"{name} came about as often each year: {times(lasting.middle)} times ({ends(lasting)}, 95 %), good and "
            f"bad years allowed for. {here}"
        )
    if found.claim in ("later more", "later fewer"):
        word = "more" if found.claim == "later more" else "less"
        return (
            f"{name} {'were' if name == 'Animals' else 'was'} recorded {word} often later than earlier in this record: "
            f"{times(happened.middle)} times as often each year ({ends(happened)}, 95 %). Whether it lasts cannot be "
            f"told from {years(found.months)}: years differ by {allowance(found.allowance)} by themselves, and with "
            f"that allowed for anything from {ends(lasting)} times would fit."
        )
    fall, rise = times(-lasting.half_width), times(lasting.half_width)
    return (
        f"No clear change in how often {inside} came. Good and bad years allowed for, anything from {ends(lasting)} "
        f"times as often each year would fit (95 %); a change smaller than {fall} or {rise} times a year could not "
        f"have been seen. {here}"
    )


def refusal(name: str, trouble: NotEnoughEvidence) -> str:
    """Why no yearly change is told, and what it would take."""
    inside = "animals" if name == "Animals" else name
    return f"Whether {inside} came more or less often cannot be told: {trouble.have}. It takes {trouble.need}."


def rests(found: YearlyChange) -> str:
    """What a change rests on, always named."""
    parts = (
        f"{years(found.months)}, {wording.plural(found.sites, 'site')} and "
        f"{wording.plural(found.detections, 'detection')}"
    )
    left = (
        f" {wording.share(found.left_out_days)} of the effort is left out, for part of it is not reviewed and the rest "
        "was picked by what is in it."
        if found.left_out_days > 0
        else ""
    )
    allowed = (
        f" Years are taken to differ by {allowance(found.allowance)} by themselves; that is a setting of the reserve, "
        "for no record of a few years can tell it."
        if found.allowance > 0
        else " Nothing is allowed for good and bad years, as the reserve is set."
    )
    return f"It rests on {parts}.{allowed}{left}"


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """How often a record of so many years would show a halving in three years as lasting."""

    years: int
    share: float


def outlooks(*, sites: int, seen_a_month: float, allowance: float, months: int) -> tuple[Outlook, ...]:
    """Told beforehand for three and five years, and for two years more than there are; none when nothing was seen."""
    if sites < yearly.FEWEST_SITES or not seen_a_month > 0:
        return ()
    asked = sorted({*OUTLOOK_YEARS, min(max(3, math.ceil(months / 12) + 2), 12)})
    return tuple(
        Outlook(
            years=n,
            share=yearly.outlook(years=n, sites=sites, seen_a_month=seen_a_month, allowance=allowance),
        )
        for n in asked
    )


def outlook(told: tuple[Outlook, ...], sites: int) -> str:
    """What such sites would show, in a sentence; '' without."""
    if not told:
        return ""
    each = wording.listed([f"{round(100 * one.share)} of 100 records of {one.years} years" for one in told])
    return (
        f"Told beforehand: with {wording.plural(sites, 'site')} that see as many, a halving in three years would be "
        f"shown as lasting by about {each}."
    )
