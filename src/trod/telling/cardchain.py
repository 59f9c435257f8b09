"""Where a card is by visits and imports, and what does not go together about it, in words."""

from __future__ import annotations

from trod import wording
from trod.planning.visit.cardchain import Doubt, Step, Story


def where(found: Story) -> str:
    """Where the card is, a sentence."""
    step = found.last
    if step is None or found.since is None or found.where == "stock":
        return "Nothing is noted of it yet."
    there, day = _there(step), wording.short_day(found.since)
    by = f" by {step.by}" if step.by else ""
    return {
        "in a camera": f"In {there} since {day}.",
        "left in a camera": f"Still in {there}, which was retrieved on {day}; nobody noted that the card came out.",
        "home": f"Taken out of {there} on {day}{by}; not imported yet.",
        "copied": f"Imported on {day}, but not everything on it is safe: do not format it yet.",
        "safe": f"Imported on {day}: safe to format in the camera.",
    }.get(found.where, f"Gone with {there}, found gone on {day}.")


def doubt(one: Doubt) -> str:
    """Two steps that do not go together, told against each other."""
    there, day = _there(one.step), wording.short_day(one.step.at)
    then, since = _there(one.before), wording.short_day(one.before.at)
    return {
        "in two cameras": f"In two cameras: it went into {there} on {day}, while by the records it is in {then} since "
        f"{since} and nobody took it out.",
        "not imported": f"It went into {there} on {day} before the pictures from {then}, taken out on {since}, were "
        "imported. Look whether they are still on it.",
        "elsewhere": f"It came out of {there} on {day}, while by the records it was in {then} since {since}.",
        "out already": f"It came out of {there} on {day}, though it was out already since {since} and nobody put it in "
        "again.",
        "still in": f"It was imported on {day}, while by the records it is in {then} since {since}. A visit that took "
        "it out is missing.",
    }[one.why]


def _there(step: Step) -> str:
    return step.place or step.camera or "a camera"
