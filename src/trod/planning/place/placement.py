"""A placement worked out: one camera, one place, one kind of animal, one way to hang it.

`work_out` gathers what the other modules of this room know into one record of facts (`facts`): what is advised, what
it follows from and what is to be minded. `trod.telling.placement` makes the sentences.

The angle to the path comes from a simulation of walk-bys when the caller hands one in (`angles`); without it
a rule stands in that was read off our own tables of that simulation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Literal

from trod.errors import WrongInput
from trod.planning.catch import detection, herdview
from trod.planning.catch.animals import Animal
from trod.planning.equipment import optics
from trod.planning.equipment.camera import CameraSpec
from trod.planning.ground.site import SiteGround
from trod.planning.place import glare, mounting
from trod.planning.place.advice import (
    GUIDELINES,
    PASSED,
    STAYED,
    AngleRule,
    AngleSpan,
    Holder,
    Mount,
    PlacementAdvice,
    angle_rule,
    headings_for,
    patch_span_m,
)
from trod.planning.place.facts import (
    AngleFact,
    BranchFact,
    DistanceFact,
    Fact,
    FlashFact,
    GroundFact,
    HeadingFact,
    HeightFact,
    HerdFact,
    Minded,
    PixelsFact,
    ReachFact,
    SnowFact,
    TiltFact,
    TooHidden,
    TrunkFact,
    WedgeFact,
)
from trod.planning.place.glare import FlashBand
from trod.planning.place.mounting import GroundSeen, SnowLimits, Wedge

__all__ = [
    "GUIDELINES",
    "PASSED",
    "STAYED",
    "AngleRule",
    "AngleSpan",
    "Holder",
    "Mount",
    "PlacementAdvice",
    "angle_rule",
    "headings_for",
    "work_out",
]

NEARLY_ALONG_DEG = 10.0  # below this angle the axis runs along the path and hardly meets it
TILT_DOUBT_DEG = 2.0  # of a strap on bark. Assumed.
GLARE_TOLD_H = 50.0
NIGHT_AIM_M = 8.0  # farther than this the guidelines' 3 to 5 m are told. Assumed.
LEANING_DEG = 3.0
HERD_FROM = 5


def work_out(
    spec: CameraSpec,
    ground: SiteGround,
    animal: Animal,
    mount: Mount | None = None,
    *,
    angles: Callable[[float], AngleSpan] | AngleSpan | None = None,
    year: int = 2026,
) -> PlacementAdvice:
    """Work a placement out.

    angles : what says at which angle to the path to review: a finished answer, or a callable that takes the
    path's distance [m]. Without it `angle_rule`.
    Notes : the order is angle → distance → height → tilt → heading, each taking the ones before as they
    are; none is searched together with another.
    """
    plan = _Plan(spec, ground, animal, mount or Mount(), angles, year)
    return plan.finished()


class _Plan:
    """One placement while it is worked out."""

    def __init__(
        self,
        spec: CameraSpec,
        ground: SiteGround,
        animal: Animal,
        mount: Mount,
        angles: Callable[[float], AngleSpan] | AngleSpan | None,
        year: int,
    ) -> None:
        self.spec, self.ground, self.animal, self.mount = spec, ground, animal, mount
        self.angles, self.year = angles, year
        self.facts: list[Fact] = []
        self.fov = spec.value("fov_deg")
        columns, rows = round(spec.value("columns")), round(spec.value("rows"))
        self.columns = columns
        self.vertical = optics.vertical_view_deg(fov_deg=self.fov, columns=columns, rows=rows)
        if not 1 <= self.vertical <= 170:
            raise WrongInput(
                "rows",
                got=f"{columns} × {rows} pixels behind a view {self.fov:.3g}° wide",
                needed="a picture from 1 to 170 degrees tall: look at columns, rows and fov_deg",
            )
        self.passing = ground.feature in PASSED or (ground.path_bearing_deg is not None and ground.feature not in STAYED)
        self.snow_m = ground.deepest_snow_m(mount.months)
        # The angle that an asked-for heading makes with the path; None when the angle is free.
        self.crossing: float | None = None
        if self.passing and mount.heading_deg is not None and ground.path_bearing_deg is not None:
            turn = (ground.path_bearing_deg - mount.heading_deg) % 180.0
            self.crossing = min(turn, 180.0 - turn)

    def finished(self) -> PlacementAdvice:
        angle = self._angle()
        distance = self._distance(angle)
        height, herd_share = self._height(distance)
        tilt, wedge = self._tilt(height, distance)
        seen, span, cut = self._frame(height, tilt, distance)
        heading, glare_h = self._heading(angle, tilt)
        cold, warm = self._reach(distance)
        flash = self._flash(distance)
        snow = self._snow(height, tilt, distance)
        self._branch(height, tilt)
        self._trunk(height)
        pixels = self._pixels(distance)
        return PlacementAdvice(
            height_m=height,
            tilt_deg=tilt,
            wedge=wedge,
            aim_distance_m=distance,
            aim_height_m=self.animal.trunk_centre_m,
            angle_deg=angle,
            heading_deg=heading,
            fov_deg=self.fov,
            vertical_deg=self.vertical,
            zone_deg=self.spec.value("zone_deg"),
            ground=seen,
            whole_span_m=span,
            cut_off_m=cut,
            snow=snow,
            snow_expected_m=self.snow_m,
            flash=flash,
            reach_cold=cold,
            reach_warm=warm,
            glare_h=glare_h,
            pixels_on_body=pixels,
            herd_share=herd_share,
            offset_m=self.ground.offset_m,
            crossing_deg=self.crossing,
            facts=tuple(self.facts),
            minded=self._minded(height),
        )

    # --- one piece after the other ------------------------------------------------------------

    def _angle(self) -> tuple[float, float, float] | None:
        if not self.passing:
            return None
        given = self.angles(self.ground.offset_m) if callable(self.angles) else self.angles
        found: AngleSpan = given if given is not None else angle_rule(self.ground.offset_m)
        low, best, high = found.low_deg, found.best_deg, found.high_deg
        if not 0 < low <= best <= high <= 90:
            raise WrongInput("angles", got=(low, best, high), needed="0 < low ≤ best ≤ high ≤ 90 degrees")
        asked = self.crossing
        self.facts.append(
            AngleFact(
                low_deg=low,
                best_deg=best,
                high_deg=high,
                chance=getattr(found, "chance", None),
                across=getattr(found, "across", None),
                asked_deg=asked if asked is not None and not low - 2.5 <= asked <= high + 2.5 else None,
            )
        )
        return low, best, high

    def _distance(self, angle: tuple[float, float, float] | None) -> float:
        mount, ground = self.mount, self.ground
        why: Literal["asked", "path", "patch", "where they stand"]
        if mount.aim_distance_m is not None:
            distance, why = mount.aim_distance_m, "asked"
        elif angle is not None:
            met = angle[1] if self.crossing is None else max(self.crossing, NEARLY_ALONG_DEG)
            distance, why = ground.offset_m / math.sin(math.radians(met)), "path"
        elif mount.patch_m is not None:
            distance, why = math.sqrt(mount.patch_m[0] * mount.patch_m[1]), "patch"
        else:
            distance, why = max(ground.offset_m, 2.0), "where they stand"
        self.facts.append(
            DistanceFact(
                distance_m=distance,
                why=why,
                path_m=ground.offset_m,
                patch_m=mount.patch_m,
                far_by_night=angle is not None and distance > NIGHT_AIM_M and self.spec.flash != "none",
            )
        )
        return distance

    def _height(self, distance: float) -> tuple[float, float | None]:
        animal, mount = self.animal, self.mount
        pays = None
        why: Literal["asked", "herd", "as high as can be", "trunk"]
        if mount.height_m is not None:
            height, why = mount.height_m, "asked"
        elif mount.herd >= HERD_FROM and animal.herds and not self.passing:
            pays = self._height_that_pays(distance)
            height, why = (mount.top_m, "as high as can be") if pays is None else (pays.height_m, "herd")
        else:
            height, why = min(max(animal.trunk_centre_m, 0.3), 1.0), "trunk"
        least = self.snow_m + mounting.LENS_CLEAR_M
        low = self.snow_m > 0 and height < least
        raised = low and mount.height_m is None
        if raised:
            height = least
        share = None
        if mount.herd >= 2 and animal.herds:
            share = self._herd(height, distance)
        self.facts.append(
            HeightFact(
                height_m=height,
                why=why,
                trunk_m=animal.trunk_centre_m,
                pays=pays,
                clear_of_snow=raised,
                snow_near_m=self.snow_m if low and not raised else None,
                beyond_m=mount.top_m if height > mount.top_m else None,
            )
        )
        return height, share

    def _patch(self, distance: float) -> dict[str, float]:
        """The ground a herd stands on, for `herdview`."""
        near, far = patch_span_m(self.mount, distance)
        return {
            "width_m": self.mount.patch_width_m or (far - near) * 4 / 3,
            "depth_m": far - near,
            "fov_deg": self.fov,
            "shoulder_m": self.animal.shoulder_mid_m,
        }

    def _height_that_pays(self, distance: float) -> herdview.HeightThatPays | None:
        """For the herd, or for the largest part of it that the table of herds knows."""
        for herd in (min(self.mount.herd, herdview.HERDS[-1]), 20, 10, 5):
            try:
                return herdview.height_that_pays(herd=herd, highest_m=self.mount.top_m, **self._patch(distance))
            except WrongInput:
                continue
        return None

    def _herd(self, height: float, distance: float) -> float | None:
        high = min(height, herdview.HEIGHTS_M[-1] * self.animal.shoulder_mid_m / herdview.SHOULDER_M)
        try:
            found = herdview.look(height_m=high, herd=float(self.mount.herd), **self._patch(distance))
        except herdview.HerdHidden as error:
            hidden = TooHidden(height_m=error.height_m, herd=error.herd, share=error.share, higher_m=error.higher_m)
            self.facts.append(HerdFact(hidden=hidden))
            return None
        except WrongInput as error:
            self.facts.append(HerdFact(beyond_table=str(error)))
            return None
        self.facts.append(HerdFact(seen=found))
        return found.share

    def _tilt(self, height: float, distance: float) -> tuple[float, Wedge]:
        slope = self.ground.slope_deg
        aim = self.animal.trunk_centre_m
        tilt = mounting.tilt_deg(height_m=height, distance_m=distance, aim_height_m=aim, slope_deg=slope)
        why: Literal["aim point", "both edges", "far edge"] = "aim point"
        near = 0.0
        if self.mount.patch_m is not None and not self.passing:
            high = mounting.high_mount(
                height_m=height,
                near_m=self.mount.patch_m[0],
                far_m=self.mount.patch_m[1],
                vertical_deg=self.vertical,
                back_m=self.animal.back_m,
                slope_deg=slope,
            )
            tilt, near = high.tilt_deg, high.near_m
            why = "both edges" if high.fits else "far edge"
        trunk = self.ground.trunk
        self.facts.append(
            TiltFact(
                tilt_deg=tilt,
                doubt_deg=TILT_DOUBT_DEG,
                why=why,
                aim_height_m=aim,
                distance_m=distance,
                near_m=near,
                lean_deg=trunk.lean_deg if trunk is not None and trunk.lean_deg > LEANING_DEG else None,
                upward=tilt < -1,
            )
        )
        wedge = mounting.wedge(tilt_deg=tilt, case_height_mm=self.mount.case_height_mm)
        self.facts.append(WedgeFact(wedge=wedge, case_height_mm=self.mount.case_height_mm))
        return tilt, wedge

    def _frame(self, height: float, tilt: float, distance: float) -> tuple[GroundSeen, tuple[float, float], float]:
        slope, animal = self.ground.slope_deg, self.animal
        seen = mounting.ground_seen(height_m=height, tilt_deg=tilt, vertical_deg=self.vertical, slope_deg=slope)
        span = mounting.whole_body_span_m(
            height_m=height, tilt_deg=tilt, vertical_deg=self.vertical, top_m=animal.back_m, slope_deg=slope
        )
        cut = mounting.cut_off_nearer_than_m(
            height_m=height, tilt_deg=tilt, vertical_deg=self.vertical, top_m=animal.head_m, slope_deg=slope
        )
        self.facts.append(
            GroundFact(
                seen=seen,
                vertical_deg=self.vertical,
                whole_m=span,
                head_from_m=cut,
                distance_m=distance,
                fits=span[0] <= distance <= span[1],
            )
        )
        return seen, span, cut

    def _heading(self, angle: tuple[float, float, float] | None, tilt: float) -> tuple[float | None, float | None]:
        ground, mount = self.ground, self.mount
        place = {"latitude_deg": ground.latitude_deg, "longitude_deg": ground.longitude_deg}
        view = {"tilt_deg": tilt, "fov_deg": self.fov, "vertical_deg": self.vertical}

        def sun(headings: Sequence[float]) -> list[float]:
            found = glare.hours_by_heading(list(headings), horizon=ground.horizon, year=self.year, **place, **view)
            return [float(h) for h in found]

        best = glare.best_headings(horizon=ground.horizon, year=self.year, **place, **view)
        options: tuple[float, ...] = ()
        why: Literal["asked", "least sun of these", "least sun"]
        if mount.heading_deg is not None:
            heading, why = mount.heading_deg, "asked"
        elif angle is not None and ground.path_bearing_deg is not None:
            options = headings_for(path_bearing_deg=ground.path_bearing_deg, angle_deg=angle[1], side=ground.side)
            suns = sun(options)
            heading, why = options[min(range(len(options)), key=lambda i: suns[i])], "least sun of these"
        elif angle is not None:
            self.facts.append(HeadingFact(heading_deg=None, why="no bearing", best=best))
            return None, None
        else:
            heading, why = best.best_deg, "least sun"
        hours = sun([heading])[0]
        self.facts.append(
            HeadingFact(
                heading_deg=heading,
                why=why,
                best=best,
                options=len(options),
                sun_h=hours,
                spread_deg=(angle[2] - angle[0]) / 2 if angle is not None and mount.heading_deg is None else 0.0,
                level_horizon=not ground.horizon.points,
                glare=hours > GLARE_TOLD_H and hours > best.least_h + GLARE_TOLD_H,
            )
        )
        return heading, hours

    def _reach(self, distance: float) -> tuple[detection.ReachBand, detection.ReachBand]:
        sensor = detection.Sensor(zone_deg=self.spec.value("zone_deg"), range_m=self.spec.value("range_m"))
        cold, warm = (detection.reach_band(sensor, self.animal.body, air_c=air) for air in self.mount.air_c)
        self.facts.append(
            ReachFact(
                animal=self.animal,
                cold=cold,
                warm=warm,
                warmest_c=self.mount.air_c[1],
                range_m=sensor.range_m,
                origin=self.spec.figure("range_m").origin,
                distance_m=distance,
                short=warm.low_m < distance,
            )
        )
        return cold, warm

    def _flash(self, distance: float) -> FlashBand | None:
        if self.spec.flash == "none":
            self.facts.append(FlashFact(band=None, origin=None))
            return None
        reach = self.spec.figure("flash_reach_m")
        band = glare.flash_band(reach_m=reach.value)
        if band.to_m < mounting.CLOSE_M:
            self.facts.append(FlashFact(band=None, origin=reach.origin))
            return None
        mind: Literal["", "dark", "burnt out"]
        mind = "dark" if distance > band.to_m else "burnt out" if distance < band.from_m else ""
        self.facts.append(FlashFact(band=band, origin=reach.origin, mind=mind))
        return band

    def _snow(self, height: float, tilt: float, distance: float) -> SnowLimits:
        limits = mounting.snow_limits(
            height_m=height,
            distance_m=distance,
            tilt_deg=tilt,
            vertical_deg=self.vertical,
            middle_m=self.animal.trunk_centre_m,
            back_m=self.animal.back_m,
            slope_deg=self.ground.slope_deg,
        )
        too_deep = self.snow_m > max(limits.deepest_m, 0.0)
        self.facts.append(SnowFact(limits=limits, expected_m=self.snow_m, too_deep=too_deep))
        return limits

    def _branch(self, height: float, tilt: float) -> None:
        if self.ground.branch is None:
            return
        sag = mounting.branch_sag(self.ground.branch, height_m=height, tilt_deg=tilt, vertical_deg=self.vertical)
        self.facts.append(BranchFact(sag=sag))

    def _trunk(self, height: float) -> None:
        trunk = self.ground.trunk
        if trunk is None:
            return
        self.facts.append(TrunkFact(rank=mounting.rank_trunks([trunk], height_m=height)[0]))

    def _pixels(self, distance: float) -> float:
        per_m = optics.pixels_per_m(columns=self.columns, distance_m=distance, fov_deg=self.fov)
        pixels = per_m * self.animal.body.length_m
        needed = optics.johnson_per_m("recognition", least_dimension_m=self.animal.body.height_m)
        claimed = self.spec.figure("columns").origin == "claimed"
        self.facts.append(PixelsFact(pixels=pixels, enough=per_m >= needed, claimed=claimed))
        return pixels

    def _minded(self, height: float) -> tuple[Minded, ...]:
        minded: list[Minded] = []
        if height > mounting.LADDER_FROM_M or self.mount.holder == "ladder":
            minded.append("ladder")
        if self.ground.feature == "den":
            minded.append("den young")
        if self.ground.feature in ("feeding", "lick"):
            minded.append("feeding permit")
        if self.ground.feature in ("trail", "road"):
            minded.append("people")
        if self.ground.sensitive:
            minded.append("sensitive")
        return tuple(minded)
