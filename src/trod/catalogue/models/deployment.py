"""A camera at a site for a time; the visits to it, its walk tests, the corrections of its clock."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from trod.catalogue.models import fields
from trod.catalogue.models.camera import Camera
from trod.catalogue.models.placement import Placement
from trod.catalogue.models.reserve import Site


class Deployment(models.Model):
    """One camera at one site, from its start to its end; open while it stands."""

    class Mode(models.TextChoices):
        PICTURE = "picture", "pictures"
        CLIP = "clip", "clips"
        BOTH = "both", "pictures and clips"

    class Sensitivity(models.TextChoices):
        LOW = "low", "low"
        MEDIUM = "medium", "medium"
        HIGH = "high", "high"
        AUTO = "auto", "automatic"

    slug = fields.slug_field()
    camera = models.ForeignKey(Camera, on_delete=models.PROTECT, related_name="deployments")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="deployments")
    start = models.DateTimeField()
    end = models.DateTimeField(null=True, blank=True)
    utc_offset_min = models.SmallIntegerField(
        "clock's offset from UTC", default=0, help_text="minutes, as the camera's clock was set; one for the whole time"
    )
    height_m = models.FloatField(null=True, blank=True)
    tilt_deg = models.FloatField(null=True, blank=True, help_text="degrees below level")
    heading_deg = models.FloatField(null=True, blank=True, help_text="degrees from true north")
    aim_distance_m = models.FloatField(null=True, blank=True)
    mode = models.CharField(max_length=8, choices=Mode, default=Mode.PICTURE)
    burst = models.PositiveSmallIntegerField("pictures a burst", default=1)
    delay_s = models.FloatField("delay between bursts", default=0)
    sensitivity = models.CharField(max_length=8, choices=Sensitivity, default=Sensitivity.HIGH)
    time_lapse_h = models.FloatField(
        "time lapse every", null=True, blank=True, help_text="hours; one frame a day (24) proves that the camera worked"
    )
    batteries = models.CharField(max_length=80, blank=True)
    card = models.ForeignKey("trod.Card", on_delete=models.SET_NULL, null=True, blank=True, related_name="deployments")
    placement = models.ForeignKey(
        Placement, on_delete=models.SET_NULL, null=True, blank=True, related_name="deployments", editable=False
    )
    set_by = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-start"]
        indexes = [models.Index(fields=["site", "start"]), models.Index(fields=["camera", "start"])]
        constraints = [
            models.CheckConstraint(
                name="deployment_times_in_order",
                condition=Q(end__isnull=True) | Q(end__gt=F("start")),
                violation_error_message="a deployment must end after it starts",
            ),
            models.CheckConstraint(name="deployment_burst", condition=Q(burst__gte=1)),
            models.CheckConstraint(name="deployment_delay", condition=Q(delay_s__gte=0)),
            fields.within("deployment_offset", "utc_offset_min", -840, 840),
            fields.within("deployment_height", "height_m", 0, 30),
            fields.within("deployment_tilt", "tilt_deg", -90, 90),
            fields.within("deployment_heading", "heading_deg", 0, 360),
            fields.within("deployment_aim", "aim_distance_m", 0.1, 200),
        ]

    def __str__(self) -> str:
        return self.slug

    def get_absolute_url(self) -> str:
        return reverse("cameras:deployment", args=[self.slug])


class Visit(models.Model):
    """Somebody stood before a camera (or an empty site) and did or saw something."""

    class Arrival(models.TextChoices):
        WORKING = "working", "working"
        DEAD = "dead", "no power"
        FULL = "full", "card full"
        KNOCKED = "knocked", "moved or knocked"
        BLIND = "blind", "lens iced, dirty or grown over"
        GONE = "gone", "gone"
        UNKNOWN = "unknown", "not noted"

    class LockLeft(models.TextChoices):
        LOCKED = "locked", "locked"
        OPEN = "open", "left without a lock"
        STUCK = "stuck", "lock stuck or damaged"
        MISSING = "missing", "lock missing"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    deployment = models.ForeignKey(Deployment, on_delete=models.SET_NULL, null=True, blank=True, related_name="visits")
    at = models.DateTimeField()
    by = models.CharField("visited by", max_length=80, blank=True)
    arrival = models.CharField("state on arrival", max_length=8, choices=Arrival, default=Arrival.UNKNOWN)
    battery_percent = models.FloatField(
        "batteries left", null=True, blank=True, help_text="percent, as the camera shows"
    )
    batteries_changed = models.BooleanField(default=False)
    battery_kind = models.CharField(
        "kind of batteries put in",
        max_length=12,
        blank=True,
        help_text="by IEC 60086: LR6 alkaline, FR6 lithium, HR6 rechargeable",
    )
    battery_count = models.PositiveSmallIntegerField("number of batteries put in", null=True, blank=True)
    card_out = models.ForeignKey("trod.Card", on_delete=models.SET_NULL, null=True, blank=True, related_name="taken_out")
    card_in = models.ForeignKey("trod.Card", on_delete=models.SET_NULL, null=True, blank=True, related_name="put_in")
    clock_shown = models.DateTimeField(
        "camera's clock showed", null=True, blank=True, help_text="kept as UTC; the page asks for the camera's own time"
    )
    clock_true = models.DateTimeField("true time then", null=True, blank=True)
    walk_test = models.BooleanField("walk test done", default=False)
    lock_left = models.CharField("lock when leaving", max_length=8, choices=LockLeft, blank=True)
    changed = models.JSONField(
        "what was set otherwise", default=dict, blank=True, help_text="{field of the deployment: [before, after]}"
    )
    work = models.TextField("work done", blank=True)
    note = models.TextField(blank=True)
    field_form_revision = models.PositiveIntegerField(
        null=True, blank=True, editable=False, help_text="the phone's revision that was taken last"
    )
    field_form_digest = models.TextField(
        blank=True, editable=False, help_text="what the phone's note said when it was taken last, as a SHA-256"
    )
    field_form = models.CharField(
        "field form", max_length=36, blank=True, editable=False, help_text="the round whose field form it came by"
    )
    photos = models.JSONField(
        default=list, blank=True, editable=False, help_text="photos of the visit: [{sha256, name, path}, ...]"
    )

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["site", "at"])]
        constraints = [
            fields.within("visit_batteries", "battery_percent", 0, 100),
            fields.within("visit_battery_count", "battery_count", 0, 64),
        ]

    def __str__(self) -> str:
        return f"{self.site}, {self.at:%Y-%m-%d}"


class NotVisited(models.Model):
    """Somebody was to go to a camera and did not get there. It waits until a visit there comes after it."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="not_visited")
    deployment = models.ForeignKey(
        Deployment, on_delete=models.SET_NULL, null=True, blank=True, related_name="not_visited"
    )
    at = models.DateTimeField()
    by = models.CharField("noted by", max_length=80, blank=True)
    why = models.TextField("why not", blank=True)
    field_form = models.CharField("field form", max_length=36, blank=True, editable=False)

    class Meta:
        ordering = ["-at"]
        verbose_name_plural = "not visited"
        indexes = [models.Index(fields=["site", "at"])]

    def __str__(self) -> str:
        return f"{self.site}, not visited {self.at:%Y-%m-%d}"


