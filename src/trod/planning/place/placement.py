"""A placement worked out: one camera, one place, one kind of animal, one way to hang it.

`work_out` gathers what the other modules of this room know into one record: a sentence to act on, and pieces
of advice, each with its value, its reason and its caution. What is not known closely is told as a span.

The angle to the path comes from a simulation of walk-bys when the caller hands one in (`angles`); without it
a rule stands in that was read off our own tables of that simulation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from trod.errors import NotEnoughEvidence, WrongInput
from trod.planning import said
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
    Advice,
    AngleRule,
    AngleSpan,
    Basis,
    Holder,
    Mount,
    PlacementAdvice,
    angle_rule,
    headings_for,
    patch_span_m,
)
from trod.planning.place.glare import FlashBand
from trod.planning.place.mounting import GroundSeen, SnowLimits, Wedge
from trod.planning.said import length
from trod.units import System

__all__ = [
    "GUIDELINES",
    "PASSED",
    "STAYED",
    "Advice",
    "AngleRule",
    "AngleSpan",
    "Basis",
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
HERD_FROM = 5
SHALLOW_M = 0.025  # of snow; less is none


def work_out(
    spec: CameraSpec,
    ground: SiteGround,
    animal: Animal,
    mount: Mount | None = None,
    *,
    angles: Callable[[float], AngleSpan] | AngleSpan | None = None,
    system: System = "metric",
    year: int = 2026,
) -> PlacementAdvice:
    """Work a placement out.

    angles : what says at which angle to the path to review: a finished answer, or a callable that takes the
    path's distance [m]. Without it `angle_rule`.
    Notes : the order is angle → distance → height → tilt → heading, each taking the ones before as they
    are; none is searched together with another.
    """
    plan = _Plan(spec, ground, animal, mount or Mount(), angles, system, year)
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
        system: System,
        year: int,
    ) -> None:
        self.spec, self.ground, self.animal, self.mount = spec, ground, animal, mount
        self.angles, self.system, self.year = angles, system, year
        self.pieces: list[Advice] = []
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

    def say(self, metres: float) -> str:
        return length(metres, self.system)

    def add(self, key: str, label: str, value: str, reason: str, **more: object) -> None:
        self.pieces.append(Advice(key=key, label=label, value=value, reason=reason, **more))  # type: ignore[arg-type]

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
        cautions = [p.caution for p in self.pieces if p.caution] + self._usual(height)
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
            advice=tuple(self.pieces),
            cautions=tuple(dict.fromkeys(cautions)),
            sentence=self._sentence(height, distance, angle, heading, wedge),
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
        chance, across = getattr(found, "chance", None), getattr(found, "across", None)
        if chance is not None and across is not None:
            gain = (
                f"In the simulation about {10 * chance:.0f} in 10 that pass are caught whole at this "
                "angle, and "
                f"about {10 * across:.0f} in 10 straight across."
            )
        else:
            gain = "A rule read off our own simulation, by the path's distance; run the simulation for this camera."
        caution = ""
        if self.crossing is not None and not low - 2.5 <= self.crossing <= high + 2.5:
            caution = (
                f"The heading asked for makes about {said.to_step(self.crossing, 5):.0f}° with the path, outside "
                "what is advised."
            )
        self.add(
            "angle",
            "Angle to the path",
            f"between about {said.to_step(low, 5):.0f}° and {said.to_step(high, 5):.0f}°"
            if said.to_step(high, 5) > said.to_step(low, 5)
            else f"about {said.to_step(best, 5):.0f}°",
            f"A slant keeps a moving animal longer in the picture than a view straight across. {gain} The "
            f"{GUIDELINES}, §7.4.4, aim straight across; keep to your survey's protocol if it says so.",
            caution=caution,
            low=low,
            high=high,
            unit="°",
            basis="our model",
        )
        return low, best, high

    def _distance(self, angle: tuple[float, float, float] | None) -> float:
        mount, ground = self.mount, self.ground
        if mount.aim_distance_m is not None:
            distance = mount.aim_distance_m
            reason = "As asked."
        elif angle is not None:
            met = angle[1] if self.crossing is None else max(self.crossing, NEARLY_ALONG_DEG)
            distance = ground.offset_m / math.sin(math.radians(met))
            reason = (
                f"The path lies {self.say(ground.offset_m)} off; at this angle the axis meets it about "
                f"{self.say(distance)} away."
            )
        elif mount.patch_m is not None:
            near, far = mount.patch_m
            distance = math.sqrt(near * far)
            reason = f"Between the near edge ({self.say(near)}) and the far edge ({self.say(far)}) of the ground."
        else:
            distance = max(ground.offset_m, 2.0)
            reason = "Where the animals are expected to stand."
        caution = ""
        if angle is not None and distance > 8 and self.spec.flash != "none":
            caution = (
                f"The {GUIDELINES}, §7.4.1 and 7.4.3, aim at {self.say(3.0)} to {self.say(5.0)} so that night "
                "animals are lit; hang the camera nearer to the path if it can be."
            )
        self.add(
            "distance", "Aim point", f"about {self.say(distance)} away", reason, caution=caution,
            low=distance, high=distance, unit="m",
        )  # fmt: skip
        return distance

    def _height(self, distance: float) -> tuple[float, float | None]:
        animal, mount = self.animal, self.mount
        caution = ""
        basis: Basis = "common practice"
        size = animal.shoulder_mid_m
        if mount.height_m is not None:
            height, reason = mount.height_m, "As asked."
        elif mount.herd >= HERD_FROM and animal.herds and not self.passing:
            pays = self._height_that_pays(distance)
            if pays is None:
                height, reason = mount.top_m, "As high as one can work, so that near animals hide fewer."
            else:
                height = pays.height_m
                reason = (
                    f"Near animals hide far ones from a low lens. {pays.sentence} Common practice over a "
                    "herd "
                    f"is {self.say(2.5)} to {self.say(4.0)}."
                )
            basis = "our model"
        else:
            height = min(max(animal.trunk_centre_m, 0.3), 1.0)
            reason = (
                f"At the height of its trunk (about {self.say(animal.trunk_centre_m)}), within the "
                f"{self.say(0.3)} to {self.say(1.0)} of common practice."
            )
        least = self.snow_m + mounting.LENS_CLEAR_M
        if self.snow_m > 0 and height < least:
            if mount.height_m is None:
                height = least
                reason += f" Raised to stay {self.say(mounting.LENS_CLEAR_M)} clear of the usual snow."
            else:
                caution = (
                    f"The usual snow of {self.say(self.snow_m)} comes within "
                    f"{self.say(mounting.LENS_CLEAR_M)} of "
                    "the lens or over it: hang it higher or raise it before winter."
                )
        if height > mount.top_m:
            caution = (
                f"Higher than can be worked at here ({self.say(mount.top_m)}): take a ladder, or raise "
                "the camera "
                "on a later visit."
            )
        share = None
        if mount.herd >= 2 and animal.herds:
            share = self._herd(height, distance, size)
        self.add(
            "height", "Lens height", f"about {self.say(height)}", reason, caution=caution,
            low=height, high=height, unit="m", basis=basis,
        )  # fmt: skip
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
                return herdview.height_that_pays(
                    herd=herd, highest_m=self.mount.top_m, system=self.system, **self._patch(distance)
                )
            except WrongInput:
                continue
        return None

    def _herd(self, height: float, distance: float, size: float) -> float | None:
        high = min(height, herdview.HEIGHTS_M[-1] * size / herdview.SHOULDER_M)
        try:
            found = herdview.look(
                height_m=high, herd=float(self.mount.herd), system=self.system, **self._patch(distance)
            )
        except NotEnoughEvidence as error:
            self.add("herd", "Herd seen", "too few to count", str(error) + ".", caution=str(error) + ".",
                     basis="our model")  # fmt: skip
            return None
        except WrongInput as error:
            self.add("herd", "Herd seen", "not known", f"The table of herds does not reach here ({error}).",
                     basis="our model")  # fmt: skip
            return None
        self.add(
            "herd", "Herd seen", f"about {10 * found.share:.0f} in 10" if found.share < 0.95 else "nearly "
            "all",
            found.sentence + " Legs, fodder and bunching are not in the model.",
            low=found.share, high=found.share, basis="our model",
        )  # fmt: skip
        return found.share

    def _tilt(self, height: float, distance: float) -> tuple[float, Wedge]:
        slope = self.ground.slope_deg
        aim = self.animal.trunk_centre_m
        tilt = mounting.tilt_deg(height_m=height, distance_m=distance, aim_height_m=aim, slope_deg=slope)
        why = f"So that a point {self.say(aim)} above the ground about {self.say(distance)} away is in the middle."
        if self.mount.patch_m is not None and not self.passing:
            high = mounting.high_mount(
                height_m=height,
                near_m=self.mount.patch_m[0],
                far_m=self.mount.patch_m[1],
                vertical_deg=self.vertical,
                back_m=self.animal.back_m,
                slope_deg=slope,
            )
            tilt = high.tilt_deg
            why = (
                "So that the near edge of the ground and the backs at its far edge are both in the picture."
                if high.fits
                else f"So that the backs at the far edge are in the picture; ground nearer than "
                f"{self.say(high.near_m)} is not."
            )
        trunk = self.ground.trunk
        wedge = mounting.wedge(tilt_deg=tilt, case_height_mm=self.mount.case_height_mm)
        caution = ""
        if tilt < -1:
            caution = (
                f"The camera looks up the slope. The {GUIDELINES}, §7.4.2, never tilt up: check the first "
                "pictures "
                "for sky."
            )
        if trunk is not None and trunk.lean_deg > 3:
            caution = (
                f"The trunk leans by {trunk.lean_deg:.0f}°: add or take that off, and check with a level. " + caution
            )
        way = "down" if tilt >= 0 else "up"
        self.add(
            "tilt", "Tilt", f"about {abs(tilt):.0f}° {way}" if abs(tilt) >= 0.5 else "level", why,
            caution=caution.strip(), low=tilt - TILT_DOUBT_DEG, high=tilt + TILT_DOUBT_DEG, unit="°",
        )  # fmt: skip
        if wedge.behind == "none":
            words = "none"
        else:
            words = f"about {said.thickness(wedge.thickness_mm, self.system)} behind the {wedge.behind} of the case"
        case = said.thickness(self.mount.case_height_mm, self.system)
        self.add(
            "wedge", "Wedge", words, f"Tilts a case {case} high on an upright trunk by that much.",
            low=wedge.thickness_mm, high=wedge.thickness_mm, unit="mm",
        )  # fmt: skip
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
        caution = ""
        if not span[0] <= distance <= span[1]:
            caution = f"At {self.say(distance)} the animal does not fit into the picture from feet to back."
        far = "to beyond sight" if math.isinf(seen.far_m) else f"to about {self.say(seen.far_m)}"
        begins = mounting.begins(seen.near_m, self.system)
        value = "none: the picture looks over it" if math.isinf(seen.near_m) else f"{begins} {far}"
        nowhere = math.isinf(span[0]) or span[0] > span[1]
        fits = f"Feet to back fit in {'nowhere' if nowhere else mounting.begins(span[0], self.system) + ' on'}"
        self.add(
            "ground", "Ground in the picture", value,
            f"The picture is about {self.vertical:.0f}° tall. {fits}"
            + (f", a head held high {mounting.begins(cut, self.system)}." if math.isfinite(cut) and cut > 0 else "."),
            caution=caution, low=seen.near_m, high=seen.far_m, unit="m",
        )  # fmt: skip
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
        if mount.heading_deg is not None:
            heading, reason = mount.heading_deg, "As asked."
        elif angle is not None and ground.path_bearing_deg is not None:
            options = headings_for(path_bearing_deg=ground.path_bearing_deg, angle_deg=angle[1], side=ground.side)
            suns = sun(options)
            heading = options[min(range(len(options)), key=lambda i: suns[i])]
            reason = f"Of the {len(options)} headings at this angle to the path, the one with least sun."
        elif angle is not None:
            self.add("heading", "Heading", "not known", "The path's bearing is not given; without it the "
                "sun cannot "
                     "be reckoned with. " + best.sentence, basis="our model")  # fmt: skip
            return None, None
        else:
            heading = best.best_deg
            reason = best.sentence
        hours = sun([heading])[0]
        caution = ""
        if hours > GLARE_TOLD_H and hours > best.least_h + GLARE_TOLD_H:
            caution = (
                f"The sun is in or near the picture about {said.hours(hours)} a year. {best.sentence} "
                "Glare also fires the sensor and warms what is in view."
            )
        spread = (angle[2] - angle[0]) / 2 if angle is not None and mount.heading_deg is None else 0.0
        shown = said.to_step(heading, 5) % 360
        self.add(
            "heading", "Heading", f"about {shown:.0f}° true ({said.wind(heading)})",
            f"{reason} Sun in or near the picture: {said.hours(hours)} a year of clear days"
            + ("" if ground.horizon.points else ", with a level horizon") + ".",
            caution=caution, low=(heading - spread) % 360, high=(heading + spread) % 360, unit="°",
            basis="our model",
        )  # fmt: skip
        return heading, hours

    def _reach(self, distance: float) -> tuple[detection.ReachBand, detection.ReachBand]:
        sensor = detection.Sensor(zone_deg=self.spec.value("zone_deg"), range_m=self.spec.value("range_m"))
        cold, warm = (detection.reach_band(sensor, self.animal.body, air_c=air) for air in self.mount.air_c)
        caution = ""
        if warm.low_m < distance:
            caution = (
                f"In air of {said.air(self.mount.air_c[1], self.system)} the sensor may not reach {self.say(distance)}: "
                "hang the camera nearer, or set it to high."
            )
        origin = self.spec.figure("range_m").origin
        self.add(
            "reach", "Sensor's reach", f"about {self.say(warm.middle_m)} in the warmest air to "
            f"{self.say(cold.middle_m)} in the coldest",
            f"For {self.animal.name.lower()} by the range law, from a range of {self.say(sensor.range_m)} "
            f"({origin}). "
            "The weakest number here: a walk test tells more.",
            caution=caution, low=warm.low_m, high=cold.high_m, unit="m", basis="our model",
        )  # fmt: skip
        return cold, warm

    def _flash(self, distance: float) -> FlashBand | None:
        if self.spec.flash == "none":
            self.add("flash", "Flash", "none", "This camera has no flash: no pictures at night.", basis="assumed")
            return None
        reach = self.spec.figure("flash_reach_m")
        band = glare.flash_band(reach_m=reach.value)
        if band.to_m < mounting.CLOSE_M:
            reason = f"Reach {reach.origin}: it lights nothing, so no pictures at night."
            self.add("flash", "Flash", "none", reason, basis="assumed")
            return None
        caution = ""
        if distance > band.to_m:
            caution = (
                f"At night the flash lights to about {self.say(band.to_m)}; the aim point lies farther. "
                "Night "
                "pictures will be dark."
            )
        elif distance < band.from_m:
            caution = f"Nearer than about {self.say(band.from_m)} night pictures may be burnt out."
        self.add(
            "flash", "Flash", f"lights from about {self.say(band.from_m)} to {self.say(band.to_m)}",
            f"Reach {reach.origin}; light falls with the square of the distance. Keep twigs and grass "
            "nearer than "
            f"{self.say(band.from_m)} out of the picture: they burn out and darken the rest.",
            caution=caution, low=band.from_m, high=band.to_m, unit="m", basis="assumed",
        )  # fmt: skip
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
        caution = ""
        if self.snow_m > max(limits.deepest_m, 0.0):
            bears = "bears none" if limits.deepest_m < SHALLOW_M else f"bears {self.say(limits.deepest_m)}"
            caution = (
                f"The usual snow of {self.say(self.snow_m)} is more than this placement bears "
                f"({bears}, by {limits.rule}): raise it before winter or visit in time."
            )

        def deep(metres: float) -> str:
            return "none at all" if metres < SHALLOW_M else self.say(metres)

        self.add(
            "snow", "Deepest snow", "none" if limits.deepest_m < SHALLOW_M else f"about {self.say(limits.deepest_m)}",
            f"Bound by {limits.rule}. Snow over which the lens stays clear: {deep(limits.lens_m)}; standing on which "
            f"an animal's middle stays in the picture: {deep(limits.middle_m)}, its back: {deep(limits.whole_m)}.",
            caution=caution, low=limits.deepest_m, high=limits.deepest_m, unit="m",
        )  # fmt: skip
        return limits

    def _branch(self, height: float, tilt: float) -> None:
        if self.ground.branch is None:
            return
        sag = mounting.branch_sag(self.ground.branch, height_m=height, tilt_deg=tilt, vertical_deg=self.vertical)
        caution = (
            "Laden with snow this branch may hang into the picture and fire the camera: tie it back or "
            "cut it, "
            "where you may."
            if sag.in_view
            else ""
        )
        sinks = "hardly sinks" if sag.sag_m < SHALLOW_M else f"may sink by about {self.say(sag.sag_m)}"

        def at(metres: float) -> str:
            return "at the ground" if metres < SHALLOW_M else f"at about {self.say(metres)}"

        self.add(
            "branch", "Lowest branch", sinks,
            f"Under {said.mass(sag.load_kg, self.system)} of fresh snow its tip hangs {at(sag.tip_m)}; the picture's "
            f"upper edge is there {at(sag.free_m)}. A scale, no more: the coefficients are partly from memory and "
            "branches differ.",
            caution=caution, low=sag.sag_m, high=sag.sag_m, unit="m", basis="assumed",
        )  # fmt: skip

    def _trunk(self, height: float) -> None:
        trunk = self.ground.trunk
        if trunk is None:
            return
        rank = mounting.rank_trunks([trunk], height_m=height, system=self.system)[0]
        thick = said.diameter(trunk.diameter_cm, self.system)
        self.add(
            "trunk", "Tree or post", f"{trunk.name}, {thick}", "; ".join(rank.why) + ".",
            caution="" if rank.fit else "This tree is not fit: " + "; ".join(rank.why) + ". "
            "25 cm (10 in) or more is common practice.",
            low=trunk.diameter_cm, high=trunk.diameter_cm, unit="cm", basis="common practice",
        )  # fmt: skip

    def _pixels(self, distance: float) -> float:
        per_m = optics.pixels_per_m(columns=self.columns, distance_m=distance, fov_deg=self.fov)
        pixels = per_m * self.animal.body.length_m
        origin = self.spec.figure("columns").origin
        caution = ""
        if origin == "claimed":
            caution = "The maker's pixels may be enlarged ones; measure the camera with the printed target."
        needed = optics.johnson_per_m("recognition", least_dimension_m=self.animal.body.height_m)
        enough = "enough" if per_m >= needed else "too few"
        self.add(
            "pixels", "Pixels on the animal", "about "
            f"{said.to_step(pixels, 10 if pixels < 1000 else 100):.0f} along its body",
            f"{enough.capitalize()} to tell what it is for half of those who look (Johnson 1958: 8 pixels "
            "over the "
            "least dimension), if lens and light are good.",
            caution=caution, low=pixels, high=pixels, unit="pixels", basis="published",
        )  # fmt: skip
        return pixels

    def _usual(self, height: float) -> list[str]:
        usual = []
        if height > mounting.LADDER_FROM_M or self.mount.holder == "ladder":
            usual.append(
                "Ladder work: not alone, on firm ground, tied at the top, never against dead wood; your "
                "employer's "
                "rules and local law go before this."
            )
        if self.ground.feature == "den":
            usual.append("At a den keep away while young are inside; many places forbid cameras there without a permit.")
        if self.ground.feature in ("feeding", "lick"):
            usual.append("Feeding, baiting and salt are forbidden or need a permit in many places: ask first.")
        if self.ground.feature in ("trail", "road"):
            usual.append(
                "People may be pictured: put up notice where the law asks for it and point away from public ways."
            )
        if self.ground.sensitive:
            usual.append("A sensitive site: give its true place to nobody, and your own track too.")
        return usual

    def _sentence(
        self,
        height: float,
        distance: float,
        angle: tuple[float, float, float] | None,
        heading: float | None,
        wedge: Wedge,
    ) -> str:
        parts = [f"Hang the camera about {self.say(height)} up"]
        if angle is not None:
            parts.append(f"about {self.say(self.ground.offset_m)} from the path")
            asked = self.crossing
            turned = self._told("angle") if asked is None else f"about {said.to_step(asked, 5):.0f}°"
            parts.append(f"at {turned} to it")
        if heading is not None:
            parts.append(f"looking {said.wind(heading)} (about {said.to_step(heading, 5) % 360:.0f}° true)")
        first = ", ".join(parts)
        aim = f"Aim at a point {self.say(self.animal.trunk_centre_m)} above the ground about {self.say(distance)} away"
        if wedge.behind == "none":
            return f"{first}. {aim}; no wedge is needed."
        thick = said.thickness(wedge.thickness_mm, self.system)
        return f"{first}. {aim}, with a wedge of about {thick} behind the {wedge.behind} of the case."

    def _told(self, key: str) -> str:
        return next(p.value for p in self.pieces if p.key == key)
