"""What needs a person now: each a plain sentence with one action, worst expected loss first.

The loss is a rough number of camera-days: already lost and sure to grow, or likely to be lost within the next
thirty days if nobody does anything. It orders the list and is not shown. The weights are ours.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from urllib.parse import urlencode

from django.db.models import Exists, OuterRef
from django.urls import reverse

from trod import clock, wording
from trod.catalogue.answers.summary import Summary
from trod.catalogue.forecasts.forecasts import Forecast
from trod.catalogue.imports import clocks
from trod.catalogue.models import (
    Card,
    ClockCorrection,
    Deployment,
    Finding,
    Import,
    Job,
    NotVisited,
    Reserve,
    Sequence,
    Site,
    Visit,
)
from trod.catalogue.rounds import not_visited as missed
from trod.catalogue.rows import rollups, taxa
from trod.findings.watching import NO_FRAME
from trod.timekeeping.faults import Fault

AHEAD_D = 30  # what an idle camera loses before somebody would come by anyway
USUAL_VISIT_D = 60  # between visits, when the reserve has no rhythm of its own yet. Ours.
LIKELY = 0.5  # a chance from which a camera has "probably" stopped
SOON_D = 14  # a visit that is due within so many days is told
MOST_LIKELY = {
    "batteries": "; most likely its batteries no longer carry the flash",
    "card": "; most likely its card is full",
    "fault": "; most likely by a fault or theft",
}
WOULD = {"batteries": "its batteries fail", "card": "its card is full"}
MANY = 3  # more cameras than this without a visit are one line: it is one round to plan, not many errands
MOST_EACH = 40  # of one kind; what is beyond is counted in one line


@dataclass(frozen=True)
class Need:
    """One thing to do. loss : rough camera-days, for the order alone. sort : worst of a kind first.

    at_once : the address that does it with one press, where all that it takes is known.
    """

    kind: str
    loss: float
    sentence: str
    action: str
    url: str
    clay: bool = False
    at_once: str = ""


def _date(when: datetime, d: Deployment) -> str:
    return wording.day(clock.local(when, d.site.reserve.zone))


def _span(days: float) -> str:
    return wording.span(86_400 * days)


def usual_visit_days(visits: Mapping[int, list[Visit]]) -> float:
    """The reserve's own rhythm: the middle of the days between two visits to one deployment."""
    between = [
        (b.at - a.at).total_seconds() / 86400
        for of in visits.values()
        for a, b in pairwise(of)
        if (b.at - a.at) > timedelta(days=2)
    ]
    return max(14.0, median(between)) if len(between) >= 3 else float(USUAL_VISIT_D)


def _visit_url(deployment: Deployment) -> str:
    return reverse("cameras:visit_new") + "?" + urlencode({"deployment": deployment.slug})


