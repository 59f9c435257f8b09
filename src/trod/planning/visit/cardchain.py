"""Which card is where: what visits and imports say of one memory card, put in order and held against itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from trod.errors import WrongInput

What = Literal["in", "out", "imported", "gone"]
Whereabouts = Literal["stock", "in a camera", "left in a camera", "home", "copied", "safe", "gone", "nowhere"]
_TURNS = {"out": 0, "imported": 1, "in": 2, "gone": 3}  # of one instant: it comes out before it goes in again


@dataclass(frozen=True, kw_only=True)
class Step:
    """One thing that happened to a card.

    what : it went into a camera, came out of it, was imported (copied), or was gone with its camera.
    camera : by its serial or any key; empty where unknown. place : where, in words. by : who.
    guessed : nobody noted it; it follows from something else. safe : of a copy: all of the card is in the archive.
    link : carried through untouched.
    """

    what: What
    at: datetime
    camera: str = ""
    place: str = ""
    by: str = ""
    guessed: bool = False
    safe: bool = False
    link: str = ""

    def __post_init__(self) -> None:
        if self.what not in _TURNS:
            raise WrongInput("what", got=self.what, needed="in, out, imported or gone")
        if self.at.tzinfo is None:
            raise WrongInput("at", got=self.at, needed="an instant with its zone")


@dataclass(frozen=True, kw_only=True)
class Stay:
    """A time that a camera stood, for a card that was left in it. end : None while it stands."""

    camera: str
    start: datetime
    end: datetime | None


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Two steps that do not go together: what `step` tells, and what `before` told. `trod.telling.cardchain` words it.

    in two cameras : it went into one while it is in another. not imported : it went into a camera before what was taken
    out was imported. elsewhere : it came out of another camera than it was in. out already : it came out twice.
    still in : it was imported while it is in a camera.
    """

    why: Literal["in two cameras", "not imported", "elsewhere", "out already", "still in"]
    step: Step
    before: Step


@dataclass(frozen=True, kw_only=True)
class Story:
    """Where a card is, as far as the steps tell.

    since : when that began. last : the step that says so. doubts : what does not go together.
    """

    where: Whereabouts
    since: datetime | None
    last: Step | None
    steps: tuple[Step, ...]
    doubts: tuple[Doubt, ...]


def story(steps: Iterable[Step], stays: Sequence[Stay] = ()) -> Story:
    """Put the steps of one card in order, and tell where it is and what does not go together.

    Days told of it are those of the instants given: convert them to local time before.
    stays : when cameras stood; a card in a camera that was retrieved has no place of its own any more.
    """
    ordered = sorted(steps, key=lambda s: (s.at, _TURNS[s.what]))
    doubts: list[Doubt] = []
    inside: Step | None = None  # the step by which it went in
    waiting: Step | None = None  # out, and not copied yet
    for step in ordered:
        if step.what == "in":
            if inside is not None and inside.camera != step.camera:
                doubts.append(Doubt(why="in two cameras", step=step, before=inside))
            if waiting is not None:
                doubts.append(Doubt(why="not imported", step=step, before=waiting))
            # Set into the camera that it is in already: the first day stays.
            inside = inside if inside is not None and inside.camera == step.camera else step
            waiting = None
        elif step.what == "out":
            if inside is not None and step.camera and inside.camera != step.camera:
                doubts.append(Doubt(why="elsewhere", step=step, before=inside))
            elif inside is None and waiting is not None:
                doubts.append(Doubt(why="out already", step=step, before=waiting))
            inside, waiting = None, step
        elif step.what == "imported":
            if inside is not None:
                doubts.append(Doubt(why="still in", step=step, before=inside))
            inside, waiting = None, None
        else:
            inside = None
    return _told(ordered, inside, doubts, stays)


def _told(ordered: list[Step], inside: Step | None, doubts: list[Doubt], stays: Sequence[Stay]) -> Story:
    where: Whereabouts = "stock"
    last = ordered[-1] if ordered else None
    since = last.at if last else None
    if inside is not None:
        where, last, since = "in a camera", inside, inside.at
        mine = [s for s in stays if s.camera == inside.camera and (s.end is None or s.end >= inside.at)]
        if mine and all(s.end is not None for s in mine):
            ended = max(s.end for s in mine if s.end is not None)
            where, since = "left in a camera", ended
    elif last is not None and last.what == "imported":
        where = "safe" if last.safe else "copied"
    elif last is not None and last.what == "out":
        where = "home"
    elif last is not None and last.what == "gone":
        where = "gone"
    return Story(where=where, since=since, last=last, steps=tuple(ordered), doubts=tuple(doubts))
