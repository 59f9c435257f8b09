"""Daily sums agree with a fresh count, whatever came in, was said, taken back, corrected, moved or rebuilt."""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pulled
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from trod.catalogue.answers import evidence, summary
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.imports import clocks, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import (
    ClockCorrection,
    DaySum,
    Deployment,
    DeploymentSum,
    Identification,
    Import,
    Observation,
    Reserve,
    Sequence,
    Species,
    Visit,
)  # fmt: skip
from trod.catalogue.models.sums import COUNTS
from trod.catalogue.papers import ledger
from trod.catalogue.rows import rollups, usual
from trod.catalogue.work import rebuild
from trod.web.map.pages import came_by_month
from trod.web.review.queue import Queue
from trod.web.today import needs

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
SAID = (
    [Line(what="blank")],
    [Line(what="human")],
    [Line(what="unknown")],
    [Line(what="animal", species="red-deer", count=2), Line(what="animal", species="red-deer", count=3)],
    [Line(what="animal", species="red-fox"), Line(what="animal", species="red-deer")],
    [Line(what="animal", count=7)],
)  # fmt: skip
ACTS = ("import", "say", "say", "say", "undo", "redo", "clock", "clock back", "move", "visit", "settings", "zone")


def fresh() -> dict[tuple[str, Any], dict[str, Any]]:
    """The days of every deployment, counted one sequence after the other."""
    days: dict[tuple[str, Any], dict[str, Any]] = {}
    for e in Sequence.objects.select_related("deployment__site__reserve"):
        here = ZoneInfo(e.deployment.site.reserve.zone)
        day = days.setdefault(
            (e.deployment.slug, e.start_at.astimezone(here).date()),
            {**dict.fromkeys(COUNTS, 0), "species": {}, "most": 0},
        )
        said = list(Observation.objects.filter(identification=e.identification_id)) if e.identification_id else []
        day["pictures"] += e.frames
        if not e.time_lapse:
            kind = {True: "dark", False: "light"}.get(e.infrared)
            day["sequences"] += 1
            day["frames"] += e.frames
            if kind:
                day[kind] += 1
            if e.identification_id is None:
                day["unreviewed"] += 1
                if kind:
                    day[f"unreviewed_{kind}"] += 1
            else:
                day["identified"] += 1
                day["blanks"] += any(s.what == "blank" for s in said)
        together: Counter[Any] = Counter()
        for s in said:
            if s.what == "animal":
                together[s.species and s.species.slug] += s.count
        for slug, n in together.items():
            day["most"] = max(day["most"], n)
            if slug:
                sequences, most = day["species"].get(slug, (0, 0))
                day["species"][slug] = (sequences + 1, max(most, n))
    return days


def kept() -> dict[tuple[str, Any], dict[str, Any]]:
    """The days that are kept."""
    slugs = dict(Species.objects.values_list("pk", "slug"))
    return {
        (d.deployment.slug, d.day): {
            **{name: getattr(d, name) for name in COUNTS},
            "species": {slugs[int(k)]: tuple(v) for k, v in d.species.items()},
            "most": d.most,
        }
        for d in DaySum.objects.select_related("deployment")
    }


def forget() -> None:
    evidence.forget()
    summary._known.clear()


def shown() -> Any:
    """What pages and questions take from the sums."""
    reserve = Reserve.objects.get()
    every = list(Deployment.objects.order_by("slug"))
    account = evidence.gather(reserve)
    site = every[0].site
    zone = reserve.zone_info
    queues = [
        Queue(zone=zone),
        Queue(zone=zone, which="all", site=site),
        Queue(zone=zone, deployment=every[1], light="night"),
        Queue(zone=zone, light="day", first_day=pulled.FIRST.date() + timedelta(days=2)),
    ]
    return (
        summary.summaries(every, reserve),
        account.evidence,
        {slug: (p.line, p.known_to_s, p.sequences) for slug, p in account.pieces.items()},
        [q.counts("Ilka Marwood") for q in queues],
        [(n.kind, n.sentence) for n in needs.unseen_sequences(reserve.zone)],
        (usual.animal(site), usual.herd(site), came_by_month(site)),
        [
            (d.day, d.species, *(getattr(d, n) for n in COUNTS))
            for d in rollups.days(Deployment.objects.all(), reserve.zone)
        ],
    )


