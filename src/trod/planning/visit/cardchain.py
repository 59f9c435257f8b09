"""Which card is where: what visits and imports say of one memory card, put in order and held against itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from trod import wording
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
class Story:
    """Where a card is, as far as the steps tell.

    since : when that began. last : the step that says so. doubts : what does not go together, one sentence each.
    """

    where: Whereabouts
    since: datetime | None
    last: Step | None
    steps: tuple[Step, ...]
    doubts: tuple[str, ...]


def _day(at: datetime) -> str:
    return wording.short_day(at)


def _there(step: Step) -> str:
    return step.place or step.camera or "a camera"


def story(steps: Iterable[Step], stays: Sequence[Stay] = ()) -> Story:
    """Put the steps of one card in order, and tell where it is and what does not go together.

    Days in sentences are those of the instants given: convert them to local time before.
    stays : when cameras stood; a card in a camera that was retrieved has no place of its own any more.
    """
    ordered = sorted(steps, key=lambda s: (s.at, _TURNS[s.what]))
    doubts: list[str] = []
    inside: Step | None = None  # the step by which it went in
    waiting: Step | None = None  # out, and not copied yet
    for step in ordered:
        if step.what == "in":
            if inside is not None and inside.camera != step.camera:
                doubts.append(
                    f"In two cameras: it went into {_there(step)} on {_day(step.at)}, while by the records it is in "
                    f"{_there(inside)} since {_day(inside.at)} and nobody took it out."
                )
            if waiting is not None:
                doubts.append(
                    f"It went into {_there(step)} on {_day(step.at)} before the pictures from {_there(waiting)}, taken "
                    f"out on {_day(waiting.at)}, were imported. Look whether they are still on it."
                )
            # Set into the camera that it is in already: the first day stays.
            inside = inside if inside is not None and inside.camera == step.camera else step
            waiting = None
        elif step.what == "out":
            if inside is not None and step.camera and inside.camera != step.camera:
                doubts.append(
                    f"It came out of {_there(step)} on {_day(step.at)}, while by the records it was in {_there(inside)} "
                    f"since {_day(inside.at)}."
                )
            elif inside is None and waiting is not None:
                doubts.append(
                    f"It came out of {_there(step)} on {_day(step.at)}, though it was out already since "
                    f"{_day(waiting.at)} and nobody put it in again."
                )
            inside, waiting = None, step
        elif step.what == "imported":
            if inside is not None:
                doubts.append(
                    f"It was imported on {_day(step.at)}, while by the records it is in {_there(inside)} since "
                    f"{_day(inside.at)}. A visit that took it out is missing."
                )
            inside, waiting = None, None
        else:
            inside = None
    return _told(ordered, inside, doubts, stays)


def _told(ordered: list[Step], inside: Step | None, doubts: list[str], stays: Sequence[Stay]) -> Story:
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


def sentence(found: Story) -> str:
    """Where the card is, as a sentence."""
    step, day = found.last, _day(found.since) if found.since else ""
    by = f" by {step.by}" if step is not None and step.by else ""
    if step is None or found.where == "stock":
        return "Nothing is noted of it yet."
    if found.where == "in a camera":
        return f"In {_there(step)} since {day}."
    if found.where == "left in a camera":
        return f"Still in {_there(step)}, which was retrieved on {day}; nobody noted that the card came out."
    if found.where == "home":
        return f"Taken out of {_there(step)} on {day}{by}; not imported yet."
    if found.where == "copied":
        return f"Imported on {day}, but not everything on it is safe: do not format it yet."
    if found.where == "safe":
        return f"Imported on {day}: safe to format in the camera."
    return f"Gone with {_there(step)}, found gone on {day}."
