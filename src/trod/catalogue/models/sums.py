"""What a deployment's sequences come to, day by day and in all: kept, so that no page has to count them.

Rows here follow from sequences and identifications and are never the truth: `trod.catalogue.rows.rollups` fills them,
and a deployment whose row is missing or dirty is counted afresh.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

from django.db import models


class Counts(models.Model):
    """The counts that a day and a deployment have in common. Time-lapse frames are no sequences.

    dark, light : sequences in infrared and by daylight; where a camera does not tell, in neither.
    """

    sequences = models.PositiveIntegerField(default=0)
    dark = models.PositiveIntegerField(default=0)
    light = models.PositiveIntegerField(default=0)
    unreviewed = models.PositiveIntegerField(default=0)
    unreviewed_dark = models.PositiveIntegerField(default=0)
    unreviewed_light = models.PositiveIntegerField(default=0)
    identified = models.PositiveIntegerField(default=0)
    blanks = models.PositiveIntegerField(default=0, help_text="sequences identified as blank")
    frames = models.PositiveIntegerField(default=0, help_text="pictures of sequences")
    pictures = models.PositiveIntegerField(default=0, help_text="all of them, time-lapse frames too")

    class Meta:
        abstract = True


COUNTS = tuple(f.name for f in Counts._meta.fields)


class DeploymentSum(Counts):
    """One deployment in all.

    revision : another one after every change of its sequences or identifications, and never one that was before.
    times : the same, but of the sequences' times alone. dirty : somebody changed rows and did not sum them up.
    line : when the camera watched, as text; line_key : what that was worked out from.
    """

    deployment = models.OneToOneField(
        "trod.Deployment", on_delete=models.CASCADE, primary_key=True, related_name="kept_sum"
    )
    revision = models.CharField(max_length=16)
    times = models.CharField(max_length=16)
    dirty = models.BooleanField(default=False)
    zone = models.CharField(max_length=64, blank=True, help_text="in whose days it is summed; empty with no sequence")
    first_at = models.DateTimeField(null=True)
    last_at = models.DateTimeField(null=True)
    line = models.TextField(blank=True)
    line_key = models.CharField(max_length=32, blank=True)

    def __str__(self) -> str:
        return f"{self.deployment_id}: {self.sequences} sequences"


class DaySum(Counts):
    """One local day of one deployment.

    species : {number of the species: [sequences, most at once]}; most : at once of one species, or of animals whose
    species nobody said.
    """

    deployment = models.ForeignKey("trod.Deployment", on_delete=models.CASCADE, related_name="kept_days")
    day = models.DateField()
    species = models.JSONField(default=dict)
    most = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["deployment", "day"]
        constraints = [models.UniqueConstraint(fields=["deployment", "day"], name="day_sum_once")]

    def __str__(self) -> str:
        return f"{self.deployment_id}, {self.day}: {self.sequences} sequences"


def new_revision() -> str:
    """One that never was before, in any process."""
    return uuid4().hex[:16]


_summing = threading.local()


@contextmanager
def summing_up() -> Iterator[None]:
    """Whoever changes sequences within sums them up as well, so nothing is marked dirty."""
    before = getattr(_summing, "on", False)
    _summing.on = True
    try:
        yield
    finally:
        _summing.on = before


def is_summing() -> bool:
    """Whether this thread sums up itself what it changes."""
    return bool(getattr(_summing, "on", False))


def mark_dirty(deployments: Iterable[int]) -> None:
    """What is kept of these deployments is no longer true."""
    numbers = list(deployments)
    for start in range(0, len(numbers), 500):
        DeploymentSum.objects.filter(deployment__in=numbers[start : start + 500]).update(
            dirty=True, revision=new_revision(), times=new_revision()
        )


# What of a sequence is summed up.
SUMMED = frozenset({"deployment", "start_at", "end_at", "frames", "infrared", "time_lapse", "identification", "key"})


class SequenceRows(models.QuerySet[Any]):
    """Sequences; changing many at once marks what is kept of them dirty, unless the one who changes sums up."""

    def _touch(self) -> None:
        if not is_summing():
            mark_dirty(self.order_by().values_list("deployment_id", flat=True).distinct())

    def update(self, **values: Any) -> int:
        if SUMMED & {name.removesuffix("_id") for name in values}:
            self._touch()
            if (to := values.get("deployment", values.get("deployment_id"))) is not None and not is_summing():
                mark_dirty([getattr(to, "pk", to)])
        return super().update(**values)

    update.alters_data = True  # type: ignore[attr-defined]

    def delete(self) -> tuple[int, dict[str, int]]:
        self._touch()
        with summing_up():
            return super().delete()

    delete.alters_data = True  # type: ignore[attr-defined]
    delete.queryset_only = True  # type: ignore[attr-defined]

    def bulk_create(self, objs: Iterable[Any], *args: Any, **more: Any) -> list[Any]:
        rows = list(objs)
        made = super().bulk_create(rows, *args, **more)
        if rows and not is_summing():
            mark_dirty({row.deployment_id for row in rows})
        return made
