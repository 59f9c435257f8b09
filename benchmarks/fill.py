"""Fill the catalogue of a scratch TROD_HOME with the invented reserve and any number of invented pictures.

No files are made: the rows alone, to try pages and their speed on.

    TROD_HOME=/some/scratch/folder python benchmarks/fill.py --pictures 200000
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import random
import uuid
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
    from trod.catalogue import models as m
    from trod_demo import reserve as demo

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
            batteries=k.batteries,
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
            batteries=d.batteries,
            card=in_camera.get(d.slug),
            burst=int(dict(d.settings).get("burst", 1)),
            set_by=demo.TECHNICIANS[0],
        )
        for d in plan.deployments
    }
    for v in plan.visits:
        deployment = deployments[v.deployment]
        input = timedelta(minutes=deployment.utc_offset_min, seconds=v.clock_found_s or 0)
        m.Visit.objects.create(
            site=deployment.site,
            deployment=deployment,
            at=v.at,
            by=v.by,
            arrival=ARRIVAL.get(v.found, "unknown"),
            battery_percent=v.battery_pct,
            batteries_changed=v.batteries_changed,
            work=v.kind,
            note=v.notes,
            card_out=cards.get(v.card_out or ""),
            card_in=cards.get(v.card_in or ""),
            clock_shown=None if v.clock_found_s is None else v.at + input,
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


def fill(pictures: int = 2000, *, now: date | None = None, seed: int = 7, looked: float = 0.6) -> None:
    """Records and about so many pictures in sequences of some seven frames.

    looked : share of sequences with a word.

    Rows go straight into the tables, in one pass and without Django's objects, numbered by ourselves; then the daily
    sums are made as an import would have made them."""
    from django.db import transaction

    from trod.catalogue.models import Deployment
    from trod.catalogue.rows import rollups

    now = now or datetime.now(UTC).date()
    with transaction.atomic():
        cast = records(now)
        if pictures:
            _rows(cast, pictures, now, seed, looked)
        for one in Deployment.objects.select_related("site__reserve"):
            rollups.refresh(one)


def _rows(cast: dict[str, Any], pictures: int, now: date, seed: int, looked: float) -> None:
    from django.db import connection

    from trod.catalogue import models as m

    chance = random.Random(seed)
    demo, plan = cast["demo"], cast["plan"]
    last_round = {}  # the last card that came home, by deployment
    for card in plan.cards:
        if card.taken_out is not None and not card.just_pulled:
            last_round[card.deployment] = max(last_round.get(card.deployment, card.taken_out), card.taken_out)
    spans = [(d, d.start, last_round[d.slug]) for d in plan.deployments if d.slug in last_round]
    noon = datetime.combine(now, time(12), UTC)
    imports = {
        d.slug: m.Import.objects.create(
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
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA cache_size=-600000")
    into = {model: Bulk(model) for model in (m.Sequence, m.Picture, m.Identification, m.Observation)}
    came: dict[str, int] = {}
    made = number = 0
    cumulated = list(itertools.accumulate((to - start).days * demo.SITES_BY_SLUG[d.site].busy for d, start, to in spans))
    draws = {
        site.slug: ([key for key, _ in site.draw], list(itertools.accumulate(weight for _, weight in site.draw)))
        for site in demo.SITES
    }
    hours = {key: list(itertools.accumulate(kind.hours)) for key, kind in demo.SPECIES_BY_KEY.items()}
    every_hour = range(24)
    while made < pictures:
        ((d, start, to),) = chance.choices(spans, cum_weights=cumulated)
        day = start + timedelta(days=chance.uniform(0, (to - start).days))
        keys, weights = draws[d.site]
        (kind,) = chance.choices(keys, cum_weights=weights)
        (hour,) = chance.choices(every_hour, cum_weights=hours[kind])
        at = day.replace(hour=hour, minute=int(60 * chance.random()), second=int(60 * chance.random()), microsecond=0)
        if d.during("off", at) or at < start or at > to:
            continue
        number += 1
        count = min(chance.choice((1, 3, 3, 6, 6, 9, 18)), pictures - made)
        deployment, card_import = cast["deployments"][d.slug].pk, imports[d.slug]
        dark = hour < 6 or hour > 20
        digest = hashlib.sha256(f"{seed}-{number}".encode()).hexdigest()[12:]
        # In order, so that their index grows at its end: else five million would take most of their time there.
        shas = [f"{made + k:012x}{digest}" for k in range(1, count + 1)]
        said = chance.random() < looked
        end = at + timedelta(seconds=2 * (count - 1))
        into[m.Sequence].add(
            id=number, key=f"{d.slug[:35]}.{shas[0]}", deployment_id=deployment, start_at=at, end_at=end,
            frames=count, infrared=dark, time_lapse=False, cover_id=made + 1, identification_id=number if said else None,
        )  # fmt: skip
        for k, sha in enumerate(shas):
            made += 1
            when = at + timedelta(seconds=2 * k)
            into[m.Picture].add(
                id=made, sha256=sha, path=f"{card_import.folder}/data/DCIM/100INVEN/INVE{made:07d}.JPG",
                card_import_id=card_import.pk, deployment_id=deployment, sequence_id=number,
                size_bytes=900_000 + int(3_100_000 * chance.random()), file_order=made,
                taken_raw=when + timedelta(minutes=d.utc_offset_min), taken_at=when, trigger="motion",
                infrared=dark, width=1920, height=1440, looked=True,
            )  # fmt: skip
        came[d.slug] = came.get(d.slug, 0) + count
        if said:
            blank = chance.random() < 0.25
            into[m.Identification].add(
                id=number, uuid=uuid.UUID(int=chance.getrandbits(128), version=4), sequence_id=number,
                by=chance.choice(demo.TECHNICIANS), at=end + timedelta(days=2),
            )  # fmt: skip
            into[m.Observation].add(
                id=number, identification_id=number, what="blank" if blank else "animal",
                species_id=None if blank else cast["species"][kind].pk,
                count=1 if blank else chance.choice((1, 1, 1, 2, 3)),
            )  # fmt: skip
    for bulk in into.values():
        bulk.close()
    for slug, of in imports.items():
        of.files = of.new = came.get(slug, 0)
        of.save(update_fields=["files", "new"])


class Bulk:
    """Rows of one table, straight into it: COPY on PostgreSQL, many values at a time on SQLite."""

    AT_ONCE = 5000

    def __init__(self, model: Any) -> None:
        from django.db import connection
        from django.db.models import NOT_PROVIDED

        self.model, self.fields = model, list(model._meta.concrete_fields)
        self.place = {f.attname: place for place, f in enumerate(self.fields)}
        self.usual = [None if f.default is NOT_PROVIDED and f.null else f.get_default() for f in self.fields]
        self.sqlite = connection.vendor == "sqlite"
        self.rows: list[list[Any]] = []
        self.connection = connection
        quote = connection.ops.quote_name
        columns = ", ".join(quote(f.column) for f in self.fields)
        self.table = quote(model._meta.db_table)
        self.copy = f"COPY {self.table} ({columns}) FROM STDIN"
        self.insert = f"INSERT INTO {self.table} ({columns}) VALUES ({', '.join('?' * len(self.fields))})"
        self.instants = {f.attname for f in self.fields if f.get_internal_type() == "DateTimeField"}

    def add(self, **values: Any) -> None:
        row = self.usual[:]
        for name, value in values.items():
            if self.sqlite:  # as Django writes them there
                if name in self.instants:
                    value = value.isoformat(" ")[:19]
                elif name == "uuid":
                    value = value.hex
            row[self.place[name]] = value
        self.rows.append(row)
        if len(self.rows) >= self.AT_ONCE:
            self.flush()

    def flush(self) -> None:
        if not self.rows:
            return
        if self.sqlite:
            self.connection.connection.executemany(self.insert, self.rows)
        else:
            with self.connection.cursor() as cursor, cursor.copy(self.copy) as copy:
                for row in self.rows:
                    copy.write_row(row)
        self.rows = []

    def close(self) -> None:
        """The rest, and the table's own numbers from there on."""
        from django.core.management.color import no_style

        self.flush()
        with self.connection.cursor() as cursor:
            for sql in self.connection.ops.sequence_reset_sql(no_style(), [self.model]):
                cursor.execute(sql)


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--pictures", type=int, default=2000)
    pictures = given.parse_args().pictures
    from trod.catalogue.start import ready

    ready()
    fill(pictures)


if __name__ == "__main__":
    main()
