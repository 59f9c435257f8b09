"""Where does a card come from: the cases the weights were set by."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pulled

from trod.archive.card import scan
from trod.catalogue.imports import propose
from trod.catalogue.models import Card, Deployment, Visit

NOW = datetime(2026, 6, 30, 18, tzinfo=UTC)


def look(card: pulled.Pulled) -> propose.Proposal:
    return propose.propose(scan(card.folder, inside=False), now=NOW)


def swap(small: Any, deployment: Deployment, label: str) -> Card:
    card = Card.objects.create(label=label, state=Card.State.HOME)
    Visit.objects.create(
        site=deployment.site, deployment=deployment, at=datetime(2026, 6, 29, 9, tzinfo=UTC), card_out=card
    )
    return card


def test_a_serial_in_the_pictures_and_fitting_dates_are_sure(small: Any) -> None:
    card = small.card("NO NAME")
    card.bursts(pulled.days(4))
    found = look(card)
    assert found.sure and found.best.deployment == small.alder
    assert found.sentence == "From Alder Track, camera ESK 01."
    assert found.best.reasons == (
        "All 12 pictures looked at bear its camera's serial, INV-001.",
        "The pictures' dates, 1 to 4 May 2026, lie within its time.",
    )


def test_without_serial_and_label_nothing_is_sure(small: Any) -> None:
    card = small.card("NO NAME", serial="")
    card.bursts(pulled.days(4))
    found = look(card)
    assert not found.sure and {c.deployment for c in found.candidates} == {small.alder, small.lick}
    assert found.sentence.endswith("please say which.")


def test_the_cards_label_is_enough_where_the_camera_writes_no_serial(small: Any) -> None:
    label = swap(small, small.lick, "ESK-02-B")
    card = small.card("ESK-02-B", serial="")
    card.bursts(pulled.days(4))
    found = look(card)
    assert found.sure and found.best.deployment == small.lick and found.best.card == label
    assert any("which was taken out there on 29 Jun 2026" in reason for reason in found.best.reasons)


def test_a_label_that_contradicts_the_serial_is_asked_about(small: Any) -> None:
    swap(small, small.lick, "ESK-02-B")
    card = small.card("ESK-02-B", serial="INV-001")
    card.bursts(pulled.days(4))
    found = look(card)
    assert not found.sure
    assert any(c.against for c in found.candidates)


def test_dates_from_a_wrong_clock_are_asked_about_unless_the_label_agrees(small: Any) -> None:
    card = small.card("NO NAME")
    card.bursts(pulled.days(4, datetime(2019, 1, 1)))
    found = look(card)
    assert found.best.deployment == small.alder and not found.sure
    assert found.best.against == ("The pictures' dates, 1 to 4 Jan 2019, lie outside its time.",)


def test_of_one_cameras_deployments_the_dates_choose(small: Any) -> None:
    small.alder.end = datetime(2026, 5, 20, tzinfo=UTC)
    small.alder.save()
    Deployment.objects.create(
        slug="lick-by-one",
        camera=small.alder.camera,
        site=small.lick.site,
        start=datetime(2026, 5, 25, tzinfo=UTC),
    )
    card = small.card("NO NAME")
    card.bursts(pulled.days(4, datetime(2026, 6, 1, 6)))
    found = look(card)
    assert found.best.deployment.slug == "lick-by-one" and found.sure


def test_files_of_several_cameras_are_counted_and_told(small: Any) -> None:
    card = small.card("NO NAME")
    card.bursts(pulled.days(5))
    card.shoot(pulled.FIRST + timedelta(days=9), serial="STRANGER-9")
    found = look(card)
    assert found.foreign == 1
    assert any("15 bear the serial INV-001, 1 another (STRANGER-9)" in note for note in found.notes)


def test_another_kind_of_camera_contradicts(small: Any) -> None:
    card = small.card("NO NAME", serial="", more={"make": "Hobkindle", "model": "Gill 8"})
    card.bursts(pulled.days(4))
    found = look(card)
    assert found.candidates == ()
    assert found.sentence == "No deployment is known that these pictures could come from."


def test_the_folder_above_dcim_gives_the_label_wherever_one_points(small: Any) -> None:
    folder = small.work / "ESK-09-C" / "DCIM" / "100TARNB"
    for place in (folder, folder.parent, folder.parent.parent):
        assert propose.label_of(place) == "ESK-09-C"


def test_a_proposal_reads_only_a_sample_of_a_big_card(small: Any) -> None:
    card = small.card("NO NAME")
    card.bursts(pulled.days(60))
    assert look(card).marks.sampled == propose.SAMPLE
