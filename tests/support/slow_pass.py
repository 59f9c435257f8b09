"""Passing animals once more, slowly and by other means: to judge the quick simulation by.

Nothing here is shared with trod.planning but its records. The body is a rectangle with corners, pushed along
the path in steps; a ray is covered while corners lie on both sides of it; the crossing rate is the measured
turn of the line of sight; the share in the picture is counted over points of the body.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trod.planning.catch.walkby import Case

STEP_M = 0.004


@dataclass
class Outcome:
    """Counts over passes."""

    passes: int = 0
    triggered: int = 0
    middle: int = 0
    whole: int = 0
    triggers: int = 0
    frames: int = 0
    empty: int = 0


class SlowPass:
    """One case, one direction."""

    def __init__(self, case: Case, *, forward: bool) -> None:
        self.case = case
        a = math.radians(case.path.angle_deg)
        self.way = np.array([math.cos(a), math.sin(a)]) * (1 if forward else -1)
        self.side = np.array([-self.way[1], self.way[0]])
        self.foot = case.path.offset_m * np.array([math.sin(a), -math.cos(a)])
        self.pulses = sorted(self._pulses())

    def place(self, s: np.ndarray) -> np.ndarray:
        """Where the middle is, (…, 2), after s metres of the animal's own way past the foot."""
        return self.foot + np.asarray(s)[..., None] * self.way

    def _pulses(self) -> list[tuple[float, float, float]]:
        """(place, signal for one kelvin in thresholds, turns of the line of sight for each metre)"""
        body, sensor = self.case.passer.body, self.case.sensor
        # The farthest that matters: where even ten times the usual warmth would not do.
        far = 3.3 * sensor.range_m * math.sqrt(sensor.sensitivity * body.side_area_m2 / 0.83)
        s = np.arange(-min(far, 80.0), min(far, 80.0), STEP_M)
        centre = self.place(s)
        corners = [
            centre + i * body.length_m / 2 * self.way + j * body.width_m / 2 * self.side
            for i in (-1, 1)
            for j in (-1, 1)
        ]
        found = []
        for ray in np.radians(sensor.rays_deg):
            e = np.array([math.cos(ray), math.sin(ray)])
            sides = np.stack([e[0] * c[:, 1] - e[1] * c[:, 0] for c in corners])
            ahead = np.stack([c @ e for c in corners]).min(axis=0) > 0
            covered = (sides.min(axis=0) < 0) & (sides.max(axis=0) > 0) & ahead
            # Where the path's own line meets the ray: by search.
            across = e[0] * centre[:, 1] - e[1] * centre[:, 0]
            meet = np.flatnonzero((across[:-1] < 0) != (across[1:] < 0))
            meet = [m for m in meet if centre[m] @ e > 0]
            if not meet:
                continue
            k = meet[0]
            away = math.hypot(*centre[k])
            bearing = np.arctan2(centre[k - 1 : k + 2, 1], centre[k - 1 : k + 2, 0])
            turn = abs(bearing[2] - bearing[0]) / (2 * STEP_M)  # rad for each metre of way
            spread = np.array([c[k] for c in corners])
            width = np.ptp(e[0] * spread[:, 1] - e[1] * spread[:, 0])
            signal = body.height_m * width / away**2 * sensor.sensitivity / (0.83 * 5 / sensor.range_m**2)
            for edge in np.flatnonzero(covered[:-1] != covered[1:]):
                found.append((float(s[edge]), float(signal), float(turn)))
        return found

    def share_in_view(self, s: float) -> float:
        """The share of the body's points inside the view."""
        body, view = self.case.passer.body, self.case.view
        i, j = np.meshgrid(np.linspace(-0.5, 0.5, 61), np.linspace(-0.5, 0.5, 21))
        points = (
            self.place(np.array(s)) + i[..., None] * body.length_m * self.way + j[..., None] * body.width_m * self.side
        )
        bearing = np.degrees(np.arctan2(points[..., 1], points[..., 0]))
        inside = (np.abs(bearing) <= view.fov_deg / 2) & (np.hypot(*np.moveaxis(points, -1, 0)) <= view.reach_m)
        return float(inside.mean())

    def run(self, passes: int, rng: np.random.Generator, into: Outcome) -> None:
        """Let so many animals pass."""
        case, timing, sensor = self.case, self.case.timing, self.case.sensor
        shares = np.array([g.share for g in case.passer.gaits])

        def gain(f: float) -> float:
            up = 1 / math.sqrt(1 + (sensor.low_hz / f) ** 2)
            return up / math.sqrt(1 + (f / sensor.high_hz) ** 2)

        for _ in range(passes):
            gait = case.passer.gaits[rng.choice(len(shares), p=shares / shares.sum())]
            v = gait.median_mps * math.exp(gait.sigma_ln * rng.standard_normal())
            warm = case.contrast_k * math.exp(case.contrast_spread_ln * rng.standard_normal())
            into.passes += 1
            triggers, got_middle, got_whole, listens = 0, False, False, -math.inf
            for at, signal, turn in self.pulses:
                f = v * turn / (2 * math.radians(sensor.true_pitch_deg))
                if at < listens or f == 0 or warm * signal * gain(f) / gain(1.0) < 1:
                    continue
                triggers += 1
                delay = timing.trigger_s * math.exp(timing.jitter_ln * rng.standard_normal())
                for frame in range(timing.frames):
                    s = at + v * (delay + frame * timing.gap_s)
                    x, y = self.place(np.array(s))
                    share = self.share_in_view(s)
                    into.frames += 1
                    into.empty += share == 0
                    got_whole |= share >= 0.8
                    got_middle |= (
                        abs(math.degrees(math.atan2(y, x))) <= case.view.fov_deg / 2
                        and math.hypot(x, y) <= case.view.reach_m
                    )
                listens = at + v * (delay + (timing.frames - 1) * timing.gap_s + timing.rearm_s)
            into.triggered += triggers > 0
            into.triggers += triggers
            into.middle += got_middle
            into.whole += got_whole
