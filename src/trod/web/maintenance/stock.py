"""The stock: how many of each thing there are, what visits used, and what planned rounds may take."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Max, Min, Sum

from trod.catalogue.models import Booking, Deployment, RoundStop, StockItem, Visit
from trod.planning.equipment.pack_text import pack_from

BOOK_WITHIN = timedelta(days=400)  # older changes of batteries are history, not something left to book. Ours.


@dataclass
class StockLine:
    """One thing on the stock. wanted : what planned rounds may take at most."""

    item: StockItem
    on_hand: int
    wanted: int = 0

    @property
    def short(self) -> bool:
        """Whether to buy: fewer than the least, fewer than rounds may take, or less than none."""
        return self.on_hand < 0 or self.wanted > self.on_hand or self.on_hand < (self.item.least or 0)

    @property
    def says(self) -> str:
        if self.on_hand < 0:
            return "fewer than none by the bookings: count it anew"
        if self.wanted > self.on_hand:
            return f"planned rounds may take up to {self.wanted}: {self.wanted - self.on_hand} too few"
        if self.on_hand < (self.item.least or 0):
            return f"fewer than {self.item.least}: buy some"
        return f"planned rounds may take up to {self.wanted}" if self.wanted else ""


@dataclass(frozen=True)
class ToBook:
    """A visit whose batteries came from the stock, but were not booked. item, number : suggested, where known."""

    visit: Visit
    item: StockItem | None
    number: int | None
    kind: str


def on_hand() -> dict[int, int]:
    """How many there are of each item, by its number."""
    return dict(Booking.objects.values_list("item").annotate(n=Sum("change")).values_list("item", "n"))


def in_stock(today: date) -> list[StockLine]:
    """Everything on the stock, with what planned rounds may take. A fixed number of queries."""
    held = on_hand()
    lines = [StockLine(item, held.get(item.pk, 0)) for item in StockItem.objects.all()]
    wanted = batteries_wanted(today)
    for kind, number in wanted.items():
        first = next((x for x in lines if x.item.kind == "batteries" and x.item.designation.upper() == kind), None)
        if first is not None:
            first.wanted = number
    return lines


def batteries_wanted(today: date) -> dict[str, int]:
    """{designation: batteries}, if every camera at the stops of rounds from today on got fresh ones."""
    sites = RoundStop.objects.filter(round__day__gte=today).values_list("site", flat=True)
    out: dict[str, int] = defaultdict(int)
    standing = Deployment.objects.filter(end__isnull=True, site__in=list(sites)).select_related("camera__model")
    for d in standing:
        number, kind = batteries_of(d)
        if number and kind:
            out[kind] += number
    return dict(out)


def batteries_of(deployment: Deployment) -> tuple[int | None, str]:
    """(how many, which kind) of batteries a deployment takes: as noted with it, else as its model says."""
    model = deployment.camera.model
    return said_of_batteries(
        deployment.batteries or (model.batteries if model else ""),
        kind=model.battery_kind if model else "",
        number=model.battery_count if model else None,
    )


def said_of_batteries(text: str, *, kind: str = "", number: int | None = None) -> tuple[int | None, str]:
    """(how many, which kind) a text tells of; nothing that is only assumed."""
    pack, said = pack_from(text, kind=kind, number=number)
    if said.nothing:
        return None, ""
    return (
        None if said.number_assumed else pack.number,
        "" if said.kind == "assumed" else pack.battery.designation,
    )


def to_book(now: datetime, items: Sequence[StockItem]) -> list[ToBook]:
    """Visits that changed batteries since the stock was counted and are not booked, newest first.

    What was used before a thing was counted last is in that count already.
    """
    batteries = [i for i in items if i.kind == StockItem.Kind.BATTERIES]
    booked = Booking.objects.filter(item__in=batteries)
    first = booked.aggregate(at=Min("at"))["at"]
    if first is None:
        return []
    counted = dict(
        booked.filter(why=Booking.Why.COUNTED).values_list("item").annotate(at=Max("at")).values_list("item", "at")
    )
    by_kind = {i.designation.upper(): i for i in reversed(batteries) if i.designation}
    visits = (
        Visit.objects.filter(batteries_changed=True, bookings__isnull=True, at__gte=max(first, now - BOOK_WITHIN))
        .select_related("site", "deployment__camera__model")
        .order_by("-at")
    )
    out = []
    for v in visits:
        number, kind = batteries_of(v.deployment) if v.deployment else (None, "")
        kind = v.battery_kind.upper() or kind
        item = by_kind.get(kind)
        if item is None or v.at >= counted.get(item.pk, v.at):
            out.append(ToBook(v, item, v.battery_count or number, kind))
    return out


@transaction.atomic
def book(chosen: Iterable[tuple[Visit, StockItem, int]], *, by: str) -> list[Booking]:
    """Book what visits used, at the price the item has now. Each visit once for an item."""
    made = []
    for visit, item, number in chosen:
        row, new = Booking.objects.get_or_create(
            item=item,
            visit=visit,
            defaults={
                "at": visit.at, "change": -number, "why": Booking.Why.USED, "unit_price": item.unit_price, "by": by,
            },
        )  # fmt: skip
        if new:
            made.append(row)
    return made
