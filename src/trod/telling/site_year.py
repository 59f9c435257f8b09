"""A site's year, told: its sentence, what in it limits the numbers, and the lines of its diary."""

from __future__ import annotations

from datetime import date

from trod import wording
from trod.findings.site_year import SiteYear

LEAST_DAYS = 1.0


def sentence(known: SiteYear) -> str:
    """How long was watched and what came of it."""
    name = known.selection.evidence.site(known.site).name
    many = sum(len(kind.found) for kind in known.kinds)
    if known.watched <= 0:
        if not many:
            return f"Nothing is known of {name} in {known.year}: no camera is known to have watched."
        return (
            f"{wording.plural(many, 'detection')} at {name} in {known.year}, at times of which nobody knows whether a "
            "camera watched."
        )
    watched = f"{name} was watched {wording.days_number(known.watched)} of {known.days} days in {known.year}"
    if not many:
        return f"{watched}; no animal that was told to its kind is on record."
    kinds = wording.plural(len(known.kinds), "kind of animal", "kinds of animals")
    return f"{watched}; {kinds} came by, in {wording.plural(many, 'detection')}."


def cautions(known: SiteYear) -> tuple[str, ...]:
    """What in the year limits its counts."""
    out = []
    open_days = sum(month.open for month in known.months)
    if open_days >= LEAST_DAYS:
        out.append(
            f"Of {wording.days_number(open_days)} days nobody knows whether a camera watched; some of them count."
        )
    lost = sum(month.lost for month in known.months)
    if lost >= LEAST_DAYS:
        out.append(f"{wording.days_number(lost)} days were not watched though a camera stood there.")
    waiting = sum(month.waiting for month in known.months)
    if waiting:
        out.append(f"{wording.plural(waiting, 'sequence waits', 'sequences wait')} for review; counts can only grow.")
    if known.unnamed:
        out.append(
            f"{wording.plural(known.unnamed, 'sequence')} could not be told to a kind and "
            f"{'is' if known.unnamed == 1 else 'are'} not counted."
        )
    none = [month.first.month for month in known.months if month.watched < LEAST_DAYS]
    if none and len(none) < 12:
        months = wording.listed([wording.MONTHS[n - 1] for n in none])
        out.append(f"Hardly or not watched: {months}. That nothing came there is not known.")
    return tuple(out)


def visit(by: str, arrival: str, note: str) -> str:
    """A visit's line. arrival : how the camera was found, in words; '' where none stood there."""
    said = f"Visit{f' by {by}' if by else ''}"
    said += f": {arrival[:1].lower()}{arrival[1:]}" if arrival else ""
    return f"{said}. {note}".strip() if note else f"{said}."


def silence(first: date, last: date, reason: str, *, is_open: bool) -> str:
    """A stretch without a sign of life: of which nobody knows, or that was not watched."""
    when = wording.period(first, last)
    if is_open:
        return f"Nobody knows whether the camera watched, {when}."
    return f"Not watched, {when}: {reason}." if reason else f"Not watched, {when}."


def clock(camera: str, shift_s: float, drift_s_per_day: float, reason: str) -> str:
    """A correction of a camera's clock that stands."""
    why = f": {reason}" if reason else ""
    drift = f"{drift_s_per_day:+.3g} s a day".replace("-", "−")
    if not shift_s:
        return f"Times of {camera} set by a drift of {drift}{why}."
    moved = f"{'later' if shift_s > 0 else 'earlier'} by {wording.span(abs(shift_s))}"
    return f"Times of {camera} set {moved}{f', with a drift of {drift}' if drift_s_per_day else ''}{why}."


def stood(camera: str, *, is_start: bool) -> str:
    """A camera set up or retrieved."""
    return f"{camera} was set up." if is_start else f"{camera} was retrieved."


def incident(kind: str, what: str, *, stopped: bool) -> str:
    """What a camera suffered."""
    said = f"Incident: {kind} ({what.rstrip(' .')})" if what else f"Incident: {kind}"
    return f"{said}; the camera stopped watching." if stopped else f"{said}; the camera went on watching."


def card(notes: list[str]) -> str:
    """What was wrong when a card was imported."""
    return f"Card imported: {' '.join(notes)}"
