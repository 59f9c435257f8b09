"""Animals, people and a vehicle, posed: one way in for all kinds."""

from __future__ import annotations

from trod_demo.bodies import Actor, Body
from trod_demo.others import jay, person, vehicle
from trod_demo.quadrupeds import antler_state, coat_season, quadruped

__all__ = ["Actor", "Body", "antler_state", "body_of", "coat_season"]


def body_of(actor: Actor) -> Body:
    """The posed body of an animal, person or vehicle, in metres, in its own axes."""
    if actor.kind == "person":
        return person(actor)
    if actor.kind == "vehicle":
        return vehicle(actor)
    if actor.kind == "jay":
        return jay(actor)
    return quadruped(actor)
