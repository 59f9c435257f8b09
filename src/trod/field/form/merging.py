"""Visits from several phones and several exports brought together: nothing doubles, nothing is chosen silently.

Every incoming visit ends in exactly one of four heaps: new, same, changed, held. Held are those about which two
sides differ; each stands in a `Conflict` with both sides, and a person decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from trod.field.form.visit import VisitNote

DOUBLE_WITHIN = timedelta(hours=2)  # ours: no round comes to one camera twice so soon

Kind = Literal["both changed", "same number", "noted twice", "card in two places"]


@dataclass(frozen=True, kw_only=True)
class KnownVisit:
    """A visit as it stands at home.

    visit : with what was changed at home since; its revision is the one last taken from the phone.
    taken_digest : `digest()` of what the phone said then; empty when nothing was changed at home.
    """

    visit: VisitNote
    taken_digest: str = ""

    @property
    def changed_at_home(self) -> bool:
        """Whether somebody changed it after it came in."""
        return bool(self.taken_digest) and self.taken_digest != self.visit.digest()

    @property
    def said_by_phone(self) -> str:
        """The digest of what the phone said last."""
        return self.taken_digest or self.visit.digest()


@dataclass(frozen=True, kw_only=True)
class CardPut:
    """A card that went into a camera otherwise than by a visit: when the deployment was set, say.

    until : when it left it otherwise than by a visit; None while it is there.
    """

    card: str
    deployment: str
    at: datetime
    until: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """Two sides that do not go together. The first is what is known (or came first), the second what came.

    one : None when the first side is no visit but a deployment's card. words : a sentence for a person, which names
    neither site nor time: whoever shows it says both in the reader's own.
    """

    kind: Kind
    one: VisitNote | None
    other: VisitNote
    words: str


@dataclass(frozen=True, kw_only=True)
class Merge:
    """What an import would do.

    new : to be added. same : nothing to do (known already, or an older state). changed : (as known, as it came),
    to be replaced. conflicts : to be decided by a person; held : the incoming visits that wait for it.
    """

    new: tuple[VisitNote, ...]
    same: tuple[VisitNote, ...]
    changed: tuple[tuple[VisitNote, VisitNote], ...]
    held: tuple[VisitNote, ...]
    conflicts: tuple[Conflict, ...]


def merge(known: Iterable[KnownVisit], incoming: Iterable[VisitNote], *, cards: Sequence[CardPut] = ()) -> Merge:
    """Hold what came against what is known. Nothing is written.

    incoming : from one export or from several together; a visit that comes twice is looked at once, its newest
    revision counts.
    cards : where cards were put otherwise than by a visit.
    """
    at_home = {k.visit.uuid: k for k in known}
    conflicts: list[Conflict] = []
    same: list[VisitNote] = []
    fresh: list[VisitNote] = []
    changed: list[VisitNote] = []
    for visit in _newest(incoming, same, conflicts):
        mine = at_home.get(visit.uuid)
        if mine is None:
            fresh.append(visit)
        elif visit.digest() in (mine.visit.digest(), mine.said_by_phone) or visit.revision < mine.visit.revision:
            same.append(visit)
        elif visit.revision == mine.visit.revision:
            conflicts.append(
                _conflict(
                    "same number", mine.visit, visit,
                    f"Two states of one visit carry the same number ({visit.revision}) and say different things.",
                )
            )  # fmt: skip
        elif mine.changed_at_home:
            conflicts.append(
                _conflict("both changed", mine.visit, visit, "Changed at home and, since it came in, on the phone, too.")
            )
        else:
            changed.append(visit)
    held_before = {id(c.other) for c in conflicts}
    fresh = [v for v in fresh if id(v) not in held_before]
    conflicts += _noted_twice([k.visit for k in at_home.values()], fresh)
    conflicts += _cards([k.visit for k in at_home.values()], fresh, changed, cards)
    # A conflict between two that came holds both: neither may go in as if nothing were.
    came = {v.uuid for v in (*fresh, *changed)} | {c.other.uuid for c in conflicts}
    held_ids = {c.other.uuid for c in conflicts}
    held_ids |= {c.one.uuid for c in conflicts if c.one is not None and c.one.uuid in came}
    waiting = {v.uuid: v for v in (*[c.other for c in conflicts], *fresh, *changed) if v.uuid in held_ids}
    return Merge(
        new=tuple(v for v in fresh if v.uuid not in held_ids),
        same=tuple(same),
        changed=tuple((at_home[v.uuid].visit, v) for v in changed if v.uuid not in held_ids),
        held=tuple(waiting.values()),
        conflicts=tuple(conflicts),
    )


def _conflict(kind: Kind, one: VisitNote | None, other: VisitNote, words: str) -> Conflict:
    return Conflict(kind=kind, one=one, other=other, words=words)


def _newest(incoming: Iterable[VisitNote], same: list[VisitNote], conflicts: list[Conflict]) -> list[VisitNote]:
    """Each visit once, in its newest revision.

    What is told twice goes to `same`, what is told in two ways under one number to `conflicts`.
    """
    newest: dict[str, VisitNote] = {}
    for visit in incoming:
        before = newest.get(visit.uuid)
        if before is None:
            newest[visit.uuid] = visit
        elif visit.revision == before.revision and visit.digest() != before.digest():
            conflicts.append(
                _conflict(
                    "same number", before, visit,
                    f"Two files tell one visit under the same number ({visit.revision}) and say different things.",
                )
            )  # fmt: skip
        else:
            later, earlier = (visit, before) if visit.revision > before.revision else (before, visit)
            newest[visit.uuid] = later
            same.append(earlier)
    return list(newest.values())


def _noted_twice(known: list[VisitNote], fresh: list[VisitNote]) -> list[Conflict]:
    """Visits of two phones at one place within two hours: one visit written twice, or two people in turn."""
    found = []
    for number, visit in enumerate(fresh):
        for other in (*known, *fresh[:number]):
            place = visit.deployment or visit.site
            if (
                visit.stands
                and other.stands
                and place == (other.deployment or other.site)
                and visit.site == other.site
                and visit.phone != other.phone
                and abs(visit.at - other.at) <= DOUBLE_WITHIN
            ):
                apart = round(abs(visit.at - other.at).total_seconds() / 60)
                found.append(
                    _conflict(
                        "noted twice", other, visit,
                        f"Two phones noted a visit here, {apart} min apart: one visit written twice, or two?",
                    )
                )  # fmt: skip
    return found


def _label(card: str) -> str:
    return " ".join(card.split()).casefold()


def _cards(
    known: list[VisitNote], fresh: list[VisitNote], changed: list[VisitNote], cards: Sequence[CardPut]
) -> list[Conflict]:
    """Follow every card through all visits; one that goes in while it is in another camera is a conflict.

    Told only when a visit that came is the later of the two, or the earlier one of two that came.
    """
    replaced = {v.uuid for v in changed}
    came = replaced | {v.uuid for v in fresh}
    # (when, out before in at the same moment, card, deployment or site, whose word)
    steps: list[tuple[datetime, int, str, str, VisitNote | None]] = []
    for put in cards:
        steps.append((put.at, 1, _label(put.card), put.deployment, None))
        if put.until is not None:
            steps.append((put.until, 0, _label(put.card), put.deployment, None))
    for visit in (*(v for v in known if v.uuid not in replaced), *fresh, *changed):
        if visit.stands:
            place = visit.deployment or visit.site
            if visit.card_out:
                steps.append((visit.at, 0, _label(visit.card_out), place, visit))
            if visit.card_in:
                steps.append((visit.at, 1, _label(visit.card_in), place, visit))
    found = []
    inside: dict[str, tuple[str, VisitNote | None]] = {}
    for _, way, card, place, who in sorted(steps, key=lambda step: step[:4]):
        holder = inside.get(card)
        if way == 0:
            inside.pop(card, None)
            continue
        if holder is not None and holder[0] != place:
            before = holder[1]
            sides: tuple[VisitNote | None, VisitNote] | None = None
            if who is not None and who.uuid in came:
                sides = (before, who)
            elif before is not None and before.uuid in came:
                sides = (who, before)
            if sides is not None:  # else an old story, not of this import
                words = f"Card {sides[1].card_in} is said to be in {holder[0]} and in {place}, and nobody took it out."
                found.append(_conflict("card in two places", *sides, words))
        inside[card] = (place, who)
    return found
