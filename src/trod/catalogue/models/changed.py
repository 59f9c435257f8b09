"""Who changed a record last, and when: told to somebody whose page was opened before."""

from __future__ import annotations

from django.db import models


class LastChange(models.Model):
    """The last change of one record. It lies in the catalogue alone: after a rebuild no page is older than it."""

    kind = models.CharField(max_length=40, help_text="the record's kind, as Django names it")
    number = models.BigIntegerField(help_text="the row's number")
    at = models.DateTimeField()
    by = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "number"], name="last_change_once_a_record")]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}, {self.at:%Y-%m-%d %H:%M}, {self.by or 'nobody named'}"
