"""Room on a card: how large files are, how many fit, and what a file system will not take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trod.errors import WrongInput, positive

# Part of a card that is left for pictures after the file system's own tables. Assumed.
USABLE_SHARE = 0.995
# A FAT32 file is at most 2**32 - 1 bytes long (Microsoft FAT specification; SD Association).
FAT32_MOST_BYTES = 2**32 - 1
# DCF (CIPA DC-009): file numbers run from 0001 to 9999, then a new folder begins or names repeat.
LAST_NUMBER = 9999
# Fewer pictures than this say too little of their mean size.
FEWEST = 20
GIB = 2**30
# SD Association: up to 2 GB FAT12/16, to 32 GB FAT32, to 2 TB exFAT.
FAMILIES = ((2.0, "FAT16"), (32.0, "FAT32"), (2000.0, "exFAT"))


def gib_from_gb(size_gb: float) -> float:
    """What stands on a card (GB, 10⁹ bytes) as many computers show it (GiB, 2³⁰ bytes)."""
    return size_gb * 1e9 / GIB


def gb_from_gib(size_gib: float) -> float:
    """What a computer shows in GiB (often written "GB") as what stands on the card."""
    return size_gib * GIB / 1e9


def usable_mb(card_gb: float) -> float:
    """Room for pictures on a card. [MB, 10⁶ bytes] card_gb : as printed on it (GB, 10⁹ bytes)."""
    if not 0 < card_gb <= 128_000:
        raise WrongInput("card_gb", got=card_gb, needed="gigabytes as printed on the card, above 0")
    return USABLE_SHARE * 1000 * card_gb


def file_system(card_gb: float) -> str:
    """The file system that a card of this size comes with."""
    usable_mb(card_gb)
    return next((name for most, name in FAMILIES if card_gb <= most), "exFAT")


@dataclass(frozen=True, kw_only=True)
class FileSizes:
    """How large files are. MB are 10⁶ bytes.

    day_mb, night_mb : median size of a picture. day_cv, night_cv : spread, as standard deviation by mean of a
    lognormal. clip_mb_s : of a second of clip. slack_mb : lost with each file by whole clusters, half of 32 KiB.
    source : where they are from.
    """

    day_mb: float = 3.6
    day_cv: float = 0.30
    night_mb: float = 2.0
    night_cv: float = 0.35
    clip_mb_s: float = 1.5
    slack_mb: float = 0.016
    source: str = "assumed"

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
        rest = "" if len(found) == 5 else "; the rest " + base.source
        values = {name: getattr(base, name) for name in SIZES} | found
        return cls(**values, slack_mb=base.slack_mb, source="from " + " and ".join(said) + rest)


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


def files_that_fit(
    sizes: FileSizes, card_gb: float, *, frames: int, clip_s: float = 0.0, night_share: float = 0.5
) -> int:
    """How many files a card takes before it is full, on the average."""
    each = mb_per_trigger(sizes, frames=frames, clip_s=clip_s, night_share=night_share)
    if not each > 0:
        raise WrongInput("frames", got=frames, needed="at least one picture or a clip for each trigger")
    return int(usable_mb(card_gb) / each * (frames + (clip_s > 0)))


def longest_clip_s(sizes: FileSizes, card_gb: float) -> float:
    """The longest clip that the card's file system takes; infinite where there is no limit but the card. [s]"""
    if file_system(card_gb) == "exFAT":
        return math.inf
    most = FAT32_MOST_BYTES if file_system(card_gb) == "FAT32" else 2**31 - 1
    return most / 1e6 / sizes.clip_mb_s


def room_cautions(
    sizes: FileSizes, card_gb: float, *, frames: int, clip_s: float = 0.0, night_share: float = 0.5
) -> tuple[str, ...]:
    """What must be said of a card and what is put on it."""
    said: list[str] = []
    longest = longest_clip_s(sizes, card_gb)
    if clip_s > longest:
        said.append(
            f"A clip of {clip_s:.0f} s is larger than one file may be on a {file_system(card_gb)} card "
            f"(about {longest:.0f} s at {sizes.clip_mb_s:g} MB/s): it will be cut in two or end early."
        )
    most = files_that_fit(sizes, card_gb, frames=frames, clip_s=clip_s, night_share=night_share)
    if most > LAST_NUMBER:
        said.append(
            f"About {most} files fit on this card and file numbers end at {LAST_NUMBER}: names will repeat, or "
            "the camera begins a new folder. Take the whole card in, never single folders."
        )
    if card_gb > 32:
        said.append("Cards above 32 GB come with exFAT; some cameras take no card above 32 GB. Look in its manual.")
    return tuple(said)
