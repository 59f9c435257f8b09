"""What happens in front of each camera: who passes when, the wind's blanks, people and troubles.

All of it is made up from a seed. A `Moment` is one release of the shutter, with its truth.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from zlib import crc32

import numpy as np

from trod_demo.animals import Actor
from trod_demo.reserve import (
    CAMERAS_BY_SERIAL,
    MODELS_BY_SLUG,
    RESERVE,
    SITES_BY_SLUG,
    SPECIES_BY_KEY,
    TECHNICIANS,
    TIME_LAPSE,
    CameraModel,
    Deployment,
    Site,
    Species,
    Visit,
    Year,
    sun_over,
)
from trod_demo.scene import Lens
from trod_demo.weather import Almanac, Weather


@dataclass(frozen=True)
class Moment:
    """One release of the shutter.

    at : true time, UTC. kind : animal, blank, person or vehicle, by what was meant to be there (the renderer
    tells what can be seen). cause : why a picture without animal was taken. detection : pictures of one detection
    share it. frame_s : seconds since the detection's first picture, for the swaying.
    """

    at: datetime
    kind: str
    species: str
    actors: tuple[Actor, ...]
    cause: str
    detection: int
    frame_s: float
    weather: Weather
    sun_deg: tuple[float, float]
    lens: Lens = field(default=Lens())
    askew: bool = False


def sun_hours(day: date) -> tuple[float, float]:
    """About when the sun rises and sets over the reserve, in hours of its standard time."""
    declination = math.radians(-23.44) * math.cos(2 * math.pi * (day.timetuple().tm_yday + 10) / 365.25)
    half = (
        math.degrees(
            math.acos(max(-1.0, min(1.0, -math.tan(math.radians(RESERVE.latitude_deg)) * math.tan(declination))))
        )
        / 15
    )
    noon = 12 - (RESERVE.longitude_deg - RESERVE.utc_offset_min / 4) / 15
    return noon - half, noon + half


def real_hour(hour: float, day: date) -> float:
    """An hour of the day whose sun rises at 6 and sets at 18, on a real day's clock."""
    rise, set_ = sun_hours(day)
    points = [-6.0, 6.0, 18.0, 30.0]
    real = [set_ - 24, rise, set_, rise + 24]
    return float(np.interp(hour, points, real)) % 24