def check() -> None:
    """All that is kept agrees with a fresh count, and what is shown from it with what is shown without it."""
    zone = Reserve.objects.get().zone
    counted = fresh()
    assert kept() == counted
    sums: dict[str, Counter[str]] = defaultdict(Counter)
    for (slug, _), day in counted.items():
        for name in COUNTS:
            sums[slug][name] += day[name]
    trusted = DeploymentSum.objects.filter(rollups.trusted(zone)).select_related("deployment")
    assert len(trusted) == Deployment.objects.count()
    for row in trusted:
        assert {name: getattr(row, name) for name in COUNTS} == {
            name: sums[row.deployment.slug][name] for name in COUNTS
        }
    for card_import in Import.objects.all():  # as the page of a deployment tells it
        assert card_import.pictures.count() == card_import.new - card_import.kept_files.count()
    warm = shown()
    forget()
    assert shown() == warm
    held = list(DeploymentSum.objects.all())
    DeploymentSum.objects.update(dirty=True)
    forget()
    assert shown() == warm
    for row in held:
        row.save()
    forget()


class Life:
    """Acts by chance upon a small reserve, through the doors that pages and commands use."""

    def __init__(self, seed: int, small: Any, take: Any) -> None:
        self.chance, self.small, self.take = random.Random(seed), small, take
        self.deployments = [small.alder, small.lick]
        self.now, self.cards = NOON, 0

    def do(self, act: str) -> None:
        self.now += timedelta(minutes=7)
        getattr(self, act.replace(" ", "_") if act != "import" else "bring")()

    def bring(self) -> None:
        self.cards += 1
        card = self.small.card(f"C{self.cards}", number=1 + 500 * self.cards, serial="")
        at = [pulled.FIRST + timedelta(minutes=self.chance.randrange(60 * 24 * 6)) for _ in range(6)]
        card.bursts(sorted(at), frames=self.chance.choice((1, 2, 3)))
        where = self.chance.choice([*self.deployments, None])
        self.take(card.folder, where, now=self.now)

    def say(self) -> None:
        found = list(Sequence.objects.order_by("pk"))
        if found:
            identifications.say(self.chance.choice(found), self.chance.choice(SAID), by="Ilka Marwood", at=self.now)

    def undo(self) -> None:
        identifications.undo(by="Ilka Marwood", at=self.now)

    def redo(self) -> None:
        identifications.redo(by="Ilka Marwood", at=self.now)

    def clock(self) -> None:
        clocks.correct(
            self.chance.choice(self.deployments),
            shift_s=self.chance.choice((-86_400, -3000, 40_000)),
            reason="read at the visit", by="Ilka Marwood", now=self.now,
            from_raw=pulled.FIRST + timedelta(days=self.chance.randrange(4)),
        )  # fmt: skip

    def clock_back(self) -> None:
        made = ClockCorrection.objects.filter(undone_at__isnull=True).order_by("-at").first()
        if made is not None:
            clocks.undo(made, by="Ilka Marwood", now=self.now)

    def move(self) -> None:
        rows = list(Import.objects.order_by("pk"))
        if rows:
            where = self.chance.choice([*self.deployments, None])
            moving.move(self.chance.choice(rows), where, line=Silent(), now=self.now, by="Ilka Marwood")

    def visit(self) -> None:
        one = self.chance.choice(self.deployments)
        Visit.objects.create(
            site=one.site, deployment=one, at=one.start + timedelta(days=self.chance.randrange(70)),
            arrival=self.chance.choice(("working", "dead", "unknown")),
        )  # fmt: skip

    def settings(self) -> None:
        one = self.chance.choice(self.deployments)
        one.time_lapse_h = self.chance.choice((None, 24))
        one.save()
        clocks.follow(one, Silent())

    def zone(self) -> None:
        Reserve.objects.update(zone=self.chance.choice(("Europe/Vienna", "Asia/Tokyo", "UTC")))
        for one in self.deployments:
            one.refresh_from_db()
        rollups.look_round()  # the worker comes by


