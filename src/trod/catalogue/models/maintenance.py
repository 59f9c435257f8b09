"""What keeping cameras takes beside visits: locks, incidents, stock, and what a year costs."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.urls import reverse

from trod.catalogue.models import fields
from trod.catalogue.models.camera import Camera
from trod.catalogue.models.deployment import Deployment, Visit
from trod.catalogue.models.reserve import Reserve, Site


class Lock(models.Model):
    """A lock on a camera or a box. Its numbers are for few eyes: see `trod.web.maintenance.locks`.

    Written to archive/private.json alone, never to the ledger, a sidecar, a report or an export.
    """

    class Kind(models.TextChoices):
        KEY = "key", "with a key"
        COMBINATION = "combination", "with a combination"
        CABLE = "cable", "cable lock"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    label = models.CharField(max_length=64, unique=True, help_text="as it is marked, such as a colour or a letter")
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.KEY)
    camera = models.ForeignKey(Camera, on_delete=models.PROTECT, null=True, blank=True, related_name="locks")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="locks")
    # Sealed numbers are longer than those that are typed; see `trod.web.shared.seal`.
    key_number = models.CharField("number of the key", max_length=600, blank=True)
    combination = models.CharField(max_length=600, blank=True)
    note = models.TextField(blank=True)

    covered = ("key_number", "combination")  # shown to few

    class Meta:
        ordering = ["label"]
        permissions = [("see_lock_numbers", "Can see key numbers and combinations")]
        constraints = [models.CheckConstraint(name="lock_has_label", condition=~Q(label=""))]

    def __str__(self) -> str:
        return self.label


class LockSeal(models.Model):
    """That a pass phrase seals the numbers of locks, and how its key is made of it; never the phrase, nor the key.

    At most one. Written to archive/private.json beside the locks.
    """

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    one = models.BooleanField(default=True, unique=True, editable=False)
    salt = models.CharField(max_length=64)
    log2_n = models.PositiveSmallIntegerField("cost of scrypt, as a power of two")
    check_text = models.CharField(max_length=200, help_text="a known word, sealed: tells a wrong phrase")
    by = models.CharField(max_length=80, blank=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(name="lock_seal_is_one", condition=Q(one=True))]

    def __str__(self) -> str:
        return f"set {self.at:%Y-%m-%d}"


class Incident(models.Model):
    """Theft, damage or a fault: what a camera suffered."""

    class Kind(models.TextChoices):
        THEFT = "theft", "theft"
        VANDALISM = "vandalism", "wilful damage"
        ANIMAL = "animal", "damage by an animal"
        WEATHER = "weather", "wind, snow, water or a fallen tree"
        FAULT = "fault", "fault of the camera"
        FIRE = "fire", "fire"
        OTHER = "other", "something else"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="incidents")
    camera = models.ForeignKey(Camera, on_delete=models.PROTECT, null=True, blank=True, related_name="incidents")
    deployment = models.ForeignKey(Deployment, on_delete=models.PROTECT, null=True, blank=True, related_name="incidents")
    found_on = models.DateField("day found")
    kind = models.CharField(max_length=12, choices=Kind)
    stopped = models.BooleanField(
        "the camera stopped watching through it",
        default=True,
        help_text="only these count for how often a site loses a camera's days",
    )
    what = models.TextField("what happened", blank=True)
    reference = models.CharField("police or warden's reference", max_length=120, blank=True)
    cost = models.FloatField(null=True, blank=True, help_text="of repair or replacement, in the currency of the costs")
    by = models.CharField("written down by", max_length=80, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-found_on", "-id"]
        indexes = [models.Index(fields=["site", "found_on"])]
        constraints = [
            models.CheckConstraint(name="incident_has_kind", condition=~Q(kind="")),
            fields.within("incident_cost", "cost", 0, 1e9),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.found_on}"


class StockItem(models.Model):
    """Something kept on a stock and used up: batteries, cards, locks, straps, wedges.

    How many there are is the sum of its bookings, so that a booking taken back is a count put right.
    """

    class Kind(models.TextChoices):
        BATTERIES = "batteries", "batteries"
        CARDS = "cards", "cards"
        LOCKS = "locks", "locks"
        STRAPS = "straps", "straps"
        WEDGES = "wedges", "wedges"
        OTHER = "other", "other"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.BATTERIES)
    designation = models.CharField(
        "kind of batteries",
        max_length=12,
        blank=True,
        help_text="by IEC 60086: LR6 alkaline, FR6 lithium, HR6 rechargeable",
    )
    unit_price = models.FloatField("price of one", null=True, blank=True)
    place = models.CharField("where it lies", max_length=120, blank=True)
    least = models.PositiveIntegerField("buy when fewer than", null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.CheckConstraint(name="stock_has_name", condition=~Q(name="")),
            fields.within("stock_price", "unit_price", 0, 1e9),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("maintenance:stock_item", args=[self.uuid])


class Booking(models.Model):
    """So many of a thing came onto the stock or left it."""

    class Why(models.TextChoices):
        COUNTED = "counted", "counted anew"
        BOUGHT = "bought", "bought"
        USED = "used", "used"
        LOST = "lost", "lost or thrown away"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="bookings")
    at = models.DateTimeField()
    change = models.IntegerField(help_text="more than nothing: came; less: went")
    why = models.CharField(max_length=8, choices=Why)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="bookings")
    unit_price = models.FloatField("price of one", null=True, blank=True)
    by = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            fields.within("booking_change", "change", -1_000_000, 1_000_000),
            fields.within("booking_price", "unit_price", 0, 1e9),
            models.UniqueConstraint(
                fields=["item", "visit"], condition=Q(visit__isnull=False), name="booking_once_a_visit"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.change:+d} {self.item}, {self.at:%Y-%m-%d}"


class CostYear(models.Model):
    """What is typed for a year's costs: the way driven and its price. The rest is added up from records."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reserve = models.ForeignKey(Reserve, on_delete=models.PROTECT, related_name="cost_years")
    year = models.PositiveSmallIntegerField()
    currency = models.CharField(max_length=12, blank=True, help_text="as you write it, such as € or CHF")
    travel_km = models.FloatField("driven for the cameras", null=True, blank=True, help_text="km in the year")
    price_per_km = models.FloatField("price of a kilometre", null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-year"]
        constraints = [
            models.UniqueConstraint(fields=["reserve", "year"], name="cost_year_once_a_reserve"),
            fields.within("cost_year_year", "year", 1990, 2200),
            fields.within("cost_year_km", "travel_km", 0, 1e6),
            fields.within("cost_year_price", "price_per_km", 0, 1e6),
        ]

    def __str__(self) -> str:
        return str(self.year)