def silent_cameras(
    standing: Iterable[Deployment],
    visits: Mapping[int, list[Visit]],
    sums: Mapping[int, Summary],
    now: datetime,
    foretold: Mapping[str, Forecast] | None = None,
    mean_bytes: Mapping[int, float] | None = None,
    wrong_times: Container[int] = (),
) -> list[Need]:
    """Cameras in the field that were gone, brought silence, or are not visited for too long.

    wrong_times : numbers of deployments with pictures whose times cannot be right. Their silence is none that is known.

    mean_bytes : of a deployment's files, by its number, where a card of it has come home.

    foretold : by slug. A camera with a forecast needs no rule of thumb for its next visit.
    """
    usual = usual_visit_days(visits)
    needs: list[Need] = []
    unvisited: list[tuple[float, str]] = []
    for d in standing:
        of = visits.get(d.pk, [])
        last = of[-1] if of else None
        since = last.at if last else d.start
        days = (now - since).total_seconds() / 86400
        seen = sums.get(d.pk)
        where = f"{d.camera} at {d.site}"
        if last and last.arrival == Visit.Arrival.GONE:
            needs.append(
                Need(
                    "gone",
                    days + 2 * AHEAD_D,
                    f"{where} was gone on {_date(last.at, d)} and its deployment still stands open.",
                    "End the deployment",
                    reverse("cameras:deployment_end", args=[d.slug]),
                    clay=True,
                )
            )
            continue
        if d.pk in wrong_times:
            continue
        if seen and seen.known_to and seen.last_at and (silent := _silence_to_end(d, seen)):
            needs.append(
                Need(
                    "silent",
                    min(silent, 365) + AHEAD_D,
                    f"{where} brought nothing from its last {_span(silent)}: its last picture is of "
                    f"{_date(seen.last_at, d)}. "
                    "It was probably dead or full.",
                    "See its story",
                    d.get_absolute_url(),
                    clay=True,
                )
            )
            continue
        if foretold and d.slug in foretold:
            continue
        full = _full_in(d, seen, of, now, (mean_bytes or {}).get(d.pk))
        if full is not None and full <= 0:
            needs.append(
                Need(
                    "full",
                    min(-full, 365) + AHEAD_D,
                    f"The card in {where} is probably full: at its last pace it would have been for {_span(-full)}.",
                    "Record a visit",
                    _visit_url(d),
                    clay=True,
                )
            )
        elif days > 1.25 * usual:
            needs.append(
                Need(
                    "unvisited",
                    (days - usual) * 0.5,
                    f"Nobody has been at {where} for {_span(days)}; "
                    f"here a camera is usually visited every {_span(usual)}.",
                    "Record a visit",
                    _visit_url(d),
                )
            )
            unvisited.append((days, where))
    if len(unvisited) > MANY:
        lost = sum(need.loss for need in needs if need.kind == "unvisited")
        longest, where = max(unvisited)
        needs = [need for need in needs if need.kind != "unvisited"]
        needs.append(
            Need(
                "unvisited",
                lost,
                f"Nobody has been at {wording.plural(len(unvisited), 'camera')} for {_span(min(unvisited)[0])} or more, "
                f"longest at {where} ({_span(longest)}); here a camera is usually visited every {_span(usual)}.",
                "See the cameras",
                reverse("cameras:cameras"),
            )
        )
    return needs


def stopping_cameras(standing: Iterable[Deployment], foretold: Mapping[str, Forecast], today: date) -> list[Need]:
    """Cameras found stopped and left so, probably stopped by now, or due within a fortnight; by their forecasts.

    The loss is what was probably lost since the camera was last known to watch, and what will be in the next
    thirty days.
    """
    needs: list[Need] = []
    maybe: list[tuple[float, float, str, Need]] = []
    soon: list[tuple[date, str, Need]] = []
    for d in standing:
        told = foretold.get(d.slug)
        if told is None or told.found == Visit.Arrival.GONE.label:  # told of elsewhere
            continue
        where = f"{d.camera} at {d.site}"
        lost = told.lost_days(today, since=told.start) + told.lost_days(today + timedelta(days=AHEAD_D), since=today)
        if told.found_on is not None:
            how = "with its card full" if told.found == Visit.Arrival.FULL.label else f"with {told.found}"
            sentence = (
                f"{where} was found {how} on {wording.day(told.found_on, today)}, and nothing says that anybody "
                "set it going again."
            )
            lost = (today - told.found_on).days + AHEAD_D
            needs.append(Need("stopped", lost, sentence, "Record a visit", _visit_url(d), clay=True))
            continue
        chance, url = told.chance(today), reverse("cameras:power", args=[d.slug])
        because = MOST_LIKELY.get(told.cause, "")
        if chance >= LIKELY:
            sentence = f"{where} has probably stopped by now, with a chance of {wording.in_100(chance)}{because}."
            needs.append(Need("stopped", lost, sentence, "Record a visit", _visit_url(d), clay=True))
        elif told.early is not None and told.early <= today:
            sentence = f"{where} may have stopped by now, with a chance of {wording.in_100(chance)}{because}."
            maybe.append((lost, chance, where, Need("may-stop", lost, sentence, "See why", url)))
        elif told.go_by is not None and (told.go_by - today).days <= SOON_D:
            by = "today" if told.go_by <= today else f"by {wording.weekday_day(told.go_by, year=False)}"
            sentence = f"Go to {where} {by}: {_before(told)}."
            soon.append((told.go_by, where, Need("due", lost, sentence, "See why", url)))
    if len(maybe) > MANY:
        lost, chance, where, _ = max(maybe)
        sentence = (
            f"{len(maybe)} cameras may have stopped by now, "
            f"first of all {where} with a chance of {wording.in_100(chance)}."
        )
        needs.append(Need("may-stop", sum(one[0] for one in maybe), sentence, *_round()))
    else:
        needs += [one[-1] for one in maybe]
    if len(soon) > MANY:
        first = min(soon, key=lambda one: one[:2])[1]
        sentence = f"{len(soon)} cameras are due within a fortnight, first of all {first}."
        needs.append(Need("due", sum(one[-1].loss for one in soon), sentence, *_round()))
    else:
        needs += [one[-1] for one in soon]
    return needs


