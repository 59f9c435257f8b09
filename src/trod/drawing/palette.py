"""Every colour, by its name: by day, by night and on paper.

The pages' style sheets and the templates of printed sheets cannot import this; `tests/drawing/test_palette.py`
holds them to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Tone = Literal["light", "night", "paper"]

LIGHT: Mapping[str, str] = {
    "paper": "#f6f1e4", "leaf": "#fffdf6", "ruled": "#ddd3bb", "edge": "#8f8468", "ink": "#26231c",
    "faint": "#5a5342", "moss": "#46602a", "moss-ink": "#fffdf6", "moss-wash": "#e4ead4", "clay": "#9c4221",
    "clay-wash": "#f6e1d3", "water": "#3a5f78",
    # In charts alone: an interval's band, the sky of night and of twilight.
    "band": "#a9b98f", "night-sky": "#d6cdb8", "twilight-sky": "#e8e0cd",
}  # fmt: skip
NIGHT: Mapping[str, str] = {
    "paper": "#17140f", "leaf": "#201c15", "ruled": "#3b3426", "edge": "#8a7f66", "ink": "#d8cbab",
    "faint": "#a99d7f", "moss": "#a3bd7a", "moss-ink": "#17140f", "moss-wash": "#2b3320", "clay": "#e0936c",
    "clay-wash": "#3d2619", "water": "#8fb4cc",
    "band": "#55663f", "night-sky": "#0f0d0a", "twilight-sky": "#1b1813",
}  # fmt: skip
PAPER: Mapping[str, str] = {
    "paper": "#ffffff", "leaf": "#ffffff", "ruled": "#d8d3c6", "edge": "#8f8468", "ink": "#1d1b16",
    "faint": "#5b5548", "moss": "#3d5524", "moss-ink": "#ffffff", "moss-wash": "#e4ead4", "clay": "#8a3a1c",
    "clay-wash": "#f6e1d3", "water": "#3a5f78",
    "band": "#b3c09c", "night-sky": "#e3ded2", "twilight-sky": "#f0ece3",
    "blank": "#bdb6a4",  # a line to write on
}  # fmt: skip
TONES: Mapping[Tone, Mapping[str, str]] = {"light": LIGHT, "night": NIGHT, "paper": PAPER}

NOT_ON_PAGES = ("band", "night-sky", "twilight-sky", "blank")


def as_css(tone: Tone) -> str:
    """The colours of a tone as a style sheet declares them, those that no page needs left out."""
    return " ".join(f"--{name}: {colour};" for name, colour in TONES[tone].items() if name not in NOT_ON_PAGES)
