"""Sequences, what people said of them, and what the machine guesses."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.signals import post_delete, post_save

from trod.catalogue.models import fields
from trod.catalogue.models.deployment import Deployment
from trod.catalogue.models.picture import Picture
from trod.catalogue.models.records import RecordImport
from trod.catalogue.models.reserve import Species
from trod.catalogue.models.sums import (
    DeploymentSum,
    SequenceRows,
    is_summing,
    mark_dirty,
    new_revision,
)


class Sequence(models.Model):
    """The pictures of one detection before one camera, as the review shows them."""

    key = models.CharField(max_length=100, unique=True, help_text="deployment and the first picture's SHA-256")
    deployment = models.ForeignKey(Deployment, on_delete=models.PROTECT, related_name="sequences")
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    frames = models.PositiveIntegerField(default=1)
    infrared = models.BooleanField(null=True)
    time_lapse = models.BooleanField(default=False, help_text="only time-lapse frames: proof of work, not a detection")
    cover = models.ForeignKey(Picture, on_delete=models.SET_NULL, null=True, related_name="+")
    record_import = models.ForeignKey(
        RecordImport, on_delete=models.PROTECT, null=True, related_name="sequences", help_text="the records it stands in"
    )
    # The word that stands. NULL: nobody has looked yet.
    # No index over all of it: SQLite would take that to find the many that nobody looked at, and sort them each time.
    identification = models.ForeignKey(
        "trod.Identification", on_delete=models.SET_NULL, null=True, related_name="+", db_index=False
    )

    objects = SequenceRows.as_manager()

    class Meta:
        ordering = ["start_at", "id"]
        indexes = [
            models.Index(fields=["deployment", "start_at"]),
            models.Index(fields=["start_at"], name="sequence_unseen", condition=Q(identification__isnull=True)),
        ]
        constraints = [
            models.CheckConstraint(name="sequence_times_in_order", condition=Q(end_at__gte=F("start_at"))),
            models.CheckConstraint(name="sequence_frames", condition=Q(frames__gte=1)),
            models.UniqueConstraint(
                fields=["identification"], name="sequence_word_once", condition=Q(identification__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return self.key


def _one_changed(sender: Any, instance: Sequence, **more: Any) -> None:
    if not is_summing():
        mark_dirty([instance.deployment_id])


def _first_sum(sender: Any, instance: Deployment, created: bool, raw: bool, **more: Any) -> None:
    """A new deployment has no sequence: that is known without counting."""
    if created and not raw:
        DeploymentSum.objects.get_or_create(
            deployment=instance, defaults={"revision": new_revision(), "times": new_revision()}
        )


post_save.connect(_one_changed, sender=Sequence, dispatch_uid="trod-sequence-saved")
post_delete.connect(_one_changed, sender=Sequence, dispatch_uid="trod-sequence-deleted")
post_save.connect(_first_sum, sender=Deployment, dispatch_uid="trod-first-sum")


class Identification(models.Model):
    """All that one person said about one sequence at one moment. Never changed, only followed or undone."""

    class Reached(models.TextChoices):
        TIME = "time", "in the order of time"
        CONTENT = "content", "picked by what is in it"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.ForeignKey(Sequence, on_delete=models.CASCADE, related_name="identifications")
    by = models.CharField(max_length=80)
    at = models.DateTimeField()
    note = models.CharField(max_length=500, blank=True)
    reached = models.CharField(
        "how it came up", max_length=8, choices=Reached, blank=True,
        help_text="when the sequence was first reviewed: by its time, or picked by what is in it; empty where not known",
    )  # fmt: skip
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["sequence", "at"]), models.Index(fields=["by", "at"])]

    def __str__(self) -> str:
        return f"{self.by}, {self.at:%Y-%m-%d %H:%M}"


class Observation(models.Model):
    """One line of a word: what, how many, which sex and life stage."""

    class What(models.TextChoices):
        ANIMAL = "animal", "animal"
        BLANK = "blank", "blank"
        PERSON = "human", "human"
        VEHICLE = "vehicle", "vehicle"
        UNKNOWN = "unknown", "unknown"

    class Sex(models.TextChoices):
        FEMALE = "female", "female"
        MALE = "male", "male"
        UNKNOWN = "unknown", "unknown"

    class LifeStage(models.TextChoices):
        ADULT = "adult", "adult"
        SUBADULT = "subadult", "subadult"
        JUVENILE = "juvenile", "juvenile"
        UNKNOWN = "unknown", "unknown"

    identification = models.ForeignKey(Identification, on_delete=models.CASCADE, related_name="observations")
    what = models.CharField(max_length=8, choices=What)
    species = models.ForeignKey(Species, on_delete=models.PROTECT, null=True, blank=True, related_name="observations")
    count = models.PositiveIntegerField(default=1)
    sex = models.CharField(max_length=8, choices=Sex, default=Sex.UNKNOWN)
    life_stage = models.CharField(max_length=8, choices=LifeStage, default=LifeStage.UNKNOWN)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["species", "what"])]
        constraints = [
            models.CheckConstraint(
                name="observation_count",
                condition=Q(count__gte=1),
                violation_error_message="an observation counts at least one",
            ),
            models.CheckConstraint(
                name="observation_species_is_animal", condition=Q(species__isnull=True) | Q(what="animal")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.species or self.what}"


class Mark(models.Model):
    """A dot that a person put on one animal in one picture."""

    observation = models.ForeignKey(Observation, on_delete=models.CASCADE, related_name="marks")
    picture = models.ForeignKey(Picture, on_delete=models.CASCADE, related_name="marks")
    x = models.FloatField(help_text="0 left to 1 right")
    y = models.FloatField(help_text="0 top to 1 bottom")

    class Meta:
        constraints = [fields.within("mark_x", "x", 0, 1), fields.within("mark_y", "y", 0, 1)]

    def __str__(self) -> str:
        return f"({self.x:.3f}, {self.y:.3f})"


class Suggestion(models.Model):
    """What a machine thinks is in a picture; never an observation until a person says so."""

    picture = models.ForeignKey(Picture, on_delete=models.CASCADE, related_name="suggestions")
    what = models.CharField(max_length=8, choices=Observation.What)
    species = models.ForeignKey(Species, on_delete=models.PROTECT, null=True, blank=True)
    score = models.FloatField(help_text="0 to 1")
    box = models.JSONField(null=True, blank=True, help_text="x, y, width, height in 0 to 1")
    by = models.CharField("made by", max_length=120)
    at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "suggestions"
        constraints = [fields.within("suggestion_score", "score", 0, 1)]

    def __str__(self) -> str:
        return f"{self.species or self.what} ({self.score:.2f})"
