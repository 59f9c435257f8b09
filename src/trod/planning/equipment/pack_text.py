"""A pack of batteries from what people write: "8 × AA lithium", "12 FR6", "8 FR6 and 12 V 7 Ah"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from trod.planning.equipment.batteries import BATTERIES, Pack, external

# Words that stand for a kind of battery in what people write; the designations are those of IEC 60086.
BATTERY_WORDS: tuple[tuple[str, str], ...] = (
    (r"\bfr\s?6\b|lithium(?!\W*ion)|\bli\b(?!\W*ion)", "FR6"),
    (r"\bhr\s?6\b|ni-?mh|rechargeable(?!\W*lithium)", "HR6"),
    (r"\blr\s?6\b|alkaline", "LR6"),
)
KINDS = ("LR6", "FR6", "HR6")
# What is no battery of the AA size, whatever else stands beside it.
STRANGE = re.compile(
    r"18650|21700|li(?:thium)?\W?ion|\blr\s?(?:14|20|03)\b|\bfr\s?03\b|\b(?:c|d|aaa)[ -]batteries?\b|\baaa\b"
)
BESIDE = re.compile(r"(\d+(?:[.,]\d+)?)\s*v\b\W*(\d+(?:[.,]\d+)?)\s*ah\b")


@dataclass(frozen=True, kw_only=True)
class PackSaid:
    """Where a pack is from.

    kind : the kind of battery as the text has it, as the camera model has it, or assumed. number_assumed : nobody told
    how many. strange : what was written, where it is no kind that is known here; then all is assumed.
    """

    kind: Literal["text", "model", "assumed"]
    number_assumed: bool
    strange: str = ""

    @property
    def nothing(self) -> bool:
        """Whether neither kind nor number was told."""
        return bool(self.strange) or (self.kind == "assumed" and self.number_assumed)

    @property
    def whole(self) -> bool:
        """Whether kind and number were written down."""
        return self.kind == "text" and not self.number_assumed


def pack_from(text: str, *, kind: str = "", number: int | None = None) -> tuple[Pack, PackSaid]:
    """The pack that a text such as "8 × AA lithium", "12 FR6" or "8 FR6 and 12 V 7 Ah" tells of.

    What the text does not say is taken from `kind` and `number`, the camera model's; else eight LR6 are assumed.
    Returns the pack and where it is from.
    """
    low = re.sub(r"(\d)\s*[x×*]\s*", r"\1 × ", text.lower())
    beside = BESIDE.search(low)
    extra = None
    if beside:
        volts, hours = (float(beside[n].replace(",", ".")) for n in (1, 2))
        if 0 < volts <= 60 and 0 < hours <= 500:
            extra = external(volts, hours)
    elif "external" in low:
        extra = BATTERIES["external"]
    low = BESIDE.sub(" ", low)
    strange = STRANGE.search(low)
    word = "" if strange else next((battery for pattern, battery in BATTERY_WORDS if re.search(pattern, low)), "")
    low = re.sub(r"\b[flh]r\s?\d+\b|\d+(?:[.,]\d+)?\s*(?:v|mah|ah|wh)\b", " ", low)
    found = re.search(r"\b(\d{1,2}) ×", low) or re.search(r"(?:\bx|×|\*)\s*(\d{1,2})\b", low)
    found = found or re.search(r"(?<![\w.,/:-])(\d{1,2})(?![\d.,/:-]*\d)\b", low)
    count = int(found[1]) if found and not strange and 1 <= int(found[1]) <= 64 else None
    known = kind.upper() if kind.upper() in KINDS else ""
    if strange:
        return Pack(battery=BATTERIES[known or "LR6"], number=number or 8, extra=extra), PackSaid(
            kind="assumed", number_assumed=True, strange=text.strip()[:60]
        )
    said = PackSaid(kind="text" if word else "model" if known else "assumed", number_assumed=not (count or number))
    return Pack(battery=BATTERIES[word or known or "LR6"], number=count or number or 8, extra=extra), said
