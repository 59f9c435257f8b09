"""The door through which a round's field form hands visits in, and how far its token opens it.

The token stands in a file that may be passed on, so it opens for little: visits to this round's stops, so many and so
large, until the round has ended, and never in the place of what somebody else wrote. Whoever has more brings the file
in by hand, with an account.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from trod import wording
from trod.archive import fieldnotes as files
from trod.catalogue import home
from trod.catalogue.models import Round
from trod.catalogue.rounds import field_notes, round_papers
from trod.catalogue.rounds.field_notes import Origin, Taken
from trod.field.form import VisitNote
from trod.planning.visit.rounds import RoundPlan

# Ours. A stop is visited once; the rest is for phones that hand in after each change, and for those who try things.
VISITS_A_STOP = 10
STATES_A_VISIT = 10
MOST_KEPT = 512_000_000  # bytes on the disk from one round's forms; five phones may carry 40 MB of photos each
BY_HAND = "Make the file on the phone and bring it in by hand, under Rounds."
LOOK_BACK = timedelta(days=400)  # files older than that before the round's first day are not of this round


class Refused(Exception):
    """The door stays shut. status : of HTTP. Its words are for the person with the phone."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


def check_open(row: Round, now: datetime) -> None:
    """Raises Refused when the round has ended."""
    if not round_papers.may_still_hand_in(row, now):
        last = round_papers.last_day(row)
        raise Refused(409, f"The round {row.name} ended on {wording.day(last)}, so nothing more is taken. {BY_HAND}")


def hand_in(row: Round, notes: Sequence[VisitNote], *, size: int, now: datetime) -> Taken:
    """Take visits in through the door. size : bytes of what came.

    Raises Refused for visits beyond what the token opens for, and TrodError when the disk refuses.
    """
    check_open(row, now)
    plan = round_papers.planned_of(row).plan
    stops = _stops(plan)
    strange = sorted({note.site for note in notes} - stops)
    if strange:
        words = f"{wording.listed(strange)}: not a stop of the round {row.name}. {BY_HAND}"
        raise Refused(403, words)
    with files.lock(home.archive_root()):  # so that two phones do not both find the last room free
        _check_room(row, notes, size=size, stops=len(stops))
        origin = Origin(field_form=str(row.uuid), by=f"phone, {row.name}"[:80], at=now, by_token=True)
        return field_notes.take_locked(notes, origin)


def _stops(plan: RoundPlan) -> set[str]:
    return {visit.stop.key for trip in plan.trips for visit in trip.visits}


def _check_room(row: Round, notes: Sequence[VisitNote], *, size: int, stops: int) -> None:
    since = datetime.combine(row.day, datetime.min.time(), UTC) - LOOK_BACK
    kept = files.of_field_form(home.archive_root(), str(row.uuid), since_s=since.timestamp())
    most = VISITS_A_STOP * stops
    fresh = {note.uuid for note in notes} - kept.visits
    full = ""
    if fresh and len(kept.visits) + len(fresh) > most:
        full = f"{wording.plural(len(kept.visits), 'visit')}, and {most} fit"
    elif kept.states + len(notes) > STATES_A_VISIT * most:
        full = f"{kept.states} changes of visits, and {STATES_A_VISIT * most} fit"
    elif kept.size + size > MOST_KEPT:
        full = f"{kept.size // 1_000_000} MB, and {MOST_KEPT // 1_000_000} MB fit"
    if full:
        raise Refused(413, f"The forms of the round {row.name} have handed in {full}. {BY_HAND}")