def not_reached(rows: Iterable[NotVisited], zone: str) -> list[Need]:
    """Stops that a round was to visit and did not, until somebody has been there."""
    needs = []
    for row in list(rows)[:MOST_EACH]:
        day = clock.local(row.at, zone).date()
        why = " ".join(row.why.split()).rstrip(".")[:160] or "no reason noted"
        sentence = f"{missed.what(row)} was not visited on {wording.day(day)}: {why}."
        needs.append(Need("not-visited", float(AHEAD_D), sentence, *_round()))
    return needs


def _before(told: Forecast) -> str:
    """Why a camera is due, in few words."""
    if told.early is None:
        return "faults and theft are reason enough"
    what = WOULD.get(told.cause, "it would stop")
    return f"from {wording.day(told.early, told.go_by)} on {what} with a chance of 1 in 10 or more"


def _round() -> tuple[str, str]:
    """The action for many cameras: to plan a round."""
    return "Plan a round", reverse("rounds:new")


def _silence_to_end(d: Deployment, seen: Summary) -> float:
    """Days of silence before the last card came home, when its own rhythm does not explain them; else 0."""
    if seen.known_to is None or seen.last_at is None:
        return 0.0
    for stretches in (seen.lost, seen.open):
        for begin, end, _ in stretches:
            days = (end - begin).total_seconds() / 86400
            if end >= seen.known_to - timedelta(hours=1) and days >= 3 and seen.sequences >= 10:
                usual = seen.sequences / max(seen.days_watched, 1.0)
                if usual * days >= 7:  # so many sequences would have been due; chance alone leaves none in 1 of 1100
                    return days
    return 0.0


def _full_in(
    d: Deployment, seen: Summary | None, visits: list[Visit], now: datetime, mean_bytes: float | None
) -> float | None:
    """Days until the card is full at the pace of the last pictures; below 0 for past. None when not known."""
    card = d.card
    if not seen or card is None or not card.size_gb or not seen.pictures or seen.days_watched < 7 or not mean_bytes:
        return None
    put_in = max((v.at for v in visits if v.card_in_id == d.card_id), default=d.start)
    a_day = seen.pictures * mean_bytes / seen.days_watched
    return card.size_gb * 1e9 / a_day - (now - put_in).total_seconds() / 86400


def cards_not_home(
    deployments: Iterable[Deployment],
    homes: Mapping[int, datetime],
    visits: Mapping[int, list[Visit]],
    now: datetime,
) -> list[Need]:
    """Cards that were taken out and not imported, and ended deployments of which nothing came."""
    needs = []
    waiting: dict[str, str] = {}
    for d in deployments:
        home = homes.get(d.pk)
        out = [v for v in visits.get(d.pk, ()) if v.card_out_id and (home is None or v.at > home)]
        if out:
            days = sum((b - a).total_seconds() for a, b in ((home or d.start, out[-1].at),)) / 86400
            labels = list(dict.fromkeys(str(v.card_out) for v in out))
            waiting.update(dict.fromkeys(labels, d.slug))
            cards = f"Card {labels[0]} was" if len(labels) == 1 else f"Cards {wording.listed(labels)} were"
            needs.append(
                Need(
                    "card",
                    0.6 * min(days, 365),
                    f"{cards} taken out at {d.site} "
                    f"{wording.ago((now - out[-1].at).total_seconds())} and {'is' if len(labels) == 1 else 'are'} "
                    f"not imported: {_span(days)} of pictures.",
                    "Import it",
                    reverse("cards:cards"),
                )
            )
        elif d.end is not None and home is None:
            days = (d.end - d.start).total_seconds() / 86400
            needs.append(
                Need(
                    "card",
                    0.6 * min(days, 365),
                    f"The deployment {d.slug} ended on {_date(d.end, d)} and no card of it is "
                    f"imported: {_span(days)} of pictures.",
                    "Import it",
                    reverse("cards:cards"),
                )
            )
    others = [
        label
        for label in Card.objects.filter(state=Card.State.HOME).values_list("label", flat=True)[:200]
        if label not in waiting
    ]
    if others:
        needs.append(
            Need(
                "card",
                20.0 + len(others),
                f"{wording.plural(len(others), 'card lies', 'cards lie')} at home, not imported: "
                f"{wording.listed_at_most(others, 6, 'more')}.",
                "Import",
                reverse("cards:cards"),
            )
        )
    return needs


