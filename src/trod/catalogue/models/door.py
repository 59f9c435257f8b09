"""How often somebody tried to come in, and from where: kept in the database, so that it holds over processes."""

from __future__ import annotations

from django.db import models


class LoginTries(models.Model):
    """Wrong passwords counted under one key: see `trod.web.shared.tries`. No name and no address stands in it."""

    key = models.CharField(max_length=64, unique=True, help_text="a keyed hash of what is counted")
    count = models.PositiveIntegerField(default=0)
    since = models.DateTimeField(help_text="when the counting began")

    class Meta:
        indexes = [models.Index(fields=["since"])]

    def __str__(self) -> str:
        return f"{self.count} since {self.since:%Y-%m-%d %H:%M}"
