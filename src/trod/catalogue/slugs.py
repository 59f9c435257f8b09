"""Names of folders and addresses, made of what people call things."""

from __future__ import annotations

import re
import unicodedata

from django.db import models

# A file name that Windows keeps for devices makes no folder there.
KEPT_NAMES = frozenset({"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))})


def slug_from(text: str, otherwise: str) -> str:
    """A folder name of a text: lower-case ASCII with inner dashes, at most 56 characters."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o").replace("ł", "l"))
    slug = re.sub(r"[^a-z0-9]+", "-", plain.encode("ascii", "ignore").decode().lower()).strip("-")[:56].strip("-")
    slug = slug or otherwise
    return f"{otherwise}-{slug}" if slug in KEPT_NAMES else slug


def free_slug(model: type[models.Model], wanted: str, *, but: int | None = None) -> str:
    """`wanted`, or the first of wanted-2, wanted-3 … that no other row of the model has."""
    taken = set(model._default_manager.filter(slug__startswith=wanted).exclude(pk=but).values_list("slug", flat=True))
    if wanted not in taken:
        return wanted
    return next(f"{wanted}-{n}" for n in range(2, len(taken) + 3) if f"{wanted}-{n}" not in taken)