def work_stuck() -> list[Need]:
    """Imports that are not finished, and jobs that failed."""
    needs = []
    states = Import.State
    for card_import in Import.objects.filter(state__in=[states.PAUSED, states.FAILED]).order_by("-started_at")[
        :MOST_EACH
    ]:
        needs.append(
            Need(
                "card_import",
                60.0,
                f"The import {card_import.name} is {card_import.get_state_display()}: "
                f"{wording.plural(card_import.files, 'file')} so far. "
                "What came over is kept.",
                "See it",
                reverse("cards:cards"),
                clay=card_import.state == states.FAILED,
            )
        )
    for job in Job.objects.filter(state=Job.State.FAILED).order_by("-id")[:5]:
        why = (job.error or "no reason noted").strip().splitlines()[0]
        needs.append(
            Need(
                "job",
                25.0,
                f"The work “{job.kind.replace('_', ' ')}” failed: {why[:160]}",
                "See it",
                reverse("cards:cards"),
                clay=True,
            )
        )
    return needs


def clocks_by_cards(waiting: Iterable[tuple[Import, int, Fault]], proposed: Container[int]) -> list[Need]:
    """Clocks that the times on a card show to be wrong; one line for a card, and none where a visit's reading tells it.

    waiting : see `clock_checks.waiting`. proposed : numbers of deployments with a proposal from a visit.
    """
    needs: dict[int, Need] = {}
    for card_import, _, fault in waiting:
        d = card_import.deployment
        if d is None or d.pk in proposed or card_import.pk in needs:
            continue
        needs[card_import.pk] = Need(
            "clock",
            15.0 + min((fault.last - fault.first + 1) / 20, 24),
            f"Times on the card of {_date(card_import.started_at, d)} from {d.camera} at {d.site} cannot be right; "
            "nothing that rests on them holds until somebody has looked."
            if fault.add_s is None or "stay" in fault.rests_on
            else f"By its pictures the clock of {d.camera} at {d.site} was wrong on the card of "
            f"{_date(card_import.started_at, d)}.",
            "See what is proposed",
            reverse("cards:card_import", args=[card_import.name]) + "#wrong",
            clay=True,
        )
    return list(needs.values())


def wrong_clocks(
    deployments: Iterable[Deployment], visits: Mapping[int, list[Visit]], sums: Mapping[int, Summary]
) -> dict[int, Need]:
    """Clocks that a visit found wrong, with pictures before it at home, of which no correction speaks; by deployment."""
    deployments = list(deployments)
    corrected: dict[int, list[ClockCorrection]] = {}
    standing = ClockCorrection.objects.filter(undone_at__isnull=True, deployment__in=[d.pk for d in deployments])
    for correction in standing:
        corrected.setdefault(correction.deployment_id, []).append(correction)
    needs: dict[int, Need] = {}
    for d in deployments:
        worst: tuple[float, Visit] | None = None
        seen = sums.get(d.pk)
        before = d.start
        for visit in visits.get(d.pk, ()):
            since, before = before, visit.at
            shown = visit.clock_shown
            error_s = clock.error_s(shown, visit.clock_true, d.utc_offset_min)
            if error_s is None or shown is None:
                continue
            if abs(error_s) < clocks.LEAST_S or visit.at <= d.start + timedelta(hours=1):
                continue
            if not seen or not any(since.date() <= day <= visit.at.date() for day, _, _ in seen.by_day):
                continue
            told = any(
                (c.from_raw is None or c.from_raw <= shown)
                and (c.to_raw is None or shown <= c.to_raw + timedelta(hours=1))
                for c in corrected.get(d.pk, ())
            )
            if not told and (worst is None or abs(error_s) > abs(worst[0])):
                worst = (error_s, visit)
        if worst:
            error_s, visit = worst
            needs[d.pk] = Need(
                "clock",
                15.0 + min(abs(error_s) / 3600, 24),
                f"The clock of {d.camera} at {d.site} was {wording.clock_error(error_s)} on "
                f"{_date(visit.at, d)}, and its pictures "
                "are not corrected.",
                "Look first",
                reverse("cameras:clock_new", args=[d.slug]) + f"?visit={visit.pk}",
                clay=True,
                at_once=reverse("cameras:clock_by_visit", args=[d.slug, visit.pk]),
            )
    return needs


