"""Camera clocks in the catalogue: times corrected; corrections said, undone, proposed from visits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import QuerySet

from trod import clock, wording
from trod.catalogue import jobs
from trod.catalogue.imports import facts
from trod.catalogue.line import Line, Silent
from trod.catalogue.models import ClockCorrection, Deployment, Job, Picture, Visit
from trod.errors import WrongInput
from trod.timekeeping.faults import LEAST_BY_READING_S

LEAST_S = LEAST_BY_READING_S
# Quartz clocks of cameras drift by seconds a day; what is far more was set wrong. Ours.
MOST_DRIFT_S_D = 30.0
JOB = "follow-watch"
MOST_AT_ONCE = 1500  # pictures that follow a correction while the person waits, in about half a second


def naive(stored: datetime | None) -> datetime | None:
    """A clock reading, kept in a UTC column, as the naive time it is."""
    return None if stored is None else stored.astimezone(UTC).replace(tzinfo=None)


def as_stored(raw: datetime | None) -> datetime | None:
    """A naive clock reading as its UTC column keeps it."""
    return None if raw is None else raw.replace(tzinfo=UTC)


def camera_clock(deployment: Deployment) -> clock.CameraClock:
    """The clock of a deployment with the corrections that stand."""
    return clock.CameraClock(
        utc_offset_min=deployment.utc_offset_min,
        corrections=tuple(
            clock.ClockCorrection(
                from_raw=naive(c.from_raw),
                to_raw=naive(c.to_raw),
                shift_s=c.shift_s,
                drift_s_per_day=c.drift_s_per_day,
                reason=c.reason or "not given",
            )
            for c in deployment.clock_corrections.filter(undone_at__isnull=True).order_by("at", "uuid")
        ),
    )


def retime(deployment: Deployment) -> int:
    """Work out anew when each picture of a deployment was taken. Returns how many times changed."""
    rows = list(
        facts.pictures_of(deployment)
        .filter(looked=True)
        .order_by("card_import_id", "file_order")
        .values_list("pk", "taken_raw", "subsecond_ms", "time_from", "taken_at", "card_import_id", "file_order")
    )
    by_camera = [row for row in rows if row[1] is not None and row[3] in ("exif", "clip")]
    raw_s = np.array(
        [clock.raw_seconds(row[1].replace(tzinfo=None)) + row[2] / 1000 for row in by_camera if row[1]], dtype=np.float64
    )
    if by_camera:
        raw_s += _clips_in_utc(by_camera, raw_s, deployment.utc_offset_min * 60)
    utc_s = camera_clock(deployment).to_utc_s(raw_s) if by_camera else raw_s
    new: dict[int, datetime | None] = {}
    for row, second in zip(by_camera, utc_s.tolist(), strict=True):
        new[row[0]] = None if second != second else _instant(second)
    for pk, raw, _, source, *_ in rows:
        if source == "file":  # an instant already
            new[pk] = raw
    changed = [(new.get(row[0]), row[0]) for row in rows if new.get(row[0]) != row[4]]
    facts.write_many(Picture, ("taken_at",), changed)
    return len(changed)


def _clips_in_utc(rows: list[tuple[Any, ...]], raw_s: np.ndarray, offset_s: float) -> np.ndarray:
    """Seconds to add to the clips' times, per row, so that they are input readings like the pictures'.

    A clip's container should hold UTC, and many cameras write their input there. Which it is, the pictures
    beside the clips on the card tell: the middle difference lies near 0 or near the offset. Without pictures:
    the input.
    """
    add = np.zeros(len(rows))
    if not offset_s:
        return add
    clip = np.array([row[3] == "clip" for row in rows])
    card = np.array([row[5] for row in rows])
    order = np.array([row[6] for row in rows])
    for number in np.unique(card[clip]):
        clips, pictures = np.flatnonzero(clip & (card == number)), np.flatnonzero(~clip & (card == number))
        if not pictures.size:
            continue
        nearest = pictures[np.abs(order[pictures][None, :] - order[clips][:, None]).argmin(axis=1)]
        apart = float(np.median(raw_s[nearest] - raw_s[clips]))
        if abs(apart - offset_s) < abs(apart):
            add[clips] = offset_s
    return add


def _instant(utc_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=round(utc_s * 1e3) * 1000)


def retime_unplaced(import_pk: int) -> None:
    """Pictures of no deployment: their input is shown as it is."""
    rows = Picture.objects.filter(card_import_id=import_pk, deployment__isnull=True, looked=True)
    facts.write_many(Picture, ("taken_at",), [(raw, pk) for pk, raw in rows.values_list("pk", "taken_raw")])


# Said and undone --------------------------------------------------------------------------------------------


def correct(
    deployment: Deployment,
    *,
    shift_s: float,
    reason: str,
    by: str,
    now: datetime,
    from_raw: datetime | None = None,
    to_raw: datetime | None = None,
    drift_s_per_day: float = 0.0,
    line: Line | None = None,
    later: bool = False,
) -> tuple[ClockCorrection, list[str]]:
    """Say that a camera's clock was out. from_raw, to_raw: naive times on the camera's clock.

    Times and sequences follow at once, or by the worker with `later`; words stay with their pictures. Returns the
    correction and what is to be told.
    Raises WrongInput for a correction that makes no sense.
    """
    clock.ClockCorrection(
        from_raw=from_raw, to_raw=to_raw, shift_s=shift_s, drift_s_per_day=drift_s_per_day, reason=reason
    )  # for its checks
    with transaction.atomic():
        row = ClockCorrection.objects.create(
            deployment=deployment,
            from_raw=as_stored(from_raw),
            to_raw=as_stored(to_raw),
            shift_s=shift_s,
            drift_s_per_day=drift_s_per_day,
            reason=reason.strip()[:200],
            by=by,
            at=now,
        )
        told = _followed(deployment, line, later)
    return row, told


def undo(
    correction: ClockCorrection, *, by: str, now: datetime, line: Line | None = None, later: bool = False
) -> list[str]:
    """Take a correction back; it stays on record. later : the worker brings times and sequences up to it."""
    if correction.undone_at is not None:
        raise WrongInput("correction", got="one that is undone already", needed="one that stands")
    with transaction.atomic():
        correction.undone_at, correction.undone_by = now, by
        correction.save()
        return _followed(correction.deployment, line, later)


def _followed(deployment: Deployment, line: Line | None, later: bool) -> list[str]:
    if not later:
        return follow(deployment, line or Silent())
    if not jobs_of(deployment).exists():
        jobs.ask(JOB, {"deployment": deployment.slug})
    return []


def jobs_of(deployment: Deployment) -> QuerySet[Job]:
    """Jobs that wait to bring this deployment up to its clock."""
    return Job.objects.filter(kind=JOB, state=Job.State.WAITING, args={"deployment": deployment.slug})


def is_long_work(deployment: Deployment) -> bool:
    """Whether following a clock takes longer than a person likes to wait for a page."""
    return Picture.objects.filter(deployment=deployment).count() > MOST_AT_ONCE


def follow(deployment: Deployment, line: Line) -> list[str]:
    """Bring times, triggers and sequences of a deployment up to its clock and its pictures."""
    from trod.catalogue.imports import sequences

    with transaction.atomic():
        changed = retime(deployment)
        sequences.tell_triggers(deployment)
        told = sequences.regroup(deployment, line)
    if changed:
        unknown = Picture.objects.filter(
            deployment=deployment,
            taken_at__isnull=True,
            time_from__in=("exif", "clip"),
            taken_raw__isnull=False,
        ).count()
        if unknown:
            told.append(
                f"{unknown} pictures have a time that fits two corrections; they are in no sequence until one is mended."
            )
    return told


# Proposed ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ClockProposal:
    """A correction that would make a camera's clock agree with a visit. Times are the camera's own, naive.

    visit : the number of the visit's row. shift_s : at from_raw; beside a drift it is what was read at the visit before.
    """

    visit: int
    from_raw: datetime | None
    to_raw: datetime
    shift_s: float
    drift_s_per_day: float
    reason: str
    pictures: int

    @property
    def sentence(self) -> str:
        if self.drift_s_per_day:
            went = "slow" if self.drift_s_per_day > 0 else "fast"
            return f"The clock went {abs(self.drift_s_per_day):.2g} s a day {went}. {self.reason}"
        return f"The clock was {wording.clock_error(-self.shift_s)}. {self.reason}"


def proposals(deployment: Deployment) -> list[ClockProposal]:
    """Corrections that follow from what visitors read off the camera's clock and that nobody has made yet.

    At a visit somebody noted what the clock showed and what time it was. When the two are far apart, all
    pictures since the visit before (when the clock was last known or set) are taken to be out by the same,
    unless the difference is small enough for a drift, which then grows evenly: from what was read at the visit
    before, where that was too little to be worth a correction, else from nothing. Pictures of that stretch must exist.
    """
    offset = timedelta(minutes=deployment.utc_offset_min)
    made = list(deployment.clock_corrections.filter(undone_at__isnull=True))
    found = []
    before: Visit | None = None
    for visit in deployment.visits.order_by("at", "uuid"):
        shown, true = naive(visit.clock_shown), visit.clock_true
        last, before = before, visit
        since = last.at if last else deployment.start
        if shown is None or true is None:
            continue
        right = _on_the_clock(true, offset)
        error_s = clock.error_s(shown, true, deployment.utc_offset_min) or 0.0
        if abs(error_s) < LEAST_S:
            continue
        days = max(1e-9, (true - since).total_seconds() / 86400)
        drifted = abs(error_s) / days <= MOST_DRIFT_S_D
        start_true = _on_the_clock(since, offset)
        drift = _since_reading(last, shown, true, deployment) if drifted else None
        if drift is not None and drift.from_raw is not None:
            start_true = drift.from_raw
        from_raw = start_true if drifted else start_true + timedelta(seconds=error_s)
        # The clock counts whole seconds, and somebody set it within minutes of the visit's noted time.
        if not drifted and abs(error_s) > 30 * 86400:
            from_raw -= timedelta(minutes=30)
        if any(_covers(c, from_raw, shown) for c in made):
            continue
        pictures = Picture.objects.filter(
            deployment=deployment,
            time_from__in=("exif", "clip"),
            taken_raw__gte=as_stored(from_raw),
            taken_raw__lt=as_stored(shown),
        ).count()
        if not pictures:
            continue
        who = visit.by or "Somebody"
        reason = f"{who} read {wording.moment(shown)} off it on {wording.short_day(right)} at {right:%H:%M}."
        if drifted:
            rate = -error_s / days if drift is None else drift.drift_s_per_day
            shift_s = 0.0 if drift is None else drift.shift_s
            reason = f"{reason} It drifted evenly, as it seems."
            found.append(ClockProposal(visit.pk, from_raw, shown, shift_s, rate, reason, pictures))
        else:
            found.append(ClockProposal(visit.pk, from_raw, shown, -error_s, 0.0, reason, pictures))
    return found


def _since_reading(
    last: Visit | None, shown: datetime, true: datetime, deployment: Deployment
) -> clock.ClockCorrection | None:
    """The drift since the visit before, where the clock was read then too and was out by too little to be set."""
    first = naive(last.clock_shown) if last is not None else None
    if last is None or first is None or last.clock_true is None or last.clock_true >= true or first >= shown:
        return None
    if abs(clock.offset_from_visit(first, last.clock_true, deployment.utc_offset_min)) >= LEAST_S:
        return None  # so far out it was surely set
    return clock.correction_between_visits(
        first, last.clock_true, shown, true, utc_offset_min=deployment.utc_offset_min, reason="two readings"
    )


def _on_the_clock(instant: datetime, offset: timedelta) -> datetime:
    """What a right clock of that offset shows at an instant."""
    return instant.astimezone(UTC).replace(tzinfo=None) + offset


def _covers(made: ClockCorrection, from_raw: datetime, to_raw: datetime) -> bool:
    """Whether a correction that stands already speaks of most of this stretch."""
    low = naive(made.from_raw) or datetime.min
    high = naive(made.to_raw) or datetime.max
    middle = from_raw + (to_raw - from_raw) / 2
    return low <= middle < high


def jumps(pictures: list[tuple[str, datetime | None]]) -> list[clock.Jump]:
    """Where the clock jumped, in the order of the files. pictures: (name, input) in that order."""
    return list(clock.detect_jumps([naive(raw) for _, raw in pictures]))