@pytest.mark.parametrize("seed", range(5))
def test_after_any_acts_what_is_kept_agrees_with_a_fresh_count(small: Any, take: Any, seed: int) -> None:
    life = Life(seed, small, take)
    life.do("import")
    for _ in range(14):
        act = life.chance.choice(ACTS)
        life.do(act)
        check()
    rollups.look_round()
    check()
    before = kept()
    for one in life.deployments:
        ledger.write_sidecar(one)  # otherwise written at the end of the transaction, which a test does not reach
    ledger.write_ledger()
    rebuild.empty_all()
    forget()
    rebuild.rebuild(Silent(), workers=1)
    assert kept() == before
    check()


def test_sequences_changed_behind_the_sums_are_counted_afresh_until_the_worker_comes(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(5))
    take(card.folder, small.alder)
    rollups.look_round()  # the other deployment, of which nothing came
    zone = Reserve.objects.get().zone
    assert set(rollups.kept([small.alder.pk], zone)) == {small.alder.pk}
    shown()
    for change in (
        lambda: Sequence.objects.filter(deployment=small.alder).update(time_lapse=True),
        lambda: Sequence.objects.order_by("pk").first().delete(),
        lambda: Sequence.objects.filter(pk=Sequence.objects.order_by("pk").first().pk).delete(),
        lambda: Sequence.objects.create(key="by hand", deployment=small.alder, start_at=NOON, end_at=NOON),
        lambda: Sequence.objects.bulk_create([Sequence(key="b", deployment=small.alder, start_at=NOON, end_at=NOON)]),
        lambda: Sequence.objects.bulk_update(
            [Sequence(pk=e.pk, infrared=True) for e in Sequence.objects.all()], ["infrared"]
        ),
    ):
        change()
        assert not rollups.kept([small.alder.pk], zone)
        assert summary.summaries([small.alder], Reserve.objects.get())[small.alder.pk].pictures == sum(
            Sequence.objects.values_list("frames", flat=True)
        )
        assert rollups.look_round() == 1
        check()
    assert rollups.look_round() == 0


def test_a_deployment_never_summed_is_counted_afresh_and_then_summed(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(5))
    take(card.folder, small.alder)
    before = shown()
    DeploymentSum.objects.all().delete()
    DaySum.objects.all().delete()
    forget()
    assert shown() == before
    assert rollups.look_round() == 2
    check()


def test_an_identification_sums_up_its_own_day_alone(small: Any, take: Any) -> None:
    """What it costs does not grow with the deployment."""
    card = small.card()
    card.bursts(pulled.days(8))
    take(card.folder, small.alder)
    sequence = Sequence.objects.order_by("start_at").first()
    day = sequence.start_at.astimezone(ZoneInfo("Europe/Vienna")).date()
    others = set(DaySum.objects.exclude(day=day).values_list("pk"))
    with CaptureQueriesContext(connection) as queries:
        identifications.say(sequence, SAID[0], by="Ilka Marwood", at=NOON)
    assert others <= set(DaySum.objects.values_list("pk"))
    reads = [q["sql"] for q in queries if "trod_sequence" in q["sql"] and "julianday" in q["sql"]]
    assert all('start_at" <' in sql for sql in reads)
    assert Identification.objects.count() == 1
    check()


def test_pages_count_no_sequences_where_sums_are_kept(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(5))
    take(card.folder, small.alder)
    rollups.look_round()
    shown()
    reserve, every = Reserve.objects.get(), list(Deployment.objects.all())
    summary._known.clear()
    with CaptureQueriesContext(connection) as queries:
        summary.summaries(every, reserve)
        Queue(zone=reserve.zone_info).counts("Ilka Marwood")
        needs.unseen_sequences(reserve.zone)
        usual.animal(small.alder.site)
        usual.herd(small.alder.site)
        came_by_month(small.alder.site)
        evidence.gather(reserve)  # held in memory
    assert not [q["sql"] for q in queries if "trod_sequence" in q["sql"] or "trod_picture" in q["sql"]]


def test_a_sequence_given_to_another_deployment_leaves_neither_sum_trusted(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    take(card.folder, small.alder)
    rollups.look_round()
    Sequence.objects.filter(pk=Sequence.objects.order_by("pk").first().pk).update(deployment=small.lick)
    assert not rollups.kept([small.alder.pk, small.lick.pk], Reserve.objects.get().zone)
    assert rollups.look_round() == 2
    check()