def unseen_sequences(zone: str) -> list[Need]:
    """Sequences nobody has looked at."""
    kept = rollups.total(Deployment.objects.all(), zone, "unreviewed")
    n = kept["unreviewed"] if kept else Sequence.objects.filter(identification__isnull=True, time_lapse=False).count()
    if not n:
        return []
    return [
        Need(
            "unseen",
            12.0 + min(n / 200, 60),
            f"{wording.plural(n, 'sequence')} nobody has looked at.",
            "Review",
            reverse("review:review"),
        )
    ]


def lapse_gaps(deployments: Iterable[Deployment], sums: Mapping[int, Summary]) -> list[Need]:
    """Cameras whose daily frame is missing on some days."""
    needs = []
    for d in deployments:
        seen = sums.get(d.pk)
        if not d.time_lapse_h or not seen:
            continue
        days = sum((b - a).total_seconds() for a, b, why in seen.lost if why == NO_FRAME) / 86400
        if days >= 1:
            needs.append(
                Need(
                    "gap",
                    3.0 + days * 0.2,
                    f"{d.camera} at {d.site} made no time-lapse frame on {wording.plural(round(days), 'day')}: "
                    f"{'it does' if round(days) == 1 else 'they do'} not count as effort.",
                    "See its story",
                    d.get_absolute_url(),
                )
            )
    return needs


def empty_sites(reserve: Reserve | None) -> list[Need]:
    """Sites without a camera."""
    if reserve is None:
        return []
    standing = Deployment.objects.filter(site=OuterRef("pk"), end__isnull=True)
    empty = list(Site.objects.filter(~Exists(standing), reserve=reserve, retired=False).order_by("name")[:200])
    if not empty:
        return []
    if len(empty) == 1:
        url = reverse("cameras:deployment_new") + "?" + urlencode({"site": empty[0].slug})
        return [Need("empty", 8.0, f"No camera stands at {empty[0]}.", "Set one", url)]
    names = wording.listed_at_most([str(site) for site in empty], 5, "more")
    return [
        Need(
            "empty",
            8.0 + len(empty),
            f"No camera stands at {len(empty)} sites: {names}.",
            "Set one",
            reverse("cameras:deployment_new"),
        )
    ]


def short_questions() -> list[Need]:
    """Kept questions whose last finding says that the evidence does not reach."""
    needs = []
    latest: dict[int, Finding] = {}
    for finding in Finding.objects.select_related("question").order_by("question", "-at")[:500]:
        latest.setdefault(finding.question_id, finding)
    for finding in latest.values():
        result = finding.result if isinstance(finding.result, dict) else {}
        need = result.get("need") or result.get("refused")
        if need:
            needs.append(
                Need(
                    "question",
                    5.0,
                    f"“{finding.question}” cannot be answered yet: {need}.",
                    "See the question",
                    reverse("questions:questions"),
                )
            )
    return needs


def unnamed_species() -> list[Need]:
    """Species that were put on the list where somebody named them, without a scientific name."""
    rows = taxa.without_scientific_name()
    if not rows:
        return []
    names = wording.listed_at_most([row.name for row in rows], noun="more")
    return [
        Need(
            "species",
            1.0,
            f"{names}: no scientific name yet.",
            "Write it down",
            reverse("people:species_edit", args=[rows[0].slug]) if len(rows) == 1 else reverse("people:species"),
        )
    ]


def in_order(needs: Iterable[Need]) -> list[Need]:
    """Worst expected loss first; what is alike by its sentence."""
    return sorted(needs, key=lambda need: (-need.loss, need.sentence))
