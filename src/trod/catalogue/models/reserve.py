"""The map: reserve, sites, sign; and the species that are looked for."""

from __future__ import annotations

import uuid
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Q
from django.urls import reverse

from trod.catalogue.models import fields
from trod.findings import taxa
from trod.findings.observations import YEARLY_ALLOWANCE
from trod.planning.visit.upkeep import CAMERA_DAY_MIN


class Reserve(models.Model):
    """The ground somebody keeps, with its time zone."""

    class Units(models.TextChoices):
        METRIC = "metric", "metric (m, km, °C)"
        US = "us", "US (ft, mi, °F)"

    name = models.CharField(max_length=120)
    slug = fields.slug_field()
    latitude = fields.latitude()
    longitude = fields.longitude()
    zone = models.CharField("time zone", max_length=64, default="UTC", validators=[fields.check_zone])
    units = models.CharField(max_length=8, choices=Units, default=Units.METRIC)
    boundary = models.JSONField(null=True, blank=True, help_text="GeoJSON polygon, lines or points of the ground")
    base_latitude = models.FloatField(
        "where rounds start: latitude", null=True, blank=True, validators=fields.between(-90, 90)
    )
    base_longitude = models.FloatField(
        "where rounds start: longitude", null=True, blank=True, validators=fields.between(-180, 180)
    )
    camera_day_min = models.FloatField(
        "work that a camera-day is worth (minutes)",
        null=True,
        blank=True,
        validators=fields.between(1, 1440),
        help_text=f"for forecasts and rounds alike; left empty, {CAMERA_DAY_MIN:g} are assumed",
    )
    yearly_allowance_percent = models.FloatField(
        "how much good and bad years differ by themselves (%)",
        null=True,
        blank=True,
        validators=fields.between(0, 100),
        help_text=f"a lasting change must go beyond it; left empty, {100 * YEARLY_ALLOWANCE:g} are assumed, for no "
        "record of a few years can tell it",
    )
    climate = models.JSONField(default=dict, blank=True, help_text="night minima by month, typed or from a CSV file")
    note = models.TextField(blank=True)
    invented = models.BooleanField(default=False, help_text="demo data: no real place, people or animals")

    class Meta:
        ordering = ["name"]
        constraints = [
            fields.within("reserve_latitude", "latitude", -90, 90),
            fields.within("reserve_longitude", "longitude", -180, 180),
            fields.within("reserve_base_latitude", "base_latitude", -90, 90),
            fields.within("reserve_base_longitude", "base_longitude", -180, 180),
            fields.within("reserve_camera_day", "camera_day_min", 1, 1440),
            fields.within("reserve_yearly_allowance", "yearly_allowance_percent", 0, 100),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def yearly_allowance(self) -> float:
        """How much years are taken to differ by themselves, as a share (log scale)."""
        percent = self.yearly_allowance_percent
        return YEARLY_ALLOWANCE if percent is None else percent / 100

    @property
    def titled(self) -> str:
        """The name as it stands on what leaves: a reserve of the demo says so."""
        return f"{self.name} (invented)" if self.invented else self.name

    @property
    def day_worth_min(self) -> float:
        """What a camera-day is worth, in minutes of work, as typed or assumed."""
        return CAMERA_DAY_MIN if self.camera_day_min is None else self.camera_day_min

    @property
    def zone_info(self) -> ZoneInfo:
        return ZoneInfo(self.zone)


class Species(models.Model):
    """A kind of animal that may come: its names, its key in the review, its size for scale.

    A rank above species stands for animals of which no more is known ("Deer, kind unknown"), and for all kinds below
    it in a question.
    """

    class Rank(models.TextChoices):
        SPECIES = "species", "species"
        GENUS = "genus", "genus"
        FAMILY = "family", "family"
        ORDER = "order", "order"
        CLASS = "class", "class"
        GROUP = "group", "a group of its own"

    name = models.CharField(max_length=80, unique=True)
    scientific_name = models.CharField(max_length=120, blank=True)
    rank = models.CharField(max_length=8, choices=Rank, default=Rank.SPECIES)
    parent = models.ForeignKey(
        "self",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="children",
        verbose_name="belongs to",
        help_text="the kind above it, such as deer; questions about that kind count this one too",
    )
    slug = fields.slug_field()
    key = models.CharField(
        max_length=1, null=True, blank=True, unique=True, help_text="one key that says this species in the review"
    )
    group = models.CharField(max_length=40, blank=True, help_text="e.g. hoofed, carnivore, bird")
    shoulder_height_m = models.FloatField(null=True, blank=True)
    body_length_m = models.FloatField(null=True, blank=True)
    active = models.BooleanField(default=True, help_text="offered in the review")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "species"
        constraints = [
            fields.within("species_shoulder_height", "shoulder_height_m", 0.01, 6),
            fields.within("species_body_length", "body_length_m", 0.01, 10),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def said_name(self) -> str:
        """What is said of an animal of it: its name, or 'Deer, kind unknown'."""
        return self.name if self.rank == self.Rank.SPECIES else taxa.unknown_kind(self.name)


class Site(models.Model):
    """A place where a camera stands or may stand."""

    class Feature(models.TextChoices):
        TRAIL = "trail", "trail or track"
        ROAD = "road", "closed lane or road"
        WATER = "water", "water hole or bank"
        FORD = "ford", "ford or crossing"
        LICK = "lick", "mineral lick"
        FEEDING = "feeding", "feeding ground"
        MEADOW = "meadow", "meadow or wood edge"
        SADDLE = "saddle", "saddle or ridge"
        DEN = "den", "den or burrow"
        FENCE = "fence", "gap in a fence"
        OTHER = "other", "other"

    reserve = models.ForeignKey(Reserve, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=120)
    slug = fields.slug_field()
    latitude = fields.latitude()
    longitude = fields.longitude()
    feature = models.CharField(max_length=16, choices=Feature, default=Feature.TRAIL)
    slope_deg = models.FloatField(
        "slope away from the camera", null=True, blank=True, help_text="degrees, falling away positive"
    )
    path_bearing_deg = models.FloatField(
        "bearing of the path", null=True, blank=True, help_text="degrees from true north"
    )
    canopy_percent = models.FloatField("canopy", null=True, blank=True, help_text="percent of sky covered")
    tree = models.CharField("tree or post", max_length=120, blank=True)
    tree_diameter_cm = models.FloatField(null=True, blank=True)
    sensitive = models.BooleanField(default=False, help_text="its place is generalised in all that leaves")
    ground = models.JSONField(
        default=dict, blank=True, help_text="what the placement planner was told of it: path, branch, snow, horizon"
    )
    access = models.TextField("how to get there", blank=True)
    safety = models.TextField("what to beware of", blank=True)
    closed = models.JSONField(
        "closed seasons", default=list, blank=True, help_text="times of the year when nobody should go there"
    )
    losses_per_year = models.FloatField(
        "faults and thefts", null=True, blank=True, help_text="how many a year a camera here suffers, about"
    )
    disturbance_days = models.FloatField(
        "days of disturbance after a visit",
        null=True,
        blank=True,
        help_text="for how long animals stay away; 2 when not given",
    )
    climb_m = models.FloatField(
        "climb on foot to it",
        null=True,
        blank=True,
        help_text="metres up from where the car stands, or from where rounds start when you walk all the way",
    )
    retired = models.BooleanField(default=False, help_text="no longer used; kept for its history")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["reserve", "name"], name="site_name_once_a_reserve"),
            fields.within("site_latitude", "latitude", -90, 90),
            fields.within("site_longitude", "longitude", -180, 180),
            fields.within("site_slope", "slope_deg", -60, 60),
            fields.within("site_path_bearing", "path_bearing_deg", 0, 360),
            fields.within("site_canopy", "canopy_percent", 0, 100),
            fields.within("site_tree_diameter", "tree_diameter_cm", 1, 500),
            fields.within("site_losses", "losses_per_year", 0, 50),
            fields.within("site_disturbance_days", "disturbance_days", 0, 90),
            fields.within("site_climb", "climb_m", -3000, 5000),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("map:site", args=[self.slug])


class Sign(models.Model):
    """What somebody saw on the map: tracks, droppings, a rub, a trail."""

    class Kind(models.TextChoices):
        TRACKS = "tracks", "tracks"
        SCAT = "scat", "droppings"
        RUB = "rub", "rub or fraying"
        SCRAPE = "scrape", "scrape or wallow"
        TRAIL = "trail", "used trail"
        BED = "bed", "bed or den"
        FEEDING = "feeding", "feeding sign"
        KILL = "kill", "carcass or kill"
        WATER = "water", "water"
        OTHER = "other", "other"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reserve = models.ForeignKey(Reserve, on_delete=models.PROTECT, related_name="sign")
    site = models.ForeignKey(Site, on_delete=models.SET_NULL, null=True, blank=True, related_name="sign")
    kind = models.CharField(max_length=16, choices=Kind)
    species = models.ForeignKey(Species, on_delete=models.PROTECT, null=True, blank=True)
    seen_on = models.DateField()
    latitude = fields.latitude()
    longitude = fields.longitude()
    seen_by = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-seen_on", "-id"]
        verbose_name_plural = "sign"
        constraints = [
            fields.within("sign_latitude", "latitude", -90, 90),
            fields.within("sign_longitude", "longitude", -180, 180),
            models.CheckConstraint(name="sign_has_kind", condition=~Q(kind="")),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.seen_on}"
