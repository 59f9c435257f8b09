"""Camera settings in words: what to set, why, what to mind, and at what price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trod.planning.place.advice import GUIDELINES
from trod.planning.place.adviser import Aim, Price, Setting, SettingsAdvice
from trod.planning.place.facts import Basis
from trod.telling.measures import air, figure, length
from trod.units import System

AIMS: dict[Aim, str] = {
    "species": "which species come",
    "herd": "how many come at once",
    "composition": "juveniles or males to a hundred females",
    "hours": "when they come",
    "individuals": "which individuals come",
    "behaviour": "what they do",
    "people": "people where they should not be",
}
LABELS = {
    "mode": "Pictures or clips", "burst": "Pictures a burst", "delay": "Delay between triggers",
    "sensitivity": "Sensitivity", "time_lapse": "Time lapse", "hours": "Hours of watch", "size": "Picture size",
}  # fmt: skip
REASONS = {
    "motion shows": "What an animal does shows in motion.",
    "sharp pictures": "Marks and antlers are told on sharp single pictures; frames of a clip have fewer pixels.",
    "pictures answer": "Pictures answer this question, fill the card slowly and are quickly looked through.",
    "clips instead": "Clips are taken instead.",
    "later frames catch": "Where animals pass, a later picture of the burst catches the one that had not come in yet or "
    "shows the one behind it. One trigger with three pictures wakes the camera once, not three times.",
    "three chances": "Heads go up and animals step apart between pictures: three chances to see sex, age and number.",
    "one a trigger": f"The {GUIDELINES}, §7.2.3, take one picture a trigger.",
    "herd stays": "Animals stay. A picture every few minutes counts them as well as one every few seconds: more nights "
    "narrow the answer, more pictures of one night do not.",
    "animals stay": "Animals stay for minutes. In our simulation of six-minute visits even 300 s of delay loses about 2 "
    "visits in 100 and saves four pictures in five.",
    "next may follow": "The next animal may follow at once, and whoever passes is gone after a delay. The "
    f"{GUIDELINES}, §7.2.3, use no quiet period.",
    "weak signal": "A small body gives a weak signal. In our simulation a fox-sized animal {five_metres} off in air of "
    "about {warm_air} fires a camera on half sensitivity once in a hundred passes, on double nearly always.",
    "plants sway": "A large warm body is sensed anyway, and plants that sway in the sun fire the camera less.",
    "high is usual": f"The {GUIDELINES}, §7.2.3, usually use high. In warm air an animal hardly stands out.",
    "count by the clock": "Pictures at fixed times count without the sensor's choice, and show when nobody is there.",
    "proves it worked": "Proves on each day that the camera worked; without it a silence cannot be told from no "
    f"animals. The {GUIDELINES}, §7.2.2, take at least one.",
    "says nothing asleep": "A camera that sleeps for part of the day says nothing of it, and animals change their "
    "hours.",
    "enlarged above": "The sensor has no more of its own: a larger setting fills the card with pixels that show "
    "nothing.",
    "own pixels": "The sensor's own pixels, as measured.",
    "may be enlarged": "Larger settings may be enlarged pictures. Measure the camera with the printed target to know.",
}
MINDS = {
    "": "",
    "flash in clips": "Clips by night draw the flash for their whole length.",
    "two cameras": "Two cameras that face each other show both flanks.",
    "burst limit": "This camera takes {burst} a burst at most; {wanted} would be better.",
    "shy visits": "Short visits of shy animals may be missed.",
    "swaying plants": "Swaying plants will fire the camera too: clear what you may.",
    "small missed": "Small animals will be missed: do not use these pictures to say which species come.",
    "sun and wind": "In sun and wind expect pictures without an animal.",
    "people": "People may be pictured: put up notice where the law asks for it.",
}
INSTEAD = {
    "mode": "a burst of three pictures", "burst": "one picture", "delay": "a delay of 10 s",
    "time_lapse": "one frame a day",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class SettingTold:
    """One setting as it is told. price : what it adds, a clause. instead : the plainest value, "" without one."""

    key: str
    label: str
    value: str
    reason: str
    caution: str
    basis: Basis
    price: str
    instead: str = ""


def settings(advice: SettingsAdvice, system: System) -> tuple[SettingTold, ...]:
    """All settings, as they are told."""
    return tuple(setting(one, system) for one in advice.settings)


def setting(one: Setting, system: System) -> SettingTold:
    """One setting, as it is told."""
    facts = {
        "five_metres": length(5.0, system),
        "warm_air": air(28.0, system),
        "burst": one.change.get("burst"),
        "wanted": one.wanted,
    }
    return SettingTold(
        key=one.key,
        label=LABELS[one.key],
        value=value(one),
        reason=REASONS[one.reason].format_map(facts),
        caution=MINDS[one.mind].format_map(facts),
        basis=one.basis,
        price=price_of(one),
        instead=instead(one),
    )


def value(one: Setting) -> str:
    """What to set."""
    change: Mapping[str, object] = one.change
    if one.key == "mode":
        return f"clips of {change['clip_s']:.0f} s" if change["mode"] == "clip" else "pictures"
    if one.key == "burst":
        return str(change["burst"])
    if one.key == "size":
        if "megapixels" in change:
            return f"about {change['megapixels']:.0f} megapixels, or the next step above"
        return "the largest" if one.reason == "own pixels" else "the sensor's own, not the largest on the box"
    return {
        "herd stays": "about 2 min",
        "animals stay": "about 1 min",
        "next may follow": "none, or the shortest",
        "weak signal": "high",
        "plants sway": "medium",
        "high is usual": "high",
        "count by the clock": "a frame every hour",
        "proves it worked": "one frame a day, at noon",
        "says nothing asleep": "all day and night",
    }[one.reason]


def instead(one: Setting) -> str:
    """The plainest value, to which the price is held."""
    if not one.instead:
        return ""
    return "none" if one.instead.get("time_lapse_h", 0) is None else INSTEAD[one.key]


def price_of(one: Setting) -> str:
    """What a setting costs beside its plainest value, a clause."""
    if one.priced != "priced" or one.extra_wh is None or one.extra_mb is None:
        return {
            "nothing extra": "costs nothing extra",
            "only a card tells": "not priced: only a card tells how large enlarged files are",
        }.get(one.priced, "not priced: nothing here reckons energy and card")
    return f"{_more(one.extra_wh, 'Wh')} and {_more(one.extra_mb, 'MB')} a day than with {instead(one)}"


def _more(extra: float, unit: str) -> str:
    if abs(extra) < 0.005:
        return f"hardly any {unit} more"
    return f"{figure(abs(extra))} {unit} {'more' if extra > 0 else 'less'}"


def price(of: Price) -> str:
    """What all settings cost, a clause."""
    return (
        f"about {figure(of.wh_a_day)} Wh and {figure(of.mb_a_day)} MB a day; the card is full in about "
        f"{figure(of.card_days)} days"
    )


def cautions(advice: SettingsAdvice, system: System, *, but: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """What to mind with these settings, but for what is said elsewhere (keys of `MINDS`)."""
    lines = [setting(one, system).caution for one in advice.settings if one.mind and one.mind not in but]
    if advice.full_too_soon and advice.price is not None:
        days, card = advice.price.card_days, figure(advice.wish.card_gb, 3)
        full = (
            "less than a day" if days < 0.95 else "about a day" if figure(days) == "1" else f"about {figure(days)} days"
        )
        lines.insert(
            0,
            f"At this rate a card of {card} GB is full in {full}, before the next visit in "
            f"{figure(advice.wish.days, 3)}: take a larger card, a longer delay or fewer pictures a burst.",
        )
    return tuple(dict.fromkeys(lines))
