"""Names of folders and addresses, made of what people call things."""

from __future__ import annotations

import re
import unicodedata

from django.db import models

from trod.archive.making import UNPLACED
from trod.archive.papers import NOTES

# A file name that Windows keeps for devices makes no folder there; and the archive's own folders are no site's.
KEPT_NAMES = frozenset({"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))}) | {
    UNPLACED,
    NOTES,
}
# Letters that no accent can be taken off from.
LETTERS = str.maketrans({"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})


def slug_from(text: str, otherwise: str) -> str:
    """A folder name of a text: lower-case ASCII with inner dashes, at most 56 characters."""
    plain = unicodedata.normalize("NFKD", text.lower().translate(LETTERS)).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:56].strip("-")
    slug = slug or otherwise
    return f"{otherwise}-{slug}" if slug in KEPT_NAMES else slug


def free_slug(model: type[models.Model], wanted: str, *, but: int | None = None) -> str:
    """`wanted`, or the first of wanted-2, wanted-3 … that no other row of the model has."""
    taken = set(model._default_manager.filter(slug__startswith=wanted).exclude(pk=but).values_list("slug", flat=True))
    if wanted not in taken:
        return wanted
    return next(f"{wanted}-{n}" for n in range(2, len(taken) + 3) if f"{wanted}-{n}" not in taken)
