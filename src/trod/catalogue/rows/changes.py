"""What follows from a change of a deployment or a visit for the camera's and the cards' states.

Each in one transaction.
"""

from __future__ import annotations

from django.db import transaction

from trod.catalogue.models import Camera, Card, Deployment, Visit


def _set(row: Camera | Card | None, state: str) -> None:
    if row is not None and row.state != state:
        row.state = state
        row.save(update_fields=["state"])


@transaction.atomic
def follow_deployment(deployment: Deployment) -> None:
    """A standing deployment has its camera and card out; an ended one leaves the camera ready."""
    camera = deployment.camera
    if deployment.end is None:
        _set(camera, Camera.State.OUT)
        _set(deployment.card, Card.State.OUT)
    elif camera.state == Camera.State.OUT and not camera.deployments.filter(end__isnull=True).exists():
        _set(camera, Camera.State.READY)


@transaction.atomic
def follow_visit(visit: Visit) -> None:
    """A card taken out lies at home until it is imported; one put in is out.

    A camera that is gone is lost.
    """
    deployment = visit.deployment
    if visit.card_out is not None and visit.card_out.state == Card.State.OUT:
        _set(visit.card_out, Card.State.HOME)
    later = deployment is not None and deployment.visits.filter(at__gt=visit.at, card_in__isnull=False).exists()
    if deployment is None or later:
        return
    if visit.card_in is not None and deployment.end is None:
        _set(visit.card_in, Card.State.OUT)
        if deployment.card_id != visit.card_in_id:
            deployment.card = visit.card_in
            deployment.save(update_fields=["card"])


@transaction.atomic
def end(deployment: Deployment, *, arrival: str, card_home: bool, by: str, note: str) -> Visit:
    """End a deployment (its `end` is set already) with a visit that says so."""
    assert deployment.end is not None
    deployment.save()
    card = deployment.card if card_home else None
    visit = Visit.objects.create(
        site=deployment.site,
        deployment=deployment,
        at=deployment.end,
        by=by,
        arrival=arrival,
        card_out=card,
        work="retrieved",
        note=note,
    )
    if card is not None:
        _set(card, Card.State.HOME)
    camera = deployment.camera
    if arrival == Visit.Arrival.GONE:
        _set(camera, Camera.State.LOST)
    elif camera.state == Camera.State.OUT:
        _set(camera, Camera.State.READY)
    return visit
