"""Which card is where: the steps of every card from visits, deployments and imports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from trod import clock
from trod.catalogue.models import Card, Deployment, Import, Reserve, Visit
from trod.planning.visit.cardchain import Stay, Step, Story, What, story
from trod.telling import cardchain as telling

# What the record of a card may say where the steps tell this; ready is never wrong after a safe copy.
FITS = {
    "in a camera": (Card.State.OUT,),
    "left in a camera": (Card.State.OUT, Card.State.HOME),
    "home": (Card.State.HOME,),
    "copied": (Card.State.HOME,),
    "safe": (Card.State.KEPT, Card.State.READY),
    "gone": (Card.State.LOST,),
}
# Where a card is by its record alone, when no step tells.
BY_RECORD: dict[str, str] = {
    Card.State.OUT: "in a camera",
    Card.State.HOME: "home",
    Card.State.KEPT: "safe",
}
SHOWN = {
    "in a camera": "in a camera",
    "left in a camera": "left in a camera",
    "home": "home, not imported",
    "copied": "imported, not all of it safe",
    "safe": "safe to format",
    "ready": "empty, ready",
    "stock": "nothing noted",
    "gone": "lost",
    "bad": "worn out",
}
STEP_WORDS = {"in": "into", "out": "out of", "imported": "imported from", "gone": "gone with"}


@dataclass(frozen=True)
class CardLine:
    """One card on the page. place : one of SHOWN. doubts : with what its record says otherwise."""

    card: Card
    story: Story
    place: str
    says: str
    doubts: tuple[str, ...]
    fitting: str

    @property
    def shown(self) -> str:
        return SHOWN[self.place]

    @property
    def calm(self) -> bool:
        """Whether nobody need do anything about it."""
        return not self.doubts and self.place in ("in a camera", "safe", "ready", "stock")


def lines(reserve: Reserve | None, *, only: Card | None = None) -> list[CardLine]:
    """Every card with its story, by label. A fixed number of queries."""
    steps, stays = _steps(reserve, only)
    cards = [only] if only else list(Card.objects.all())
    return [_line(card, story(steps.get(card.pk, ()), stays)) for card in cards]


def _line(card: Card, found: Story) -> CardLine:
    doubts, says, fitting = [telling.doubt(one) for one in found.doubts], telling.where(found), ""
    place: str = found.where
    if card.state == Card.State.LOST:
        place, says = "gone", f"Lost. {says}" if found.steps else "Lost."
    elif card.state == Card.State.BAD:
        place = "bad"
        says = f"Worn out or damaged; not to go out again. {says}" if found.steps else "Worn out or damaged."
    elif (fits := FITS.get(found.where)) and card.state not in fits:
        doubts.append(f"Its record says “{card.get_state_display()}”.")
        fitting = fits[0]
    elif card.state == Card.State.READY:
        place = "ready"
        says = "Empty, ready to go out." if found.where == "stock" else f"Ready to go out again. {says}"
    elif found.where == "stock":
        place = BY_RECORD.get(card.state, "stock")
        says = f"Its record says “{card.get_state_display()}”; no visit and no import tells of it."
    return CardLine(card, found, place, says, tuple(doubts), fitting)


def _steps(reserve: Reserve | None, only: Card | None) -> tuple[dict[int, list[Step]], list[Stay]]:
    zone = reserve.zone if reserve else "UTC"

    def here(at: datetime) -> datetime:
        return clock.local(at, zone)

    deployments = Deployment.objects.select_related("camera", "site").order_by("start")
    visits = (
        Visit.objects.filter(Q(card_out__isnull=False) | Q(card_in__isnull=False) | Q(arrival=Visit.Arrival.GONE))
        .select_related("site", "deployment__camera")
        .order_by("at", "pk")
    )
    imports = (
        Import.objects.filter(card__isnull=False, state=Import.State.WHOLE)
        .select_related("deployment__camera", "deployment__site")
        .order_by("started_at")
    )
    if only:
        imports = imports.filter(card=only)
    out: dict[int, list[Step]] = defaultdict(list)
    of: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        if visit.deployment_id is None:
            _visit_steps(out, visit, "", str(visit.site), here)
        else:
            of[visit.deployment_id].append(visit)
    stays = []
    for d in deployments:
        stays.append(Stay(camera=d.camera.serial, start=here(d.start), end=here(d.end) if d.end else None))
        place = f"{d.camera}, {d.site}"
        inside, guessed = _first_card(d, of[d.pk])
        if inside is not None:
            out[inside].append(
                Step(
                    what="in", at=here(d.start), camera=d.camera.serial, place=place, by=d.set_by, guessed=guessed,
                    link=d.get_absolute_url(),
                )
            )  # fmt: skip
        for visit in of[d.pk]:
            _visit_steps(out, visit, d.camera.serial, place, here)
            inside = None if visit.card_out_id and visit.card_out_id == inside else inside
            if visit.arrival == Visit.Arrival.GONE and inside is not None and not visit.card_in_id:
                out[inside].append(
                    Step(what="gone", at=here(visit.at), camera=d.camera.serial, place=place, by=visit.by, guessed=True)
                )
                inside = None
            inside = visit.card_in_id or inside
    for card_import in imports:
        if card_import.card_id is None:
            continue
        of_it = card_import.deployment
        out[card_import.card_id].append(
            Step(
                what="imported",
                at=here(card_import.finished_at or card_import.started_at),
                camera=of_it.camera.serial if of_it else "",
                place=f"{of_it.camera}, {of_it.site}" if of_it else "",
                by=card_import.by,
                safe=card_import.safe_to_format,
            )
        )
    return out, stays


def _first_card(deployment: Deployment, visits: Iterable[Visit]) -> tuple[int | None, bool]:
    """The card a deployment was set up with, where no visit says it, and whether it is guessed from its coming out."""
    put_in: set[int] = set()
    for visit in visits:
        if visit.card_out_id and visit.card_out_id not in put_in and not put_in:
            return visit.card_out_id, visit.card_out_id != deployment.card_id
        if visit.card_in_id:
            put_in.add(visit.card_in_id)
    if deployment.card_id and deployment.card_id not in put_in:
        return deployment.card_id, False
    return None, False


def _visit_steps(
    out: dict[int, list[Step]], visit: Visit, camera: str, place: str, here: Callable[[datetime], datetime]
) -> None:
    def step(what: What) -> Step:
        return Step(what=what, at=here(visit.at), camera=camera, place=place, by=visit.by, link=f"visit:{visit.pk}")

    if visit.card_out_id:
        out[visit.card_out_id].append(step("out"))
    if visit.card_in_id:
        out[visit.card_in_id].append(step("in"))
