"""Fill the catalogue of a scratch TROD_HOME with the invented reserve and any number of invented pictures.

No files are made: the rows alone, to try pages and their speed on.

    TROD_HOME=/some/scratch/folder python benchmarks/fill.py --pictures 200000
"""

from __future__ import annotations

import argparse
import hashlib
import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

FEATURES = {
    "track": "trail",
    "ford": "ford",
    "salt lick": "lick",
    "winter feeding ground": "feeding",
    "meadow edge": "meadow",
    "ridge saddle": "saddle",
    "closed lane": "road",
    "water hole": "water",
    "sett": "den",
    "orchard wall": "fence",
}
SIGN = {"wallow": "scrape", "rooting": "feeding", "latrine": "scat"}
ARRIVAL = {"working": "working", "dead": "dead", "askew": "knocked", "card full": "full"}
FLASH = {"low-glow": "low_glow", "no-glow": "no_glow"}


def records(now: date) -> dict[str, Any]:
    """The reserve's records, up to the day `now`, but no pictures. Gives the deployments and species back."""
    from trod.demo import reserve as demo
    from trod.web import models as m

    plan = demo.year(now)
    ground = m.Reserve.objects.create(
        name=demo.RESERVE.name,
        slug=demo.RESERVE.slug,
        latitude=demo.RESERVE.latitude_deg,
        longitude=demo.RESERVE.longitude_deg,
        zone=demo.RESERVE.time_zone,
        boundary={"type": "Polygon", "coordinates": [[list(corner) for corner in demo.RESERVE.boundary]]},
        note=demo.RESERVE.note,
        invented=True,
    )
    keys = iter("1234567890")
    species = {
        s.key: m.Species.objects.create(
            name=s.common,
            scientific_name=s.scientific,
            slug=s.key.replace("_", "-"),
            key=next(keys),
            shoulder_height_m=s.shoulder_m,
            body_length_m=s.length_m,
        )
        for s in demo.SPECIES
    }
    kinds = {
        k.slug: m.CameraModel.objects.create(
            maker=k.maker,
            name=k.model,
            slug=k.slug,
            field_of_view_deg=k.hfov_deg,
            native_megapixels=k.megapixels,
            flash=FLASH[k.flash],
            flash_range_m=k.flash_range_m,
            trigger_time_s=k.trigger_s,
            recovery_time_s=k.rearm_s,
            burst_max=k.burst,
            cells=k.cells,
        )
        for k in demo.CAMERA_MODELS
    }
    out = {d.camera for d in plan.deployments if d.end is None}
    cameras = {
        c.serial: m.Camera.objects.create(
            serial=c.serial,
            name=c.name,
            model=kinds[c.model],
            state="out" if c.serial in out else "repair" if c.state == "faulty" else "ready",
        )
        for c in demo.CAMERAS
    }
    sites = {
        s.slug: m.Site.objects.create(
            reserve=ground,
            name=s.name,
            slug=s.slug,
            latitude=s.latitude_deg,
            longitude=s.longitude_deg,
            feature=FEATURES.get(s.kind, "other"),
            slope_deg=s.slope_deg,
            path_bearing_deg=s.path_deg,
            canopy_percent=s.canopy * 100,
            tree=s.tree,
            sensitive=s.sensitive,
        )
        for s in demo.SITES
    }
    cards = {
        c.name: m.Card.objects.create(
            label=c.name,
            size_gb=c.size_gb,
            state="out" if c.taken_out is None else "home" if c.just_pulled else "kept",
        )
        for c in plan.cards
    }
    in_camera = {c.deployment: cards[c.name] for c in plan.cards if c.taken_out is None}
    deployments = {
        d.slug: m.Deployment.objects.create(
            slug=d.slug,
            camera=cameras[d.camera],
            site=sites[d.site],
            start=d.start,
            end=d.end,
            utc_offset_min=d.utc_offset_min,
            height_m=d.lens_height_m,
            aim_distance_m=d.aim_distance_m,
            tilt_deg=d.tilt_deg,
            heading_deg=d.heading_deg,
            cells=d.cells,
            card=in_camera.get(d.slug),
            burst=int(dict(d.settings).get("burst", 1)),
            set_by=demo.TECHNICIANS[0],
        )
        for d in plan.deployments
    }
    for v in plan.visits:
        deployment = deployments[v.deployment]
        dial = timedelta(minutes=deployment.utc_offset_min, seconds=v.clock_found_s or 0)
        m.Visit.objects.create(
            site=deployment.site,
            deployment=deployment,
            at=v.at,
            by=v.by,
            arrival=ARRIVAL.get(v.found, "unknown"),
            cells_percent=v.battery_pct,
            cells_changed=v.cells_changed,
            work=v.kind,
            note=v.notes,
            card_out=cards.get(v.card_out or ""),
            card_in=cards.get(v.card_in or ""),
            clock_shown=None if v.clock_found_s is None else v.at + dial,
            clock_true=None if v.clock_found_s is None else v.at,
        )
    for s in plan.signs:
        m.Sign.objects.create(
            reserve=ground,
            kind=SIGN.get(s.kind, s.kind),
            species=species[s.species],
            seen_on=s.on,
            latitude=s.latitude_deg,
            longitude=s.longitude_deg,
            seen_by=s.by,
            note=s.note,
        )
    return {"deployments": deployments, "species": species, "plan": plan, "demo": demo, "reserve": ground}