class Storyteller:
    """Makes up a deployment's pictures between two instants."""

    def __init__(self, year: Year, deployment: Deployment, *, seed: int) -> None:
        self.year, self.deployment, self.seed = year, deployment, seed
        self.site: Site = SITES_BY_SLUG[deployment.site]
        self.model: CameraModel = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
        self.almanac = Almanac(year.now - timedelta(days=366), year.now + timedelta(days=1), seed=seed)
        self._detection = 0

    def _rng(self, start: datetime) -> np.random.Generator:
        return np.random.default_rng([self.seed, crc32(self.deployment.slug.encode()), int(start.timestamp())])

    def local(self, at: datetime) -> datetime:
        """An instant on the deployment's own clock face, were it right."""
        return at.astimezone(self.deployment.timezone)

    def tell(self, start: datetime, end: datetime, pictures: int, *, false_running: float = 0.16) -> list[Moment]:
        """About `pictures` moments between two instants, in time order.

        stormy : share of pictures that the wind alone takes. Visits' and time-lapse pictures come on top.
        """
        rng = self._rng(start)
        moments: list[Moment] = []
        moments += self._visits(start, end, rng)
        moments += self._time_lapse(start, end)
        budget = max(0, pictures - len(moments))
        false_runs = self._false_runs(start, end, rng, round(budget * false_running))
        moments += false_runs
        budget -= len(false_runs)
        people = 0.10 if self.site.look in ("track", "lane", "ford", "ridge") else 0.03
        made = 0
        tries = 0
        while made < budget and tries < 20 * budget + 200:
            tries += 1
            roll = float(rng.random())
            if roll < people:
                new = self._passer_by(start, end, rng)
            elif roll < people + 0.07:
                new = self._stray_blank(start, end, rng)
            else:
                new = self._animals(start, end, rng)
            new = [m for m in new if start < m.at < end and self._works(m.at)]
            moments += new
            made += len(new)
        moments = [self._with_troubles(m) for m in moments if self._works(m.at)]
        moments.sort(key=lambda m: (m.at, m.detection))
        return self._no_overlap(moments)

    # --- what the camera does ------------------------------------------------------------------------------

    def _works(self, at: datetime) -> bool:
        return self.deployment.during("off", at) is None and self.deployment.during("full card", at) is None

    def _no_overlap(self, moments: list[Moment]) -> list[Moment]:
        """A camera busy with one detection does not begin another: later ones that cut in are dropped."""
        out: list[Moment] = []
        until: datetime | None = None
        holder = -1
        for m in moments:
            if until is not None and m.detection != holder and m.at < until:
                continue
            if m.detection != holder:
                holder = m.detection
            until = m.at + timedelta(seconds=max(self.model.rearm_s, 1.0))
            out.append(m)
        return out

    def _with_troubles(self, m: Moment) -> Moment:
        d = self.deployment
        lens = m.lens
        ice = d.during("ice", m.at)
        if ice is not None:
            through = (m.at - ice.start) / (ice.end - ice.start)
            lens = replace(lens, ice=float(np.clip(1.15 - 0.55 * through, 0.45, 1.0)))
        weak = d.during("weak battery", m.at)
        if weak is not None:
            lens = replace(lens, weak=float(np.clip((m.at - weak.start) / (weak.end - weak.start), 0, 1)))
        local = self.local(m.at)
        if (
            lens.ice == 0
            and m.weather.fog > 0.5
            and local.hour < 9
            and self.site.look in ("meadow", "ford", "pool", "wall")
        ):
            lens = replace(lens, dew=m.weather.fog)
        return replace(m, lens=lens, askew=d.during("askew", m.at) is not None)

    def _next_detection(self) -> int:
        self._detection += 1
        return self._detection

    def _moment(
        self,
        at: datetime,
        actors: tuple[Actor, ...],
        *,
        kind: str,
        species: str,
        cause: str,
        detection: int,
        frame_s: float,
        weather: Weather | None = None,
    ) -> Moment:
        at = at.replace(microsecond=at.microsecond // 10000 * 10000)
        return Moment(
            at,
            kind,
            species,
            actors,
            cause,
            detection,
            frame_s,
            weather or self.almanac.at(self.local(at)),
            sun_over(self.site, at),
        )

    def _burst(
        self,
        at: datetime,
        actors: tuple[Actor, ...],
        *,
        kind: str,
        species: str = "",
        cause: str = "",
        detection: int,
        since_s: float = 0.0,
        weather: Weather | None = None,
    ) -> list[Moment]:
        out = []
        for k in range(self.model.burst):
            later = k * self.model.burst_gap_s
            out.append(
                self._moment(
                    at + timedelta(seconds=later),
                    tuple(a.moved(seconds=later) for a in actors),
                    kind=kind,
                    species=species,
                    cause=cause,
                    detection=detection,
                    frame_s=since_s + later,
                    weather=weather,
                )
            )
        return out

    # --- blanks --------------------------------------------------------------------------------------------

    def _false_runs(self, start: datetime, end: datetime, rng: np.random.Generator, pictures: int) -> list[Moment]:
        """Windy afternoons: trigger after trigger with nothing but branches in them."""
        days = [
            d for d in self.almanac.false_running if start < datetime.combine(d, time(8), UTC) < end - timedelta(days=1)
        ]
        if not days:
            span = max(1, (end - start).days - 1)
            days = [start.date() + timedelta(days=1 + int(rng.integers(span)))]
        out: list[Moment] = []
        rounds = 0
        while len(out) < pictures and rounds < 40:
            rounds += 1
            day = days[int(rng.integers(len(days)))]
            at = datetime.combine(day, time(0), self.deployment.timezone) + timedelta(hours=float(rng.uniform(8.5, 13)))
            detection = self._next_detection()
            began = at
            for _ in range(min(60, 4 + int(rng.geometric(0.07)))):
                if len(out) >= pictures:
                    break
                weather = self.almanac.at(self.local(at))
                weather = replace(weather, wind_mps=max(weather.wind_mps, float(rng.uniform(9, 14))), fog=0.0)
                if start < at < end and self._works(at):
                    out += self._burst(
                        at.astimezone(UTC),
                        (),
                        kind="blank",
                        cause="waving branches",
                        detection=detection,
                        since_s=(at - began).total_seconds(),
                        weather=weather,
                    )
                at += timedelta(
                    seconds=self.model.burst * self.model.burst_gap_s + self.model.rearm_s + float(rng.exponential(70))
                )
                if (at - began).total_seconds() > 6 * 3600:
                    break
        return out

    def _stray_blank(self, start: datetime, end: datetime, rng: np.random.Generator) -> list[Moment]:
        at = start + (end - start) * float(rng.random())
        elevation = sun_over(self.site, at)[0]
        cause = "sun on the sensor" if elevation > 12 and rng.random() < 0.6 else "passed before the shutter"
        return self._burst(at, (), kind="blank", cause=cause, detection=self._next_detection())

    def _time_lapse(self, start: datetime, end: datetime) -> list[Moment]:
        out: list[Moment] = []
        if self.site.slug not in TIME_LAPSE:
            return out
        day = self.local(self.deployment.start).date()
        while datetime.combine(day, time(12), self.deployment.timezone) < end:
            at = datetime.combine(day, time(12), self.deployment.timezone).astimezone(UTC)
            if at > start and self._works(at):
                out.append(
                    self._moment(
                        at,
                        (),
                        kind="blank",
                        species="",
                        cause="time lapse",
                        detection=self._next_detection(),
                        frame_s=0.0,
                    )
                )
            day += timedelta(days=7)
        return out

    # --- people --------------------------------------------------------------------------------------------

    def _visits(self, start: datetime, end: datetime, rng: np.random.Generator) -> list[Moment]:
        """The technician walks up to the camera, or away from the one just set."""
        out: list[Moment] = []
        mine: list[Visit] = [v for v in self.year.visits if v.deployment == self.deployment.slug]
        for v in mine:
            who = TECHNICIANS.index(v.by)
            walk = Actor(
                "person",
                float(rng.uniform(-0.3, 0.3)),
                float(rng.uniform(3.6, 4.6)),
                270.0,
                "walk",
                0.1,
                scale=(0.96, 1.03, 0.93)[who],
                speed_mps=1.0,
                variant=(0, 5, 2)[who],
            )
            away = replace(walk, facing_deg=90.0, x_m=walk.x_m - 0.2, z_m=3.2)
            actor, minutes = (away, 4.0) if v.kind == "set" else (walk, -2.0)
            at = v.at + timedelta(minutes=minutes)
            if start <= at <= end and self._works(at):
                out += self._burst(at, (actor,), kind="human", detection=self._next_detection())
        return out

    def _passer_by(self, start: datetime, end: datetime, rng: np.random.Generator) -> list[Moment]:
        day = self._day(start, end, rng)
        hour = float(np.clip(rng.normal(13, 3), 7, 19.5))
        at = datetime.combine(day, time(0), self.deployment.timezone) + timedelta(hours=hour)
        vehicle = self.site.look in ("lane", "track") and rng.random() < (0.45 if self.site.look == "lane" else 0.25)
        facing = 90 - self.site.path_deg + (180 if rng.random() < 0.5 else 0)
        z = float(rng.uniform(*self.site.range_m)) + (4.5 if vehicle else 1.0)
        z = min(z, self.site.edge_m * 0.6)
        variant = int(rng.integers(8))
        a = math.radians(facing)
        n = 1 if vehicle else int(rng.choice([1, 1, 2]))
        speed = 3.5 if vehicle else 1.25
        actors = []
        for k in range(n):
            back = k * 1.1 + float(rng.uniform(0.2, 1.0)) * (1.4 if vehicle else 0.8)
            side = k * 0.6
            actors.append(
                Actor(
                    "vehicle" if vehicle else "person",
                    -back * math.cos(a) - side * math.sin(a),
                    z - back * math.sin(a) + side * math.cos(a),
                    facing,
                    "walk",
                    float(rng.random()),
                    scale=1.0 if vehicle else float(rng.uniform(0.92, 1.04)),
                    speed_mps=speed,
                    variant=variant + k * 3,
                )
            )
        return self._burst(
            at.astimezone(UTC),
            tuple(actors),
            kind="vehicle" if vehicle else "human",
            detection=self._next_detection(),
        )

    # --- animals -------------------------------------------------------------------------------------------

    def _day(self, start: datetime, end: datetime, rng: np.random.Generator) -> date:
        return self.local(start + (end - start) * float(rng.random())).date()

    def _animals(self, start: datetime, end: datetime, rng: np.random.Generator) -> list[Moment]:
        """One detection of one species: choose the day, the kind, the hour; walk it past or let it stay."""
        day = self._day(start, end, rng)
        keys = [k for k, _ in self.site.draw]
        weights = np.array([w * SPECIES_BY_KEY[k].months[day.month - 1] for k, w in self.site.draw])
        snowy = self.almanac.at(datetime.combine(day, time(12))).snow_cm
        if self.site.look == "feeding":  # fed in winter only
            weights = weights * (2.2 if day.month in (12, 1, 2, 3) else 0.35)
            if rng.random() > (1.0 if day.month in (11, 12, 1, 2, 3, 4) else 0.25):
                return []
        if self.site.look in ("ridge", "scree") and snowy > 25 and rng.random() < 0.6:
            return []
        key = keys[int(rng.choice(len(keys), p=weights / weights.sum()))]
        species = SPECIES_BY_KEY[key]
        hour = int(rng.choice(24, p=np.array(species.hours) / sum(species.hours))) + float(rng.random())
        at = datetime.combine(day, time(0), self.deployment.timezone) + timedelta(hours=real_hour(hour, day))
        at = at.astimezone(UTC)
        weather = self.almanac.at(self.local(at))
        if weather.rain > 0.3 and rng.random() < 0.5:  # most keep to cover in heavy rain
            return []
        herd = self._herd(species, day, rng)
        if float(rng.random()) < self.site.dwell:
            return self._stay(at, species, herd, rng)
        return self._pass(at, species, herd, rng)

    def _herd(self, species: Species, day: date, rng: np.random.Generator) -> list[tuple[str, str, float]]:
        """Sex, life stage and size of each animal of a detection."""
        sizes = [n for n, _ in species.herd]
        p = np.array([w for _, w in species.herd])
        n = int(sizes[int(rng.choice(len(sizes), p=p / p.sum()))])
        if self.site.look == "feeding" and species.key == "red_deer":
            n = int(rng.integers(3, 9))
        n = min(n, 9)
        month = day.month
        # Young are born about May and June (round, from memory) and have grown by winter.
        grown = float(np.interp((month - 5) % 12, [0, 2, 6, 11], [0.62, 0.78, 1.0, 1.12]))
        out: list[tuple[str, str, float]] = []
        bachelor = species.key == "red_deer" and rng.random() < 0.25 and month not in (9, 10)
        for k in range(n):
            young = (
                n > 1 and k > 0 and not bachelor and rng.random() < min(0.75, species.juvenile_share * n / max(1, n - 1))
            )
            male = rng.random() < (1.0 if bachelor else species.male_share if n == 1 else species.male_share * 0.45)
            if young:
                out.append(("unknown", "juvenile", species.juvenile_scale * grown * float(rng.uniform(0.94, 1.05))))
                continue
            age = "subadult" if rng.random() < 0.14 else "adult"
            size = (
                (1.0 if male else species.female_scale)
                * (0.92 if age == "subadult" else 1.0)
                * float(rng.uniform(0.95, 1.05))
            )
            sex = ("male" if male else "female") if species.sexes_shown else "unknown"
            out.append((sex, age, size))
        if species.key == "wild_boar" and n >= 4 and out:  # a sow leads her piglets
            out[0] = ("female", "adult", species.female_scale)
        return out

    def _actor(
        self,
        species: Species,
        one: tuple[str, str, float],
        x: float,
        z: float,
        facing: float,
        pose: str,
        speed: float,
        month: int,
        rng: np.random.Generator,
    ) -> Actor:
        sex, age, scale = one
        return Actor(
            species.key,
            x,
            max(z, 1.6),
            facing,
            pose,
            float(rng.random()),
            sex,
            age,
            scale,
            month,
            speed,
            int(rng.integers(1000)),
        )

    def _pass(
        self, at: datetime, species: Species, herd: list[tuple[str, str, float]], rng: np.random.Generator
    ) -> list[Moment]:
        facing = 90 - self.site.path_deg + float(rng.normal(0, 12)) + (180 if rng.random() < 0.5 else 0)
        near, far = self.site.range_m
        size = species.shoulder_m
        # Small animals trip the sensor only when near.
        far = min(far, near + (far - near) * min(1.0, 0.25 + size))
        z0 = float(rng.uniform(near, far)) * (0.75 if size < 0.35 else 1.0)
        gait = int(rng.choice(3, p=np.array(species.gait_mix) / sum(species.gait_mix)))
        pose = ("walk", "trot", "run")[gait]
        speed = (species.walk_mps, species.trot_mps, species.run_mps)[gait] * float(rng.lognormal(0, 0.18))
        if species.key == "jay" and gait:
            pose = "fly"
        if rng.random() < 0.10 and gait == 0:
            pose, speed = "alert", 0.0
        a = math.radians(facing)
        half = z0 * math.tan(math.radians(self.model.hfov_deg) / 2)
        lead = float(rng.uniform(-0.75, 0.15)) * half
        actors = []
        gap = 0.0
        for k, one in enumerate(herd):
            side = float(rng.normal(0, 0.35 + 0.25 * size)) if k else 0.0
            x = (lead - gap) * math.cos(a) - side * math.sin(a)
            z = z0 + (lead - gap) * math.sin(a) + side * math.cos(a)
            actors.append(
                self._actor(
                    species,
                    one,
                    x,
                    z,
                    facing + float(rng.normal(0, 5)),
                    pose,
                    speed * float(rng.uniform(0.95, 1.05)),
                    self.local(at).month,
                    rng,
                )
            )
            gap += species.length_m * float(rng.uniform(1.0, 1.9))
        detection = self._next_detection()
        out = self._burst(at, tuple(actors), kind="animal", species=species.key, detection=detection)
        # A long file of animals trips the camera again when it is awake.
        wait = self.model.burst * self.model.burst_gap_s + self.model.rearm_s
        more = 0
        while speed > 0 and gap / max(speed, 0.1) > wait * (more + 1) and more < 3:
            more += 1
            later = wait * more
            out += self._burst(
                at + timedelta(seconds=later),
                tuple(b.moved(seconds=later) for b in actors),
                kind="animal",
                species=species.key,
                detection=detection,
                since_s=later,
            )
        return out

    def _stay(
        self, at: datetime, species: Species, herd: list[tuple[str, str, float]], rng: np.random.Generator
    ) -> list[Moment]:
        """Animals that feed, drink or lick: several triggers while they shift about."""
        aim = self.deployment.aim_distance_m
        month = self.local(at).month
        detection = self._next_detection()
        spread = 0.9 + 0.35 * len(herd) * (0.6 + species.shoulder_m)
        places: list[tuple[float, float]] = []
        for _ in herd:
            for _ in range(12):
                x, z = float(rng.normal(0, spread)), aim + float(rng.normal(0.3, 0.7 + 0.4 * spread))
                z = min(max(z, self.site.range_m[0] * 0.8), self.site.edge_m * 0.55)
                if all(math.hypot(x - p, (z - q) * 0.8) > 0.8 * species.length_m for p, q in places):
                    break
            places.append((x, z))
        variants = [int(rng.integers(1000)) for _ in herd]
        facings = [float(rng.choice([0, 180])) + float(rng.normal(0, 35)) for _ in herd]
        out: list[Moment] = []
        later = 0.0
        for _ in range(1 + int(rng.geometric(0.42))):
            actors = []
            for k, one in enumerate(herd):
                pose = str(rng.choice(["feed", "feed", "alert", "walk"]))
                x, z = places[k]
                places[k] = (
                    x + float(rng.normal(0, 0.3)),
                    min(max(z + float(rng.normal(0, 0.3)), 2.0), self.site.edge_m * 0.6),
                )
                facings[k] += float(rng.normal(0, 25))
                made = self._actor(
                    species,
                    one,
                    *places[k],
                    facings[k],
                    pose,
                    species.walk_mps * 0.3 if pose == "walk" else 0.0,
                    month,
                    rng,
                )
                actors.append(replace(made, variant=variants[k]))
            out += self._burst(
                at + timedelta(seconds=later),
                tuple(actors),
                kind="animal",
                species=species.key,
                detection=detection,
                since_s=later,
            )
            later += self.model.burst * self.model.burst_gap_s + self.model.rearm_s + float(rng.exponential(35))
            if len(out) > 24:
                break
        return out


def budgets(year: Year, pictures: int, *, take: Callable[[str], bool] | None = None) -> dict[str, int]:
    """How many of all pictures each pulled card of the year gets: by its days and by how busy its site is.

    take : which cards (by name) share the pictures; by default all that were pulled and are not fresh.
    """
    weights: dict[str, float] = {}
    for card in year.cards:
        if card.taken_out is None:
            continue
        if take is not None and not take(card.name):
            continue
        deployment = year.deployment(card.deployment)
        asleep = sum(
            (min(s.end, card.taken_out) - max(s.start, card.put_in)).total_seconds()
            for s in deployment.spells
            if s.what in ("off", "full card") and s.end > card.put_in and s.start < card.taken_out
        )
        days = ((card.taken_out - card.put_in).total_seconds() - asleep) / 86400
        weights[card.name] = days * SITES_BY_SLUG[deployment.site].busy
    total = sum(weights.values()) or 1.0
    return {name: max(4, round(pictures * w / total)) for name, w in weights.items()}
