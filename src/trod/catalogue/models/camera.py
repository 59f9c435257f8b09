"""Cameras, and what their makers say of them."""

from __future__ import annotations

from django.db import models
from django.urls import reverse

from trod.catalogue.models import fields


class CameraModel(models.Model):
    """A kind of camera as its maker states it, and what was measured since. All figures may be unknown.

    The columns are the maker's word. `measured` holds what a meter, a target or a walk test showed, by the
    names of `trod.planning.equipment.camera.Figures`; `trod.catalogue.rows.specs` makes one record of both.
    """

    class Flash(models.TextChoices):
        NONE = "none", "none"
        WHITE = "white", "white"
        LOW_GLOW = "low_glow", "infrared, low glow"
        NO_GLOW = "no_glow", "infrared, no glow"

    maker = models.CharField(max_length=80)
    name = models.CharField(max_length=80)
    slug = fields.slug_field()
    detection_angle_deg = models.FloatField(null=True, blank=True)
    detection_range_m = models.FloatField(null=True, blank=True)
    field_of_view_deg = models.FloatField(null=True, blank=True)
    trigger_time_s = models.FloatField(null=True, blank=True)
    recovery_time_s = models.FloatField(null=True, blank=True)
    burst_max = models.PositiveSmallIntegerField(null=True, blank=True)
    flash = models.CharField(max_length=12, choices=Flash, blank=True)
    flash_range_m = models.FloatField(null=True, blank=True)
    native_megapixels = models.FloatField(null=True, blank=True)
    claimed_megapixels = models.FloatField(null=True, blank=True)
    batteries = models.CharField(max_length=40, blank=True, help_text="e.g. 8 × LR6")
    battery_kind = models.CharField(
        "kind of batteries",
        max_length=12,
        blank=True,
        help_text="by IEC 60086: LR6 alkaline, FR6 lithium, HR6 rechargeable",
    )
    battery_count = models.PositiveSmallIntegerField("number of batteries", null=True, blank=True)
    burst_gap_s = models.FloatField("between pictures of a burst", null=True, blank=True)
    columns = models.PositiveIntegerField("picture's columns", null=True, blank=True, help_text="pixels")
    rows = models.PositiveIntegerField("picture's rows", null=True, blank=True, help_text="pixels")
    idle_mw = models.FloatField("drawn while waiting", null=True, blank=True, help_text="mW")
    wake_j = models.FloatField("energy of a trigger", null=True, blank=True, help_text="J, beside its pictures")
    day_frame_j = models.FloatField("energy of a day picture", null=True, blank=True, help_text="J")
    night_frame_j = models.FloatField("energy of a night picture", null=True, blank=True, help_text="J")
    measured = models.JSONField(default=dict, blank=True, help_text="what measuring showed, by the figure's name")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["maker", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="camera_model_once"),
            fields.within("model_detection_angle", "detection_angle_deg", 1, 180),
            fields.within("model_detection_range", "detection_range_m", 0.5, 200),
            fields.within("model_field_of_view", "field_of_view_deg", 1, 180),
            fields.within("model_trigger_time", "trigger_time_s", 0, 60),
            fields.within("model_recovery_time", "recovery_time_s", 0, 600),
            fields.within("model_burst_gap", "burst_gap_s", 0, 60),
            fields.within("model_battery_count", "battery_count", 0, 64),
            fields.within("model_columns", "columns", 16, 60_000),
            fields.within("model_rows", "rows", 16, 60_000),
            fields.within("model_idle", "idle_mw", 0, 1000),
            fields.within("model_wake", "wake_j", 0, 1000),
            fields.within("model_day_frame", "day_frame_j", 0, 1000),
            fields.within("model_night_frame", "night_frame_j", 0, 1000),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"

    def get_absolute_url(self) -> str:
        return reverse("cameras:model", args=[self.slug])


class Camera(models.Model):
    """One camera, known by its serial."""

    class State(models.TextChoices):
        READY = "ready", "ready"
        OUT = "out", "in the field"
        REPAIR = "repair", "in repair"
        LOST = "lost", "lost or stolen"
        RETIRED = "retired", "retired"

    serial = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=80, blank=True, help_text="what you call it")
    model = models.ForeignKey(CameraModel, on_delete=models.PROTECT, null=True, blank=True, related_name="cameras")
    state = models.CharField(max_length=8, choices=State, default=State.READY)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name", "serial"]
        constraints = [models.CheckConstraint(name="camera_has_serial", condition=~models.Q(serial=""))]

    def __str__(self) -> str:
        return self.name or self.serial

    @property
    def titled(self) -> str:
        """What you call it, with its serial."""
        return f"{self.name} ({self.serial})" if self.name else self.serial

    def get_absolute_url(self) -> str:
        return reverse("cameras:camera", args=[self.pk])
