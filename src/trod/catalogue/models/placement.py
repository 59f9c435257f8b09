"""Ways to hang a camera, worked out on the placement planner and kept."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from trod.catalogue.models import fields
from trod.catalogue.models.camera import CameraModel
from trod.catalogue.models.reserve import Site


class Placement(models.Model):
    """One way to hang one kind of camera at a site. At most three of a site stand side by side.

    `inputs` is what was entered on the placement planner, not what came out: the answer is worked out anew, so that it
    follows what is learned of the camera and the place.
    """

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="placements")
    turn = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=80, blank=True)
    camera_model = models.ForeignKey(
        CameraModel, on_delete=models.SET_NULL, null=True, blank=True, related_name="placements"
    )
    animal = models.CharField(max_length=40)
    inputs = models.JSONField(default=dict, blank=True)
    chosen = models.BooleanField(default=False, help_text="the one a set-up sheet was made of")
    by = models.CharField(max_length=80, blank=True)
    at = models.DateTimeField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["site", "turn"]
        constraints = [
            models.UniqueConstraint(fields=["site", "turn"], name="placement_turn_once_a_site"),
            models.UniqueConstraint(fields=["site"], condition=Q(chosen=True), name="placement_chosen_once_a_site"),
            fields.within("placement_turn", "turn", 1, 3),
        ]

    def __str__(self) -> str:
        return self.name or f"{self.site}, {self.turn}"
