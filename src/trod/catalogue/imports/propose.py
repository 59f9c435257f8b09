"""Which camera and which deployment does this card come from? Proposals, each with its reasons.

Nothing here decides silently: a proposal is *sure* only when the card's own marks (serial or label) point to
one deployment, nothing contradicts it, and the next best lies far behind. Otherwise a person is asked. The
weights are ours; tests/catalogue/test_propose.py holds the cases they were set by.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from trod import wording
from trod.archive.card import CardListing, Entry
from trod.catalogue.imports import facts
from trod.catalogue.models import Card, Deployment, Import, Visit
from trod.pictures import exif, metadata_reader

SAMPLE = 40  # files whose header is read
SURE, LEAD = 5.0, 3.0
SLACK = timedelta(days=1)  # a visit's noted time may be the evening's
SERIAL, LABEL, DATES, MODEL, WAITING = 6.0, 4.0, 3.0, 1.0, 1.0


@dataclass(frozen=True)
class Marks:
    """What the sampled files of a card say of themselves. Counters are over the sample."""

    sampled: int = 0
    serials: Counter[str] = field(default_factory=Counter)
    models: Counter[tuple[str, str]] = field(default_factory=Counter)
    times: tuple[datetime, ...] = ()
    places: tuple[tuple[float, float], ...] = ()
    unread: int = 0

    @property
    def first(self) -> datetime | None:
        return min(self.times, default=None)

    @property
    def last(self) -> datetime | None:
        return max(self.times, default=None)


@dataclass(frozen=True)
class Candidate:
    """One deployment the card may come from. against: what does not fit."""

    deployment: Deployment
    card: Card | None
    score: float
    reasons: tuple[str, ...]
    against: tuple[str, ...] = ()


@dataclass(frozen=True)
class Proposal:
    """What is known of a source before it is imported."""

    source: Path
    label: str
    files: int
    clips: int
    others: int
    size_bytes: int
    marks: Marks
    candidates: tuple[Candidate, ...]
    sure: bool
    notes: tuple[str, ...] = ()
    foreign: int = 0

    @property
    def best(self) -> Candidate | None:
        return self.candidates[0] if self.candidates else None

    @property
    def sentence(self) -> str:
        if self.best is None:
            return "No deployment is known that these pictures could come from."
        site = self.best.deployment.site.name
        if self.sure:
            return f"From {site}, camera {self.best.deployment.camera}."
        if len(self.candidates) > 1 and self.candidates[1].score > 0:
            return f"Perhaps from {site}, or from {self.candidates[1].deployment.site.name}: please say which."
        return f"Perhaps from {site}: please say so, or choose another."


def sample_of(entries: list[Entry], most: int = SAMPLE) -> list[Entry]:
    """Some files from all over the card, the first and the last among them."""
    if len(entries) <= most:
        return entries
    step = (len(entries) - 1) / (most - 1)
    return [entries[round(i * step)] for i in range(most)]


def read_marks(listing: CardListing) -> Marks:
    """Read the headers of a sample of a card's pictures."""
    serials: Counter[str] = Counter()
    models: Counter[tuple[str, str]] = Counter()
    times, places = [], []
    without: list[Path] = []  # a serial of the standard's own tag
    unread = 0
    pictures = [e for e in listing.taken if e.kind == "picture" and e.size_bytes]
    sample = sample_of(pictures)
    for entry in sample:
        path = listing.place_of(entry)
        try:
            found = exif.read_facts(path)
        except OSError:
            unread += 1
            continue
        if not found.serial:
            without.append(path)
        if found.serial:
            serials[found.serial] += 1
        if found.make or found.model:
            models[found.make, found.model] += 1
        if found.taken_raw:
            times.append(found.taken_raw)
        if found.gps_latitude_deg is not None and found.gps_longitude_deg is not None:
            places.append((found.gps_latitude_deg, found.gps_longitude_deg))
    if without and (reader := metadata_reader.find(os.environ)) is not None:
        serials.update(said.serial for said in reader.read(without).values() if said.serial)
    return Marks(len(sample), serials, models, tuple(times), tuple(places), unread)


def propose(listing: CardListing, *, now: datetime, label: str = "") -> Proposal:
    """Rank the deployments a listed card may come from. Reads headers of a sample; changes nothing."""
    marks = read_marks(listing)
    label = label or label_of(listing.source)
    card = card_by_label(listing.source, label)
    candidates = sorted(
        (_weigh(deployment, marks, card, now) for deployment in _deployments()),
        key=lambda c: (-c.score, -c.deployment.start.timestamp(), c.deployment.slug),
    )
    candidates = [c for c in candidates if c.score > 0][:8]
    notes = list(listing.notes)
    foreign = 0
    if len(marks.serials) > 1:
        usual, number = marks.serials.most_common(1)[0]
        foreign = sum(marks.serials.values()) - number
        others = ", ".join(s for s, _ in marks.serials.most_common(4)[1:])
        notes.append(
            f"Not all files are of one camera: of {marks.sampled} looked at, {number} bear the serial "
            f"{usual}, "
            f"{foreign} another ({others})."
        )
    return Proposal(
        source=listing.source,
        label=label,
        files=len(listing.taken),
        clips=listing.count("clip"),
        others=sum(e.kind == "other" and not e.companion for e in listing.entries),
        size_bytes=listing.size_bytes,
        marks=marks,
        candidates=tuple(candidates),
        sure=_is_sure(candidates),
        notes=tuple(notes),
        foreign=foreign,
    )


