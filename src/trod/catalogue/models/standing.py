"""What this catalogue was built from: the archive's identity and, for each paper, the state that was read whole."""

from __future__ import annotations

from django.db import models


class Catalogue(models.Model):
    """One row: whose archive this is a catalogue of, and whether it is filled."""

    class State(models.TextChoices):
        BUILDING = "building", "being made from the archive"
        WHOLE = "whole", "whole"

    archive = models.CharField(max_length=64, blank=True, help_text="the archive's identity, once it has one")
    state = models.CharField(max_length=8, choices=State, default=State.WHOLE)
    since = models.DateTimeField()
    owing = models.BooleanField(default=False, help_text="a record could not be written to the archive yet")

    def __str__(self) -> str:
        return f"{self.archive or 'an archive'}: {self.state}"


class Paper(models.Model):
    """One paper of the archive as this catalogue knows it.

    coming : the SHA-256 that it is being given, told before it is written, so that a kill in between leaves no doubt.
    """

    path = models.CharField(max_length=400, unique=True, help_text="below the archive")
    sha256 = models.CharField(max_length=64, blank=True, help_text="of the state read or written; empty for none")
    coming = models.CharField(max_length=72, null=True, blank=True)
    whole = models.BooleanField(default=True, help_text="every record in it was read")
    lines = models.PositiveIntegerField(
        default=0, help_text="of identifications.jsonl: how many lines the catalogue holds"
    )

    def __str__(self) -> str:
        return self.path


class Deletion(models.Model):
    """A record that somebody deleted, or gave another key, until the papers say so."""

    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.CharField(max_length=80, blank=True)
    became = models.CharField(max_length=300, blank=True, help_text="the new key, of one that was renamed")

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
