"""What a trigger and a day cost a camera's batteries, and how long a pack lasts when every day is alike."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from trod.errors import WrongInput, positive
from trod.planning.equipment.batteries import PULSE_WEIGHT
from trod.planning.equipment.camera import ASSUMED, CameraSpec

# Assumed until somebody measures with a meter in the line; see `Draw.sources`.
DAY_CLIP_W, NIGHT_CLIP_W = 1.6, 8.0
DAY_PULSE_W, NIGHT_PULSE_W = 1.6, 8.0
SECONDS_A_DAY = 86_400
# How far off a figure may be, as a standard deviation of its logarithm. What nobody stated differs from kind to kind
# (waiting by ten times); what a maker states is the best of its samples. All assumed.
ASSUMED_LN = {"idle_w": 0.6, "wake_j": 0.4, "day_frame_j": 0.4, "night_frame_j": 0.4, "day_clip_w": 0.3,
              "night_clip_w": 0.3, "radio_j": 0.6}  # fmt: skip
CLAIMED_LN, MEASURED_LN = 0.25, 0.05


def burst_energy_j(*, frames: int, wake_j: float, frame_j: float) -> float:
    """The energy of one trigger with a burst of pictures: waking once, then each picture. [J]

    wake_j : to wake, write and go back to sleep, once for each trigger. frame_j : for each picture, the
    flash with it by night.
    """
    if not (isinstance(frames, int) and frames >= 1):
        raise WrongInput("frames", got=frames, needed="a whole number of pictures, 1 or more")
    positive("wake_j", wake_j, needed="joules, 0 or more", zero=True)
    positive("frame_j", frame_j, needed="joules, 0 or more", zero=True)
    return wake_j + frames * frame_j


@dataclass(frozen=True, kw_only=True)
class Draw:
    """What one camera draws.

    idle_w : while it waits. wake_j : for each trigger beside its pictures. day_frame_j, night_frame_j : for
    each picture. day_clip_w, night_clip_w : while it films. night_pulse_w, day_pulse_w : the heaviest pulse
    of a night picture (the flash) and of a day picture, which decide when batteries fail. pulse_weight : how
    much a short pulse loads batteries compared with a steady draw (ρ). radio_j : for each message sent.
    sources : (field, "measured" | "claimed" | "assumed") of each figure.
    """

    idle_w: float = float(ASSUMED.idle_mw or 0) / 1000
    wake_j: float = float(ASSUMED.wake_j or 0)
    day_frame_j: float = float(ASSUMED.day_frame_j or 0)
    night_frame_j: float = float(ASSUMED.night_frame_j or 0)
    day_clip_w: float = DAY_CLIP_W
    night_clip_w: float = NIGHT_CLIP_W
    night_pulse_w: float = NIGHT_PULSE_W
    day_pulse_w: float = DAY_PULSE_W
    pulse_weight: float = PULSE_WEIGHT
    radio_j: float = 0.0
    sources: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        for name in FIGURES:
            positive(name, getattr(self, name), needed="a number, 0 or more", zero=True)
        if not 0 <= self.pulse_weight <= 1:
            raise WrongInput("pulse_weight", got=self.pulse_weight, needed="a share from 0 to 1")

    @classmethod
    def of(cls, spec: CameraSpec) -> Draw:
        """The draw of a kind of camera: measured, else claimed, else assumed, figure by figure.

        Without a flash a night picture costs what a day picture costs, unless somebody says otherwise.
        """
        idle, wake, day, night = (spec.figure(name) for name in ("idle_mw", "wake_j", "day_frame_j", "night_frame_j"))
        dark = spec.flash == "none"
        sources = dict.fromkeys(FIGURES, "assumed")
        sources |= {"idle_w": idle.origin, "wake_j": wake.origin}
        sources |= {"day_frame_j": day.origin, "night_frame_j": night.origin}
        return cls(
            idle_w=idle.value / 1000,
            wake_j=wake.value,
            day_frame_j=day.value,
            night_frame_j=day.value if dark and night.origin == "assumed" else night.value,
            night_clip_w=DAY_CLIP_W if dark else NIGHT_CLIP_W,
            night_pulse_w=DAY_PULSE_W if dark else NIGHT_PULSE_W,
            sources=tuple(sources.items()),
        )

    @property
    def idle_wh_a_day(self) -> float:
        """What waiting costs in a day. [Wh]"""
        return self.idle_w * SECONDS_A_DAY / 3600

    def assumed(self) -> tuple[str, ...]:
        """The figures that nobody stated or measured; all of them when `sources` is empty."""
        known = {name for name, origin in self.sources if origin != "assumed"}
        return tuple(name for name in FIGURES if name not in known)

    def doubt_ln(self, name: str) -> float:
        """How far off a figure may be: the standard deviation of its logarithm."""
        origin = dict(self.sources).get(name, "assumed")
        if origin == "assumed":
            return ASSUMED_LN.get(name, 0.0)
        return MEASURED_LN if origin == "measured" else CLAIMED_LN

    def measured(self, **figures: float) -> Draw:
        """The same draw with figures that somebody measured."""
        sources = dict(self.sources) | dict.fromkeys(figures, "measured")
        return replace(self, sources=tuple(sources.items()), **figures)


def parts_doubt_ln(draw: Draw, parts_j: Mapping[str, float]) -> float:
    """How far off a sum of energies may be for not knowing the camera: √Σ(share · doubt)², of the logarithm.

    parts_j : energy by the figure of the draw that it rests on, in any one unit.
    Notes : the first order of the spread of a sum of independent lognormals.
    """
    whole = sum(parts_j.values())
    if whole <= 0:
        return 0.0
    return math.sqrt(sum((part / whole * draw.doubt_ln(name)) ** 2 for name, part in parts_j.items()))


FIGURES = (
    "idle_w",
    "wake_j",
    "day_frame_j",
    "night_frame_j",
    "day_clip_w",
    "night_clip_w",
    "night_pulse_w",
    "day_pulse_w",
    "radio_j",
)


def trigger_energy_j(draw: Draw, *, frames: int, clip_s: float, night_share: float) -> float:
    """What one trigger costs on the average: waking, a burst of `frames` and then a clip of `clip_s`. [J]

    frames : 0 when only clips are taken. night_share : of the triggers, 0 to 1.
    """
    if not (isinstance(frames, int) and frames >= 0):
        raise WrongInput("frames", got=frames, needed="a whole number of pictures, 0 or more")
    positive("clip_s", clip_s, needed="seconds, 0 or more", zero=True)
    if not 0 <= night_share <= 1:
        raise WrongInput("night_share", got=night_share, needed="a share from 0 to 1")
    day = frames * draw.day_frame_j + clip_s * draw.day_clip_w
    night = frames * draw.night_frame_j + clip_s * draw.night_clip_w
    return draw.wake_j + (1 - night_share) * day + night_share * night
