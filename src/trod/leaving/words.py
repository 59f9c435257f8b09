"""Words that people wrote, without the coordinates that may stand in them.

Degrees, in decimals or with minutes and seconds, map references of the UTM and MGRS kinds, links to a map and `geo:`
addresses (RFC 5870) are known by their shape. A place told in other words ("behind the old mill") is not.
"""

from __future__ import annotations

import re

LEFT_OUT = "[place left out]"
_DEGREES = r"[-+−]?\d{1,3}[.,]\d{3,}\s*°?\s*[NSEWO]?"
_MINUTES = r"\d{1,3}\s*[°º]\s*\d{1,2}(?:[.,]\d+)?\s*(?:['′’]\s*(?:\d{1,2}(?:[.,]\d+)?\s*(?:[\"″”]|''))?)?\s*[NSEWO]?"
_PLACES = re.compile(
    "|".join(
        (
            r"geo:\S+",
            r"https?://\S+",
            rf"\b[NSEWO]?\s?{_MINUTES}(?:\s*[,;/]?\s*[NSEWO]?\s?{_MINUTES})?",
            rf"[NSEWO]?\s?(?<![\d.]){_DEGREES}(?:\s*[,;/ ]\s*[NSEWO]?\s?{_DEGREES})+",
            r"\b[NSEWO]\s?\d{1,3}[.,]\d{3,}\b|\b\d{1,3}[.,]\d{4,}\s*°?\s*[NSEWO]\b",
            r"\b\d{1,2}\s?[C-HJ-NP-X]\s?[A-HJ-NP-Z]{2}\s?\d{2,5}\s?\d{2,5}\b",
            r"\b\d{1,2}\s?[C-HJ-NP-X]\s+\d{6,7}\s*[,;/m ]*\s*\d{6,7}\b",
        )
    )
)


def without_places(text: str) -> str:
    """The text with each coordinate in it left out."""
    return _PLACES.sub(LEFT_OUT, text)
