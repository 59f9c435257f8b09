"""A figure that is told in two places is the same figure: every page and command of an invented reserve is read.

What bears the same meaning (`data-figure`, or a field of --json) is compared.
"""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from datetime import timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from trod.commands import main

pytestmark = [pytest.mark.django_db, pytest.mark.long]
EACH = 2  # addresses of one kind that are opened beside those of the chosen cameras
MARK = re.compile(r'data-figure="([^"]+)" data-value="([^"]*)"')


class Figures:
    """Every figure with its meaning, its value as told, and where."""

    def __init__(self) -> None:
        self.told: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))

    def add(self, meaning: str, value: object, where: str) -> None:
        self.told[meaning]["" if value is None else str(value)].append(where)

    def read(self, html: str, where: str) -> None:
        for meaning, value in MARK.findall(html):
            self.add(unescape(meaning), unescape(value), where)

    def places(self, meaning: str) -> int:
        return sum(len(where) for where in self.told[meaning].values())

    def differing(self) -> list[str]:
        return [
            f"{meaning}: " + "; ".join(f"{value!r} on {where[0]}" for value, where in values.items())
            for meaning, values in sorted(self.told.items())
            if len(values) > 1
        ]


@pytest.fixture
def chosen(trod_home: Path, filler: Any, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Three standing cameras of the invented reserve, whose pages are all opened; forecasts are made and kept."""
    from trod.catalogue import models as m
    from trod.catalogue.answers import answers, evidence
    from trod.catalogue.forecasts import forecasts

    monkeypatch.setattr("trod.commands.power._has_catalogue", lambda: True)  # the tests' own lies elsewhere
    evidence.forget()
    answers.forget()
    filler.fill(300, now=timezone.now().date())
    reserve = m.Reserve.objects.get()
    reserve.base_latitude, reserve.base_longitude = reserve.latitude, reserve.longitude
    reserve.save()
    forecasts.make(reserve, timezone.now())
    standing = m.Deployment.objects.filter(end__isnull=True, site__retired=False).select_related("site", "camera")
    found = list(standing.order_by("slug")[:3])
    work_out(found)
    return found


def work_out(chosen: list[Any]) -> None:
    """What the worker does for the page of how long each of them lasts."""
    from trod.catalogue.forecasts import forecasts, lasting

    for one in chosen:
        lasting.do_job(lasting.args_of(one, forecasts.UNTYPED, lasting.Change()), timezone.now())


def pages(client: Any, first: list[str], found: Figures) -> Counter[str]:
    """Open the first addresses, and by every link a few of each kind."""
    seen: set[str] = set()
    kinds: Counter[str] = Counter()
    todo = [*first, "/"]
    while todo:
        address = todo.pop(0)
        try:
            kind = resolve(address.partition("?")[0]).view_name
        except Resolver404:
            continue
        if address in seen or (address not in first and kinds[kind] >= EACH):
            continue
        seen.add(address)
        kinds[kind] += address not in first
        answer = client.get(address)
        if answer.status_code == 302:
            todo.insert(0, answer["Location"])
        elif answer.get("Content-Type", "").startswith("text/html") and not answer.streaming:
            html = answer.content.decode()
            if "?" not in address or kind == "rounds:rounds":  # what is typed into an address is a question of its own
                found.read(html, address)
            todo += [unescape(link) for link in dict.fromkeys(re.findall(r'href="(/[^"#]*)', html))]
    return kinds


def trod(*words: str) -> Any:
    done = CliRunner(env={"COLUMNS": "200"}).invoke(main, list(words))
    assert done.exit_code == 0, done.output
    return json.loads(done.output)


def commands(chosen: list[Any], found: Figures) -> None:
    """The same figures as the commands tell them."""
    for words in ((), *(("--site", d.site.slug) for d in chosen)):
        for one in trod("power", *words, "--json")["cameras"]:
            where = " ".join(("trod power", *words))
            found.add(f"go-by:{one['deployment']}", one["go_by"], where)
            found.add(f"early:{one['deployment']}", one["early"], where)
            found.add(f"stopped-now:{one['deployment']}", round(100 * one["chance_stopped_now"]), where)
            (worth,) = (a["value"] for a in one["assumed"] if a["what"] == "Worth of a camera-day")
            found.add("camera-day:reserve", worth.split()[0], where)
    alone = {d.site.slug: d.slug for d in chosen if d.site.deployments.filter(end__isnull=True).count() == 1}
    for one in trod("rounds", "--json")["due"]:
        if one["key"] in alone:
            found.add(f"go-by:{alone[one['key']]}", one["go_by"], "trod rounds")
            found.add(f"stopped-now:{alone[one['key']]}", round(100 * one["chance"]), "trod rounds")


def kept_round() -> str:
    from trod.catalogue import models as m
    from trod.catalogue.rounds import rounds
    from trod.catalogue.rounds.wishes import Wish

    reserve, now = m.Reserve.objects.get(), timezone.now()
    wish = Wish(name="All", first=(now + timedelta(days=1)).date(), which="all")
    return rounds.keep(reserve, wish, rounds.plan(reserve, wish, now), by="Ada", now=now).get_absolute_url()


@pytest.mark.parametrize("worth", [None, 40.0])
def test_a_figure_told_in_two_places_is_one_figure(client: Any, chosen: list[Any], worth: float | None) -> None:
    from trod.catalogue import models as m
    from trod.catalogue.forecasts import forecasts

    reserve = m.Reserve.objects.get()
    if worth is not None:
        reserve.camera_day_min = worth
        reserve.save()
        forecasts.make(reserve, timezone.now())
        work_out(chosen)
    found = Figures()
    first = [kept_round(), reverse("rounds:rounds")]
    for d in chosen:
        first += [d.get_absolute_url(), reverse("cameras:power", args=[d.slug])]
        first += [reverse("map:settings", args=[d.site.slug]), reverse("planner:planner", args=[d.site.slug])]
    kinds = pages(client, first, found)
    commands(chosen, found)

    assert found.differing() == []
    assert len(kinds) > 50
    # Each is told in several places, else there was nothing to compare.
    for d in chosen:
        assert found.places(f"go-by:{d.slug}") >= 5, d.slug
        assert found.places(f"a-day:{d.site.slug}") >= 2
        assert found.places(f"stopped-now:{d.slug}") >= 3
    assert found.places("camera-day:reserve") >= 6
    assert set(found.told["camera-day:reserve"]) == {f"{worth or 15:g}"}


def test_two_pages_that_differ_are_found() -> None:
    found = Figures()
    found.read('<b data-figure="go-by:a" data-value="2026-01-02">2 January</b>', "/one/")
    found.read('<b data-figure="go-by:a" data-value="2026-01-03">3 January</b>', "/other/")
    assert found.differing() == ["go-by:a: '2026-01-02' on /one/; '2026-01-03' on /other/"]
