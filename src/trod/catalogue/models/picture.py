"""One picture or clip: a file in the archive, what it says of itself, and its place in time."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from trod.catalogue.models.card import Import
from trod.catalogue.models.deployment import Deployment


class Picture(models.Model):
    """A file, known by its SHA-256."""

    class Kind(models.TextChoices):
        PICTURE = "picture", "picture"
        CLIP = "clip", "clip"

    class Trigger(models.TextChoices):
        MOTION = "motion", "motion"
        TIME_LAPSE = "time_lapse", "time lapse"
        UNKNOWN = "unknown", "unknown"

    sha256 = models.CharField(max_length=64, unique=True)
    path = models.CharField(max_length=500, unique=True, help_text="relative to the archive")
    card_import = models.ForeignKey(Import, on_delete=models.PROTECT, related_name="pictures")
    deployment = models.ForeignKey(Deployment, on_delete=models.PROTECT, null=True, related_name="pictures")
    sequence = models.ForeignKey("trod.Sequence", on_delete=models.SET_NULL, null=True, related_name="pictures")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.PICTURE)
    size_bytes = models.PositiveBigIntegerField()
    file_order = models.PositiveIntegerField(default=0, help_text="its turn on the card")
    # As the camera wrote it (a reading of its clock, kept in a UTC column) and as an instant, corrected.
    taken_raw = models.DateTimeField(null=True)
    subsecond_ms = models.PositiveSmallIntegerField(default=0)
    taken_at = models.DateTimeField(null=True)
    time_from = models.CharField(max_length=8, default="exif", help_text="exif, clip, file or none")
    trigger = models.CharField(max_length=12, choices=Trigger, default=Trigger.UNKNOWN)
    infrared = models.BooleanField(null=True)
    brightness = models.FloatField(null=True, help_text="mean, 0 to 1")
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)
    duration_s = models.FloatField(null=True)
    make = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    serial = models.CharField(max_length=80, blank=True)
    temperature_c = models.FloatField(null=True, help_text="by the camera's own thermometer, °C")
    battery_v = models.FloatField(null=True, help_text="of its batteries, as the camera wrote it, V")
    header_said = models.JSONField(
        null=True, help_text="who read serial, temperature and voltage, and as what: {by, told: {tag: text}}"
    )
    exposure_s = models.FloatField(null=True)
    iso = models.PositiveIntegerField(null=True)
    foreign = models.BooleanField(default=False, help_text="looks like another camera's")
    problem = models.CharField(max_length=200, blank=True, help_text="what is wrong with the file")
    looked = models.BooleanField(default=False, help_text="its facts have been read and its thumbnail made")

    class Meta:
        ordering = ["taken_at", "file_order", "id"]
        permissions = [("see_people", "Can see people in pictures, and pictures nobody has reviewed")]
        indexes = [
            models.Index(fields=["deployment", "taken_at"]),
            models.Index(fields=["sequence", "taken_at"]),
            models.Index(fields=["card_import", "file_order"]),
            models.Index(fields=["looked"], name="picture_to_look", condition=Q(looked=False)),
            models.Index(
                fields=["deployment", "taken_at"], name="picture_voltage", condition=Q(battery_v__isnull=False)
            ),
            # The newest by day of one deployment, however many there are by night. The kind stands in the fields, for
            # SQLite does not see that a condition with a handed-in value holds.
            models.Index(
                fields=["deployment", "kind", "taken_at"],
                name="picture_by_day",
                condition=Q(infrared=False, foreign=False),
            ),
        ]
        constraints = [
            models.CheckConstraint(name="picture_size", condition=Q(size_bytes__gte=0)),
        ]

    def __str__(self) -> str:
        return self.path.rsplit("/", 1)[-1]
