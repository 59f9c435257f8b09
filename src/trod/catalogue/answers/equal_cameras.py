"""Rates as if every camera were equally good, from a filter to the answer; chances come from placements on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trod.catalogue import models
from trod.catalogue.answers import evidence, remembered
from trod.catalogue.answers.evidence import Account
from trod.catalogue.rows.specs import spec_of
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding, equal_cameras, localtime, observations
from trod.findings.equal_cameras import KEEPABLE, Basis, Chance, Unknown
from trod.findings.observations import Selection
from trod.planning.catch import animals
from trod.planning.catch.animals import Animal
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place import chance, inputs
from trod.planning.place.adviser import Inputs
from trod.telling import equal_cameras as told

__all__ = ["KEEPABLE", "Equal", "ask", "unknown_of"]

# Ours: so many deployments are worked out while somebody waits, each in about a quarter of a second.
MOST_AT_ONCE = 4


@dataclass(frozen=True, kw_only=True)
class Equal:
    """The finding, or the reason why there is none."""

    filter: Filter
    unknown: Unknown
    finding: Finding | None
    trouble: NotEnoughEvidence | None


def unknown_of(text: str) -> Unknown:
    """What is done with sites without a known chance, as typed; nothing is left out. Raises WrongInput."""
    if text in ("", "left-out"):
        return "left out"
    if text == "kept":
        return "kept"
    raise WrongInput("unknown", got=text[:40], needed="left-out or kept")


def ask(account: Account, asked: Filter, unknown: Unknown = "left out") -> Equal:
    """The rate of one kind with every camera as good as the average one here.

    The same of the same evidence, placements and camera models is answered from memory.
    """
    rows = _rows(asked)
    rests = repr(
        [
            (
                row.slug,
                row.heading_deg,
                row.placement and (row.placement.animal, row.placement.inputs),
                _spec(row),
                _hung(row),
            )
            for row in rows
        ]
    )

    def work() -> Finding:
        animal = _animal(account, asked)
        if evidence.in_a_hurry.get() and len(rows) > MOST_AT_ONCE:
            raise evidence.StillReading(len(account.evidence.observations), lambda: ask(account, asked, unknown))
        selection = observations.select(account.evidence, asked)
        chances = _chances(selection, rows, animal)
        return told.finding(equal_cameras.equal_cameras(account.evidence, asked, chances, unknown=unknown))

    finding, trouble = remembered.answered(
        account, ("equal-cameras", unknown, rests, *remembered.key_of(asked)), work
    )  # fmt: skip
    return Equal(filter=asked, unknown=unknown, finding=finding, trouble=trouble)


def _rows(asked: Filter) -> list[models.Deployment]:
    """Deployments made of a placement, with what a chance rests on."""
    rows = models.Deployment.objects.filter(placement__isnull=False)
    if asked.sites:
        rows = rows.filter(site__slug__in=asked.sites)
    return list(rows.select_related("site", "camera__model", "placement__camera_model").order_by("slug"))


def _animal(account: Account, asked: Filter) -> Animal:
    """The planner's animal of the one species asked for."""
    if len(asked.species) != 1:
        raise NotEnoughEvidence("no single kind of animal was asked for", need="one species: a chance is of one animal")
    row = models.Species.objects.filter(slug=asked.species[0]).first()
    wanted = row.scientific_name.strip().casefold() if row else ""
    found = next((one for one in animals.ANIMALS if one.scientific.casefold() == wanted), None)
    if found is None:
        name = account.evidence.names_for(asked).get(asked.species[0], asked.species[0])
        raise NotEnoughEvidence(
            f"the planner knows neither size nor speeds of {name}, by its scientific name",
            need="a species of the planner's table of animals",
        )
    return found


def _spec(row: models.Deployment) -> CameraSpec | None:
    """The figures of the camera that hangs there, else of that it was planned with."""
    model = row.camera.model or (row.placement.camera_model if row.placement else None)
    return spec_of(model) if model else None


def _hung(row: models.Deployment) -> Inputs:
    return Inputs(
        mode=row.mode,  # type: ignore[arg-type]  # the row's choices are these
        burst=row.burst,
        delay_s=row.delay_s,
        sensitivity=row.sensitivity,  # type: ignore[arg-type]
    )


def _chances(selection: Selection, rows: Sequence[models.Deployment], animal: Animal) -> list[Chance]:
    """Of every deployment and month of the selection that stands on a placement and a known camera."""
    zone = selection.reserve.zone
    out: list[Chance] = []
    for row in rows:
        key = f"{row.site.slug}/{row.slug}"
        spans = [span for of in (selection.watched, selection.open) for span in of.get(key, ("", ()))[1]]
        spec = _spec(row)
        if not spans or spec is None:
            continue
        by_month = _by_month(row, spec, animal)
        first = localtime.month_of(localtime.local_date(min(a for a, _ in spans), zone))
        last = localtime.month_of(localtime.local_date(max(b for _, b in spans) - 1e-3, zone))
        basis: Basis = "measured figures" if _measured(spec) else "modelled"
        while by_month and first <= last:
            for one in by_month:
                if one.month == first.month:
                    effects = {_cause(cause, row, spec): effect for cause, effect in one.effects.items()}
                    out.append(
                        Chance(
                            deployment=key, month=first, light=one.light, value=one.value, effects=effects, basis=basis
                        )
                    )  # fmt: skip
            first = localtime.next_month(first)
    return out


def _by_month(row: models.Deployment, spec: CameraSpec, animal: Animal) -> tuple[chance.Caught, ...] | None:
    """As it hangs: what was entered for the placement, with the heading and settings of the deployment."""
    placement = row.placement
    assert placement is not None
    entered = dict(placement.inputs) if isinstance(placement.inputs, dict) else {}
    if row.heading_deg is not None:
        entered["heading_deg"] = row.heading_deg
    try:
        read = inputs.read(
            entered,
            latitude_deg=row.site.latitude,
            longitude_deg=row.site.longitude,
            animal=animals.animal(placement.animal),
        )
        return chance.by_month(spec, read, animal, _hung(row))
    except WrongInput:  # an old placement that cannot be worked out says nothing
        return None


def _measured(spec: CameraSpec) -> bool:
    return all(spec.figure(name).origin == "measured" for name in chance.FIGURE_OF.values())


def _cause(cause: chance.Cause, row: models.Deployment, spec: CameraSpec) -> str:
    """Whose cause of doubt it is: of a kind of camera, of a site, or of all cameras at once."""
    if cause in chance.FIGURE_OF:
        return f"{cause} of {spec.name}"
    if cause in ("path", "model"):
        return f"{cause} at {row.site.slug}"
    return cause
