"""What a visit changes beside its own row: cards, the deployment's settings, a new deployment, locks, walk tests.

All of it happens in the transaction that keeps the visit, so that the files beside the pictures are written once.
"""

from __future__ import annotations

from collections import abc
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import models

from trod import clock
from trod.catalogue.models import Card, Deployment, Lock, Sequence, Visit, WalkTest
from trod.catalogue.rows import changes
from trod.catalogue.slugs import free_slug, slug_from

# What moves the piece of ground that a camera sees: what was counted before does not go on after it.
MOVES = ("height_m", "tilt_deg", "heading_deg", "aim_distance_m")
SETTINGS = (*MOVES, "burst", "delay_s", "sensitivity")
WHY_ANEW = (
    "A camera that hangs or looks otherwise sees another piece of ground. Its zone, what it was placed for and its "
    "counts no longer compare with those before, so they belong to a new deployment."
)


@dataclass
class Done:
    """What came of a visit: rows that were made, rows as they stood before, what to tell.

    deployment : where the camera stands now; a new one where it was begun.
    """

    deployment: Deployment | None
    made: list[models.Model] = field(default_factory=list)
    before: list[models.Model] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    warned: list[str] = field(default_factory=list)


def differing(deployment: Deployment | None, given: Mapping[str, Any]) -> dict[str, list[Any]]:
    """{field: [before, after]} of the settings that were given and differ."""
    if deployment is None:
        return {}
    out = {}
    for name in SETTINGS:
        value = given.get(name)
        if value not in (None, "") and value != getattr(deployment, name):
            out[name] = [getattr(deployment, name), value]
    return out


def wants_anew(changed: Mapping[str, Any], choice: str) -> bool:
    """Whether a new deployment begins. choice : yes, no, or empty for the rule of `MOVES`."""
    if not changed:
        return False
    return choice == "yes" or (choice == "" and any(name in changed for name in MOVES))


def why_not_anew(deployment: Deployment, visit_at: Any) -> str:
    """Why no new deployment can begin at an instant; empty when it can."""
    if deployment.end is not None:
        return "this deployment has ended already; nothing can be set otherwise on it"
    if visit_at <= deployment.start:
        return "that is before the camera was set up"
    if deployment.visits.filter(at__gt=visit_at).exists():
        return (
            "a later visit to this deployment is written down already. Let the same deployment go on here, or end it "
            "and write the new one down by hand"
        )
    if Sequence.objects.filter(deployment=deployment, start_at__gt=visit_at).exists():
        return "pictures from after this visit are at home already. Let the same deployment go on here"
    return ""


def carry_out(
    visit: Visit,
    *,
    changed: Mapping[str, abc.Sequence[Any]],
    anew: bool,
    lock: Lock | None = None,
    walks: abc.Sequence[dict[str, Any]] = (),
) -> Done:
    """Let a visit that was just saved have its effect. To be called inside a transaction."""
    deployment = visit.deployment
    done = Done(deployment)
    done.before += [Card.objects.get(pk=pk) for pk in {visit.card_out_id, visit.card_in_id} if pk]
    if deployment is None:
        changes.follow_visit(visit)
        return done
    done.before.append(Deployment.objects.get(pk=deployment.pk))
    had = deployment.card
    changes.follow_visit(visit)
    latest = not deployment.visits.filter(at__gt=visit.at).exists() and deployment.end is None
    if changed and anew:
        _begin(done, visit, deployment, had, changed)
    elif changed and latest:
        for name, (_, after) in changed.items():
            setattr(deployment, name, after)
        deployment.save(update_fields=list(changed))
    now = done.deployment
    assert now is not None
    batteries = _batteries_words(visit)
    if batteries and latest and now.batteries != batteries:
        now.batteries = batteries
        now.save(update_fields=["batteries"])
    if lock is not None and lock.camera_id != deployment.camera_id:
        done.before.append(Lock.objects.get(pk=lock.pk))
        lock.camera, lock.site = deployment.camera, None
        lock.save(update_fields=["camera", "site"])
    if walks:
        done.made.append(WalkTest.objects.create(deployment=now, at=visit.at, by=visit.by, walks=list(walks)))
    return done


def _begin(
    done: Done, visit: Visit, old: Deployment, had: Card | None, changed: Mapping[str, abc.Sequence[Any]]
) -> None:
    stays = old.card
    old.end, old.card = visit.at, had
    old.save()
    kept = ("mode", "burst", "delay_s", "sensitivity", "time_lapse_h", "batteries", "utc_offset_min", *MOVES)
    new = Deployment(camera=old.camera, site=old.site, start=visit.at, card=stays, set_by=visit.by)
    for name in kept:
        setattr(new, name, changed[name][1] if name in changed else getattr(old, name))
    day = clock.local(visit.at, old.site.reserve.zone)
    new.slug = free_slug(Deployment, slug_from(f"{old.site.slug} {day:%Y-%m-%d}", "deployment"))
    new.save()
    done.made.append(new)
    done.deployment = new
    done.told.append(f"A new deployment begins with it: {new}.")
    if stays is not None and visit.card_in_id is None:
        done.warned.append(
            f"The card {stays} stayed in, so pictures from before and after will lie on it together. When it is taken "
            "in, they all go to one of the two deployments: take the card out at the same visit where you can."
        )


def _batteries_words(visit: Visit) -> str:
    if not (visit.batteries_changed and visit.battery_kind):
        return ""
    return f"{visit.battery_count} × {visit.battery_kind}" if visit.battery_count else visit.battery_kind
