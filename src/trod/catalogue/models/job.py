"""Long work outside the request."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Job(models.Model):
    """One piece of long work: what, how far, and who is at it."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        PAUSED = "paused", "paused"
        DONE = "done", "done"
        FAILED = "failed", "failed"
        CANCELLED = "cancelled", "cancelled"

    kind = models.CharField(max_length=32)
    args = models.JSONField(default=dict)
    state = models.CharField(max_length=12, choices=State, default=State.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    message = models.CharField(max_length=300, blank=True)
    error = models.TextField(blank=True)
    result = models.JSONField(null=True, blank=True)
    wish = models.CharField(max_length=8, blank=True, help_text="'pause' or 'cancel', asked of whoever is at it")
    owner = models.CharField(max_length=80, blank=True)
    heartbeat = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    by = models.CharField(max_length=80, blank=True)
    created_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["id"], name="job_open", condition=Q(state__in=["waiting", "running"])),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}: {self.state}"