def _is_sure(candidates: list[Candidate]) -> bool:
    if not candidates or candidates[0].against or candidates[0].score < SURE:
        return False
    return len(candidates) == 1 or candidates[0].score - candidates[1].score >= LEAD


def _deployments() -> list[Deployment]:
    return list(Deployment.objects.select_related("camera__model", "site__reserve").prefetch_related("visits"))


def label_of(source: Path) -> str:
    """The name of the volume or folder, past DCIM and the like."""
    for part in reversed(source.resolve().parts):
        if part.upper() != "DCIM" and not part[:3].isdigit() and part not in ("/", "\\"):
            return part
    return source.name


def card_by_label(source: Path, label: str) -> Card | None:
    """The card whose label is the volume's name, or that of a folder above."""
    names = [label, *reversed(source.resolve().parts[-3:])]
    cards = {c.label.casefold(): c for c in Card.objects.filter(label__in=names)} or {
        c.label.casefold(): c for c in Card.objects.all() if c.label.casefold() in {n.casefold() for n in names}
    }
    return next((cards[n.casefold()] for n in names if n.casefold() in cards), None)


def _weigh(deployment: Deployment, marks: Marks, card: Card | None, now: datetime) -> Candidate:
    weighed = [
        *_by_serial(deployment, marks),
        *_by_dates(deployment, marks, now),
        *_by_label(deployment, card),
    ]
    score = sum(points for points, _ in weighed)
    waiting = _waiting_card(deployment)
    if waiting is not None and score > 0 and (card is None or waiting == card):
        visit = waiting_visit(deployment)
        assert visit is not None
        weighed.append(
            (
                WAITING,
                f"Card {waiting} was taken out there on {_day(visit.at, deployment)} and is not home yet.",
            )
        )
        score += WAITING
    own_card = card if card is not None and any(p > 0 for p, _ in _by_label(deployment, card)) else waiting
    return Candidate(
        deployment,
        own_card,
        score,
        tuple(text for points, text in weighed if points > 0),
        tuple(text for points, text in weighed if points < 0),
    )


def _day(when: datetime, deployment: Deployment) -> str:
    return wording.short_day(when.astimezone(deployment.site.reserve.zone_info))


def _by_serial(deployment: Deployment, marks: Marks) -> Iterator[tuple[float, str]]:
    camera = deployment.camera
    if marks.serials:
        usual, number = marks.serials.most_common(1)[0]
        if facts.same_serial(usual, camera.serial):
            which = "All" if number == marks.sampled else f"{number} of"
            yield SERIAL, f"{which} {marks.sampled} pictures looked at bear its camera's serial, {usual}."
        elif any(facts.same_serial(serial, camera.serial) for serial in marks.serials):
            few = next(n for s, n in marks.serials.items() if facts.same_serial(s, camera.serial))
            yield -SERIAL / 2, f"Only {few} of {marks.sampled} pictures looked at bear its camera's serial."
        else:
            yield -SERIAL, f"The pictures bear the serial {usual}; its camera's is {camera.serial}."
    elif marks.models and camera.model is not None:
        (make, model), _ = marks.models.most_common(1)[0]
        own = f"{camera.model.maker} {camera.model.name}".casefold()
        if make.casefold() in own and model.casefold().removeprefix(make.casefold()).strip() in own:
            yield MODEL, f"The pictures are of its camera's kind, {make} {model}."
        else:
            yield -SERIAL, f"The pictures are of another kind of camera ({make} {model})."


def _by_dates(deployment: Deployment, marks: Marks, now: datetime) -> Iterator[tuple[float, str]]:
    if not marks.times:
        return
    offset = timedelta(minutes=deployment.utc_offset_min)
    low = deployment.start.replace(tzinfo=None) + offset - SLACK
    high = (deployment.end or now).replace(tzinfo=None) + offset + SLACK
    inside = sum(low <= t <= high for t in marks.times) / len(marks.times)
    if inside >= 0.9:
        yield DATES * inside, f"The pictures' dates, {_span(marks)}, lie within its time."
    elif inside > 0:
        yield DATES * inside, f"{wording.share(inside)} of the pictures' dates lie within its time."
        yield -0.01, f"The other dates lie outside its time ({_span(marks)})."
    else:
        yield -1.5, f"The pictures' dates, {_span(marks)}, lie outside its time."


def _span(marks: Marks) -> str:
    first, last = marks.first, marks.last
    assert first is not None and last is not None
    return wording.short_period(first, last)


def _by_label(deployment: Deployment, card: Card | None) -> Iterator[tuple[float, str]]:
    if card is None:
        return
    visits = [v for v in deployment.visits.all() if card.pk in (v.card_in_id, v.card_out_id)]
    if visits:
        out = next((v for v in visits if v.card_out_id == card.pk), None)
        said = f"taken out there on {_day(out.at, deployment)}" if out else "put in there"
        yield LABEL, f"The card is called {card}, which was {said}."
    elif deployment.card_id == card.pk:
        yield LABEL, f"The card is called {card}, which is noted as in its camera."
    elif card.taken_out.exists() or card.put_in.exists():
        yield -LABEL, f"The card is called {card}, which was used elsewhere."


def waiting_visit(deployment: Deployment) -> Visit | None:
    """The visit that took out a card of this deployment which has not been imported."""
    for visit in sorted(deployment.visits.all(), key=lambda v: v.at, reverse=True):
        if visit.card_out_id and not Import.objects.filter(deployment=deployment, card_id=visit.card_out_id).exists():
            return visit
    return None


def _waiting_card(deployment: Deployment) -> Card | None:
    visit = waiting_visit(deployment)
    return visit.card_out if visit else None


Progress = Callable[[int, int], None]
