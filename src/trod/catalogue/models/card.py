"""Cards, and the imports that brought their pictures home."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import models
from django.db.models import F, Q

from trod.archive.verdict import CardFacts, Tally, Verdict, from_plain, verdict
from trod.catalogue.models.deployment import Deployment


class Card(models.Model):
    """A memory card, by the label written on it."""

    class State(models.TextChoices):
        READY = "ready", "empty, ready to go out"
        OUT = "out", "in a camera"
        HOME = "home", "home, not imported yet"
        KEPT = "kept", "imported, safe to format in the camera"
        BAD = "bad", "worn out or damaged"
        LOST = "lost", "lost"

    label = models.CharField(max_length=64, unique=True)
    size_gb = models.FloatField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.READY)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["label"]
        constraints = [models.CheckConstraint(name="card_has_label", condition=~Q(label=""))]

    def __str__(self) -> str:
        return self.label


class Import(models.Model):
    """One card or folder imported: one bag in the archive."""

    class State(models.TextChoices):
        COPYING = "copying", "being copied"
        PAUSED = "paused", "paused"
        WHOLE = "whole", "whole"
        FAILED = "failed", "stopped by an error"

    name = models.CharField(max_length=80, unique=True)
    folder = models.CharField(max_length=400, unique=True, help_text="the bag, relative to the archive")
    deployment = models.ForeignKey(Deployment, on_delete=models.PROTECT, null=True, blank=True, related_name="imports")
    card = models.ForeignKey(Card, on_delete=models.SET_NULL, null=True, blank=True, related_name="imports")
    state = models.CharField(max_length=8, choices=State, default=State.COPYING)
    source = models.CharField(max_length=500)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    by = models.CharField(max_length=80, blank=True)
    files = models.PositiveIntegerField(default=0)
    new = models.PositiveIntegerField(default=0)
    duplicates = models.PositiveIntegerField(default=0)
    damaged = models.PositiveIntegerField(default=0)
    foreign = models.PositiveIntegerField(default=0)
    skipped = models.PositiveIntegerField(default=0)
    bytes = models.PositiveBigIntegerField(default=0)
    seconds = models.FloatField(default=0)
    read_back = models.BooleanField(default=True)
    safe_to_format = models.BooleanField(default=False, help_text="what `verdict` says; set by every save")
    seen = models.JSONField(null=True, blank=True, help_text="what was told of the card's files: how many and which")
    accepted_by = models.CharField(max_length=80, blank=True, help_text="who said that the damaged files may go")
    accepted_at = models.DateTimeField(null=True, blank=True)
    notes = models.JSONField(default=list, blank=True, help_text="what was wrong, one sentence each")
    place_notes = models.JSONField(default=list, blank=True, help_text="what does not fit where it lies; follows a move")
    clock_faults = models.JSONField(
        null=True, blank=True, help_text="what its times show of the camera's clock, and of what that was worked out"
    )
    moves = models.JSONField(default=list, blank=True, help_text="from and to which deployment, when and by whom")

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.CheckConstraint(
                name="card_import_times_in_order",
                condition=Q(finished_at__isnull=True) | Q(finished_at__gte=F("started_at")),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def all_notes(self) -> list[str]:
        """What there is to tell of it, one sentence each."""
        return list(dict.fromkeys([*self.notes, *self.place_notes]))

    @property
    def verdict(self) -> Verdict:
        """May the card be formatted: the one rule, asked of what this import wrote down."""
        return verdict(
            CardFacts(
                files=self.files,
                new=self.new,
                kept_before=self.duplicates,
                read_back=self.read_back,
                seen=self._seen(),
                accepted=self.accepted_at is not None,
            )
        )

    def _seen_before(self) -> list[tuple[str, int]]:
        return [("damaged", self.damaged), ("unverified", int(not self.safe_to_format))]

    def _seen(self) -> dict[str, Tally]:
        seen = from_plain(self.seen) if isinstance(self.seen, dict) else {}
        return seen if self.state == self.State.WHOLE else {**seen, "unfinished": Tally(1)}

    def save(self, *args: Any, update_fields: Iterable[str] | None = None, **more: Any) -> None:
        if self.seen is None and self.state == self.State.WHOLE:  # of before the single tellings were kept
            self.seen = {what: {"count": n} for what, n in self._seen_before() if n}
        self.safe_to_format = self.verdict.safe
        if update_fields is not None:
            update_fields = {*update_fields, "safe_to_format", "seen"}
        super().save(*args, update_fields=update_fields, **more)


class KeptFile(models.Model):
    """A file of a bag that is no picture of the catalogue: a sound note, or a second copy of the same bytes."""

    card_import = models.ForeignKey(Import, on_delete=models.CASCADE, related_name="kept_files")
    sha256 = models.CharField(max_length=64, db_index=True)
    path = models.CharField(max_length=500, unique=True, help_text="relative to the archive")

    def __str__(self) -> str:
        return self.path
