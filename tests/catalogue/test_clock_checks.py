"""What a card's times show of its clock, from real files to a correction that effort and Today follow."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from django.test import Client

from trod import sky
from trod.catalogue.imports import clock_checks
from trod.catalogue.models import Card, ClockCorrection, Import, Picture, Visit

HUNG = datetime(2026, 4, 1, 9, 0)
FETCHED = datetime(2026, 6, 20, 16, 0)
PLACE = {"latitude_deg": 47.0, "longitude_deg": 13.0}
OFFSET = timedelta(hours=1)


def instant(clock: datetime) -> datetime:
    """The moment at which a right clock of this deployment shows that."""
    return (clock - OFFSET).replace(tzinfo=UTC)


def season(seed: int = 5, many: int = 110) -> list[tuple[datetime, bool]]:
    """Times on a right clock with their light; the technician first and last."""
    rng = np.random.default_rng(seed)
    span = (FETCHED - HUNG).total_seconds()
    at = np.sort(rng.uniform(86_400, span - 86_400, 8 * many))
    utc = at + instant(HUNG).timestamp()
    height = sky.sun_position(utc, **PLACE)[0]
    keep = np.flatnonzero(rng.random(len(at)) < np.where(np.abs(height + 3) < 8, 0.35, 0.04))
    lit = [(HUNG + timedelta(seconds=float(at[k])), bool(height[k] < -4)) for k in keep]
    return [(HUNG + timedelta(minutes=2), False), *lit, (FETCHED - timedelta(minutes=3), False)]


@pytest.fixture
def hung(small: Any) -> Any:
    """One camera from set-up to the visit that took its card."""
    site = small.alder.site
    site.latitude, site.longitude = PLACE["latitude_deg"], PLACE["longitude_deg"]
    site.save()
    small.alder.start = instant(HUNG)
    small.alder.utc_offset_min = 60
    small.alder.save()
    card = Card.objects.create(label="ESK-01-A", size_gb=32)
    Visit.objects.create(site=site, deployment=small.alder, at=instant(FETCHED), by="Suri", card_out=card)
    return small


def card_of(small: Any, take: Any, shifts: list[timedelta]) -> Import:
    """A card with these errors of the clock, picture by picture."""
    card = small.card()
    for (at, grey), wrong in zip(season(), shifts, strict=True):
        card.shoot(at + wrong, grey=grey)
    take(card.folder, small.alder, now=instant(FETCHED) + timedelta(days=1), card=Card.objects.get())
    return Import.objects.get()


def halves(later: timedelta) -> list[timedelta]:
    many = len(season())
    return [timedelta(0) if k < many // 2 else later for k in range(many)]


def test_a_right_clock_leaves_no_fault(hung: Any, take: Any) -> None:
    row = card_of(hung, take, halves(timedelta(0)))
    assert clock_checks.look(row) == ()
    assert Import.objects.get().clock_faults["faults"] == []


@pytest.mark.parametrize(
    ("later", "kind"), [(timedelta(days=540), "set elsewhere"), (-timedelta(days=1700), "set elsewhere")]
)
def test_a_clock_that_leapt_or_fell_back_is_put_right_with_one_press_and_undone_with_one(
    hung: Any, take: Any, later: timedelta, kind: str
) -> None:
    row = card_of(hung, take, halves(later))
    client = Client()
    ((number, fault),) = clock_checks.open_faults(row, clock_checks.look(row))
    assert fault.kind == kind and fault.add_s is not None
    page = client.get(f"/cards/import/{row.name}/").content.decode()
    assert "put elsewhere while the camera hung there" in page and "Correct the clock so" in page
    today = client.get("/").content.decode()
    assert "cannot be right" in today
    assert "probably dead or full" not in today

    client.post(f"/cards/import/{row.name}/clock/{number}/", {"how": "proposed"})

    true = [instant(at) for at, _ in season()]
    found = list(Picture.objects.order_by("file_order").values_list("taken_at", flat=True))
    assert max(abs((a - b).total_seconds()) for a, b in zip(found, true, strict=True)) < 25 * 60
    assert clock_checks.open_faults(row, clock_checks.look(row)) == []
    assert "cannot be right" not in client.get("/").content.decode()
    made = ClockCorrection.objects.get()
    client.post(f"/cameras/clock/{made.pk}/undo/")
    assert len(clock_checks.open_faults(row, clock_checks.look(row))) == 1


def test_a_card_that_is_looked_at_by_itself_is_not_worked_out_twice_and_a_moved_visit_leads_to_a_new_look(
    hung: Any, take: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = card_of(hung, take, halves(timedelta(0)))
    clock_checks.look(row)
    with monkeypatch.context() as patch:
        patch.setattr(clock_checks.faults, "faults", lambda *a, **k: pytest.fail("worked out twice"))
        assert clock_checks.look(Import.objects.get()) == ()
    Visit.objects.update(at=instant(HUNG) + timedelta(days=20))
    (fault,) = clock_checks.look(Import.objects.get())
    assert fault.add_s is None


def test_a_person_who_looked_may_say_that_the_clock_was_right(hung: Any, take: Any) -> None:
    row = card_of(hung, take, [timedelta(days=100, hours=7)] * len(season()))
    ((number, _),) = clock_checks.open_faults(row, clock_checks.look(row))
    Client().post(f"/cards/import/{row.name}/clock/{number}/", {"how": "right"})
    assert clock_checks.open_faults(row, clock_checks.look(row)) == []
    made = ClockCorrection.objects.get()
    assert (made.shift_s, made.reason) == (0.0, "The clock was right; somebody looked")


def test_an_answer_that_is_none_changes_nothing(hung: Any, take: Any) -> None:
    row = card_of(hung, take, halves(timedelta(days=540)))
    for how in ("", "7", "maybe"):
        Client().post(f"/cards/import/{row.name}/clock/0/", {"how": how})
    Client().post(f"/cards/import/{row.name}/clock/9/", {"how": "proposed"})
    assert not ClockCorrection.objects.exists()


def test_the_command_lists_and_corrects(hung: Any, take: Any) -> None:
    from trod.commands import main

    row = card_of(hung, take, [timedelta(days=-365)] * len(season()))
    (hung.home / "catalogue.sqlite3").touch()
    told = json.loads(CliRunner().invoke(main, ["clock", "--json"]).stdout)
    assert [(f["kind"], f["number"], f["pictures"]) for f in told["faults"]] == [("wrong year", 0, len(season()))]
    assert "another year" in told["faults"][0]["sentence"]
    done = json.loads(CliRunner().invoke(main, ["clock", row.name, "--correct", "0", "--json"]).stdout)
    assert done == {"faults": [], "corrected": len(season())}
    assert Picture.objects.order_by("file_order").first().taken_at == instant(HUNG) + timedelta(minutes=2)
    assert CliRunner().invoke(main, ["clock", row.name, "--correct", "0"]).exit_code == 3
    assert CliRunner().invoke(main, ["clock", "--correct", "0"]).exit_code == 2
