"""Questions kept, findings made of them, and planned rounds."""

from __future__ import annotations

import uuid

from django.db import models
from django.urls import reverse

from trod.catalogue.models.reserve import Reserve, Site


class Question(models.Model):
    """A question somebody wants to ask again: its kind and its filter."""

    class Kind(models.TextChoices):
        WHAT_COMES = "what-comes", "What comes here?"
        WHEN = "when", "When do they come?"
        CHANGE = "change", "Is it changing?"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reserve = models.ForeignKey(Reserve, on_delete=models.CASCADE, related_name="questions")
    kind = models.CharField(max_length=16, choices=Kind)
    title = models.CharField(max_length=160)
    filter = models.JSONField(default=dict)
    by = models.CharField(max_length=80, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return self.title


class Finding(models.Model):
    """An answer as it was given on a day, kept whole."""

    question = models.ForeignKey(Question, on_delete=models.CASCADE, related_name="findings")
    at = models.DateTimeField()
    result = models.JSONField()

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.question}, {self.at:%Y-%m-%d}"


class Round(models.Model):
    """A planned trip."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reserve = models.ForeignKey(Reserve, on_delete=models.CASCADE, related_name="rounds")
    name = models.CharField(max_length=120)
    day = models.DateField()
    by = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)
    wish = models.JSONField(default=dict, blank=True, help_text="what was asked for; see trod.catalogue.rounds.wishes")
    plan = models.JSONField(
        default=dict, blank=True, help_text="what was planned; see trod.catalogue.rounds.round_plain"
    )
    made_at = models.DateTimeField("planned", null=True, blank=True)

    class Meta:
        ordering = ["-day", "-id"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("rounds:round", args=[self.uuid])


class RoundStop(models.Model):
    """One site on a round, in its turn."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    site = models.ForeignKey(Site, on_delete=models.PROTECT)
    turn = models.PositiveSmallIntegerField()
    day = models.DateField(null=True, blank=True)
    party = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["turn"]
        constraints = [models.UniqueConstraint(fields=["round", "turn"], name="round_turn_once")]

    def __str__(self) -> str:
        return f"{self.turn}. {self.site}"