class WalkTest(models.Model):
    """People walked past a camera on purpose, and noted which walks made a picture.

    walks : [{"offset_m", "angle_deg", "speed_m_s", "got": "nothing" | "empty" | "part" | "whole"}, ...]
    """

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    deployment = models.ForeignKey(Deployment, on_delete=models.CASCADE, related_name="walk_tests")
    at = models.DateTimeField()
    by = models.CharField(max_length=80, blank=True)
    walks = models.JSONField(default=list)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{len(self.walks)} walks, {self.at:%Y-%m-%d}"


class Silence(models.Model):
    """What a person says of a stretch in which a camera gave no sign of life: it watched, or it did not."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    deployment = models.ForeignKey(Deployment, on_delete=models.CASCADE, related_name="silences")
    from_at = models.DateTimeField("from")
    to_at = models.DateTimeField("to")
    watched = models.BooleanField("the camera watched")
    by = models.CharField("decided by", max_length=80, blank=True)
    at = models.DateTimeField("decided at")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.CheckConstraint(name="silence_times_in_order", condition=Q(to_at__gt=F("from_at"))),
        ]

    def __str__(self) -> str:
        return f"{self.from_at:%Y-%m-%d} to {self.to_at:%Y-%m-%d}: {'watched' if self.watched else 'not watched'}"


class ClockCorrection(models.Model):
    """Somebody's word on how far a camera's clock was out, between two of its own times."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    deployment = models.ForeignKey(Deployment, on_delete=models.CASCADE, related_name="clock_corrections")
    # Naive camera times, kept in UTC columns: they are readings of the camera's clock, not instants.
    from_raw = models.DateTimeField("from, on the camera's clock", null=True, blank=True)
    to_raw = models.DateTimeField("to, on the camera's clock", null=True, blank=True)
    shift_s = models.FloatField("add", help_text="seconds to add to the camera's time")
    drift_s_per_day = models.FloatField(default=0)
    reason = models.CharField(max_length=200)
    by = models.CharField(max_length=80)
    at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.CheckConstraint(
                name="watch_times_in_order",
                condition=Q(from_raw__isnull=True) | Q(to_raw__isnull=True) | Q(to_raw__gt=F("from_raw")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shift_s:+.0f} s: {self.reason}"
