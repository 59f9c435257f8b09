"""Records of somebody else, or of older years, that were imported already identified."""

from __future__ import annotations

import uuid

from django.db import models


class RecordImport(models.Model):
    """One import of identified records. Its files lie in a bag; sequences and identifications are read from that again.

    deployments : {what the records call it: slug}. species : {what they call the kind: slug}. made : slugs and serials
    of the records that were made for it, by kind, so that an undo knows what to take away.
    """

    class Effort(models.TextChoices):
        STATED = "stated", "each camera watched from start to end, as stated"
        SHOWN = "shown", "only what the records themselves prove"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    bag = models.CharField(max_length=100, help_text="the name of the import that holds its files")
    title = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=500)
    digest = models.CharField(max_length=64, help_text="SHA-256 over its files")
    at = models.DateTimeField()
    by = models.CharField(max_length=80, blank=True)
    effort = models.CharField(max_length=8, choices=Effort, default=Effort.STATED)
    machine = models.BooleanField(default=False, help_text="what a machine alone said counts as identified")
    zone = models.CharField(max_length=64, default="UTC", help_text="of times that were written without one")
    columns = models.JSONField(default=dict, blank=True)
    deployments = models.JSONField(default=dict, blank=True)
    species = models.JSONField(default=dict, blank=True)
    made = models.JSONField(default=dict, blank=True)
    counts = models.JSONField(default=dict, blank=True)
    skipped = models.JSONField(default=list, blank=True, help_text="rows that were left out, and why; the first of them")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return self.title or self.bag
