"""Small things the rows share."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models

# A slug is a folder name on every system: lower case, no trailing dash, and short.
slug_rule = RegexValidator(
    r"^[a-z0-9](?:[a-z0-9-]{0,62}[a-z0-9])?$",
    "lower-case letters, digits and inner dashes only, at most 64, since it names a folder",
)


def slug_field(**more: Any) -> models.CharField:
    """The name of a record in addresses and folders, of which there is only one."""
    return models.CharField(max_length=64, validators=[slug_rule], unique=True, **more)


def between(low: float, high: float) -> list[Any]:
    """Validators that take a number from `low` to `high`."""
    return [MinValueValidator(low), MaxValueValidator(high)]


def check_zone(name: str) -> None:
    """Raise ValidationError for a time zone that nobody knows."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"{name!r} is no known time zone; write one like Europe/Vienna or America/Denver")


def latitude(**more: Any) -> models.FloatField:
    """A latitude. [°, north positive, WGS 84]"""
    return models.FloatField(validators=between(-90, 90), help_text="degrees, north positive (WGS 84)", **more)


def longitude(**more: Any) -> models.FloatField:
    """A longitude. [°, east positive, WGS 84]"""
    return models.FloatField(validators=between(-180, 180), help_text="degrees, east positive (WGS 84)", **more)


def within(name: str, field: str, low: float, high: float) -> models.CheckConstraint:
    """A database check that a number lies between two limits, or is not given."""
    return models.CheckConstraint(
        name=name,
        condition=models.Q(**{f"{field}__isnull": True}) | models.Q(**{f"{field}__gte": low, f"{field}__lte": high}),
        violation_error_message=f"{field.replace('_', ' ')} must lie between {low:g} and {high:g}",
    )
