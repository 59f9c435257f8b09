"""Room on a card: how large files are, how many fit, and what a file system will not take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trod.errors import WrongInput, positive

# Part of a card that is left for pictures after the file system's own tables. Assumed.
USABLE_SHARE = 0.995
# Fewer pictures than this say too little of their mean size.
FEWEST = 20


def usable_mb(card_gb: float) -> float:
    """Room for pictures on a card. [MB, 10⁶ bytes] card_gb : as printed on it (GB, 10⁹ bytes)."""
    if not 0 < card_gb <= 128_000:
        raise WrongInput("card_gb", got=card_gb, needed="gigabytes as printed on the card, above 0")
    return USABLE_SHARE * 1000 * card_gb


@dataclass(frozen=True, kw_only=True)
class FileSizes:
    """How large files are. MB are 10⁶ bytes.

    day_mb, night_mb : median size of a picture. day_cv, night_cv : spread, as standard deviation by mean of a
    lognormal. clip_mb_s : of a second of clip. slack_mb : lost with each file by whole clusters, half of 32 KiB.
    source : where they are from. assumed : whether nothing that came home tells any of them.
    """

    day_mb: float = 3.6
    day_cv: float = 0.30
    night_mb: float = 2.0
    night_cv: float = 0.35
    clip_mb_s: float = 1.5
    slack_mb: float = 0.016
    source: str = ""
    assumed: bool = True

    def __post_init__(self) -> None:
        for name in ("day_mb", "night_mb", "clip_mb_s"):
            positive(name, getattr(self, name))
        for name in ("day_cv", "night_cv", "slack_mb"):
            positive(name, getattr(self, name), needed="a number, 0 or more", zero=True)

    @property
    def day_mean_mb(self) -> float:
        """Mean of a day picture: median · √(1 + cv²). [MB]"""
        return self.day_mb * math.sqrt(1 + self.day_cv**2)

    @property
    def night_mean_mb(self) -> float:
        """Mean of a night picture. [MB]"""
        return self.night_mb * math.sqrt(1 + self.night_cv**2)

    @classmethod
    def from_pictures(
        cls,
        *,
        day_bytes: Sequence[int] = (),
        night_bytes: Sequence[int] = (),
        clips: Sequence[tuple[int, float]] = (),
        otherwise: FileSizes | None = None,
    ) -> FileSizes:
        """The sizes that came home on a card, whose mean beats any default.

        clips : (bytes, seconds) of each. otherwise : what holds where fewer than 20 pictures (1 clip) came.
        """
        base = otherwise or cls()
        found: dict[str, float] = {}
        said: list[str] = []
        for kind, sizes in (("day", day_bytes), ("night", night_bytes)):
            if any(size < 0 for size in sizes):
                raise WrongInput(f"{kind}_bytes", got=min(sizes), needed="sizes in bytes, 0 or more")
            whole = np.asarray([size for size in sizes if size > 0], dtype=float) / 1e6
            if len(whole) < FEWEST:
                continue
            mean, spread = float(whole.mean()), float(whole.std(ddof=1))
            cv = spread / mean
            found |= {f"{kind}_mb": mean / math.sqrt(1 + cv * cv), f"{kind}_cv": cv}
            said.append(f"{len(whole)} {kind} pictures")
        timed = [(size, seconds) for size, seconds in clips if size > 0 and seconds > 0]
        if timed:
            found["clip_mb_s"] = sum(size for size, _ in timed) / 1e6 / sum(seconds for _, seconds in timed)
            said.append(f"{len(timed)} clips")
        if not said:
            return base
        rest = "" if len(found) == 5 else "; the rest assumed" if base.assumed else "; the rest " + base.source
        values = {name: getattr(base, name) for name in SIZES} | found
        return cls(**values, slack_mb=base.slack_mb, source="from " + " and ".join(said) + rest, assumed=False)


SIZES = ("day_mb", "day_cv", "night_mb", "night_cv", "clip_mb_s")


def mb_per_trigger(sizes: FileSizes, *, frames: int, clip_s: float, night_share: float) -> float:
    """Card room that one trigger takes on the average, slack of each file in it. [MB]"""
    if not (isinstance(frames, int) and frames >= 0):
        raise WrongInput("frames", got=frames, needed="a whole number of pictures, 0 or more")
    positive("clip_s", clip_s, needed="seconds, 0 or more", zero=True)
    if not 0 <= night_share <= 1:
        raise WrongInput("night_share", got=night_share, needed="a share from 0 to 1")
    picture = (1 - night_share) * sizes.day_mean_mb + night_share * sizes.night_mean_mb + sizes.slack_mb
    clip = clip_s * sizes.clip_mb_s + (sizes.slack_mb if clip_s > 0 else 0.0)
    return frames * picture + clip