def _batches(rows: list[Any], size: int = 2000) -> Iterator[list[Any]]:
    for start in range(0, len(rows), size):
        yield rows[start : start + size]


def fill(pictures: int = 2000, *, now: date | None = None, seed: int = 7, looked: float = 0.6) -> None:
    """Records and about so many pictures in events of some seven frames. looked : share of "
    "events with a word."""
    from django.db import transaction

    from trod.web import models as m

    now = now or datetime.now(UTC).date()
    with transaction.atomic():
        cast = records(now)
        if not pictures:
            return
        chance = random.Random(seed)
        demo, plan = cast["demo"], cast["plan"]
        last_round = {}  # the last card that came home, by deployment
        for card in plan.cards:
            if card.taken_out is not None and not card.just_pulled:
                last_round[card.deployment] = max(
                    last_round.get(card.deployment, card.taken_out), card.taken_out
                )
        spans = [(d, d.start, last_round[d.slug]) for d in plan.deployments if d.slug in last_round]
        weights = [(to - start).days * demo.SITES_BY_SLUG[d.site].busy for d, start, to in spans]
        noon = datetime.combine(now, time(12), UTC)
        intakes = {
            d.slug: m.Intake.objects.create(
                name=f"{to:%Y%m%d}-{d.camera}",
                folder=f"{d.site}/{d.slug}/{to:%Y%m%d}-{d.camera}",
                deployment=cast["deployments"][d.slug],
                state="whole",
                source="invented",
                started_at=min(to, noon),
                finished_at=min(to, noon) + timedelta(minutes=6),
                by=demo.TECHNICIANS[1],
                safe_to_format=True,
            )
            for d, _, to in spans
        }
        events, frames = [], []
        made = number = 0
        while made < pictures:
            ((d, start, to),) = chance.choices(spans, weights)
            day = start + timedelta(days=chance.uniform(0, (to - start).days))
            site = demo.SITES_BY_SLUG[d.site]
            (kind,) = chance.choices([key for key, _ in site.draw], [weight for _, weight in site.draw])
            (hour,) = chance.choices(range(24), demo.SPECIES_BY_KEY[kind].hours)
            at = day.replace(hour=hour, minute=chance.randrange(60), second=chance.randrange(60))
            if d.during("off", at) or at < start or at > to:
                continue
            count = min(chance.choice((1, 3, 3, 6, 6, 9, 18)), pictures - made)
            deployment = cast["deployments"][d.slug]
            times = [at + timedelta(seconds=2 * k) for k in range(count)]
            head = hashlib.sha256(f"{seed}-{number}-0".encode()).hexdigest()
            events.append(
                (
                    kind,
                    m.Event(
                        key=f"{d.slug[:35]}.{head}",
                        deployment=deployment,
                        start_at=at,
                        end_at=times[-1],
                        frames=count,
                        infrared=hour < 6 or hour > 20,
                    ),
                )
            )
            for k, when in enumerate(times):
                sha = hashlib.sha256(f"{seed}-{number}-{k}".encode()).hexdigest()
                frames.append(
                    (
                        number,
                        m.Picture(
                            sha256=sha,
                            path=f"{intakes[d.slug].folder}/data/DCIM/100INVEN/INVE{made + k:07d}.JPG",
                            intake=intakes[d.slug],
                            deployment=deployment,
                            size_bytes=chance.randrange(900_000, 4_000_000),
                            file_order=made + k,
                            taken_raw=when + timedelta(minutes=d.utc_offset_min),
                            taken_at=when,
                            trigger="motion",
                            infrared=hour < 6 or hour > 20,
                            width=1920,
                            height=1440,
                            looked=True,
                        ),
                    )
                )
            made += count
            number += 1
        for batch in _batches([event for _, event in events]):
            m.Event.objects.bulk_create(batch)
        rows = []
        for of, frame in frames:
            frame.event = events[of][1]
            rows.append(frame)
        for batch in _batches(rows):
            m.Picture.objects.bulk_create(batch)
        first: dict[int, Any] = {}
        for of, frame in frames:
            first.setdefault(of, frame)
        words, said = [], []
        for index, (kind, event) in enumerate(events):
            event.cover = first[index]
            if chance.random() < looked:
                word = m.Word(
                    event=event, by=chance.choice(demo.TECHNICIANS), at=event.end_at + timedelta(days=2)
                )
                words.append(word)
                what = "blank" if chance.random() < 0.25 else "animal"
                said.append(
                    m.Sighting(
                        word=word,
                        what=what,
                        species=cast["species"][kind] if what == "animal" else None,
                        count=chance.choice((1, 1, 1, 2, 3)) if what == "animal" else 1,
                    )
                )
        for batch in _batches(words):
            m.Word.objects.bulk_create(batch)
        for word in words:
            word.event.word = word
        for batch in _batches(said):
            m.Sighting.objects.bulk_create(batch)
        for batch in _batches([event for _, event in events], 500):
            m.Event.objects.bulk_update(batch, ["cover", "word"])
        for of in intakes.values():
            of.files = of.new = of.pictures.count()
            of.save(update_fields=["files", "new"])


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--pictures", type=int, default=2000)
    pictures = given.parse_args().pictures
    from trod.web.start import ready

    ready()
    fill(pictures)


if __name__ == "__main__":
    main()
