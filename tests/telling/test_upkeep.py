"""When to go and why, in words that follow from the facts alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from trod.planning.visit.upkeep import Closure, GoWhy, Interval, NextVisit, RoundDay
from trod.telling import upkeep

TODAY, LATER, LAST = date(2026, 5, 4), date(2026, 5, 14), date(2027, 5, 4)
EVERY = Interval(
    days=40.0, at_most_days=40.0, lost_days=2.0, chance_stopped=0.1, cost_per_day=0.1, outcome="best"
)  # fmt: skip
VISIT = NextVisit(
    name="Go by the mill", best=LATER, plan_on=LATER, tenth=None, chance_stopped=0.16, lost_days=1.9, interval=EVERY,
    held_up_by=None, asked_on=TODAY, looked_to=LAST,
)  # fmt: skip
SHUT = Closure(first=TODAY, last=LAST, why="calving. Go elsewhere")
ALL = RoundDay(
    day=LATER, take=("Mill", "Ford"), leave=("Saddle",), every_days=40.0, lost_days=3.0, chances=(), looked_to=LAST
)


@pytest.mark.parametrize(
    ("why", "day", "rest"),
    [
        (
            GoWhy(visit=VISIT),
            "Go by 14 May 2026. ",
            "By then it has stopped with a chance of 16 in 100, and about 2 camera-days are lost on the average.",
        ),
        (
            GoWhy(visit=replace(VISIT, plan_on=TODAY, chance_stopped=0.97, lost_days=0.4)),
            "Go today. ",
            "By now it has almost surely stopped, and less than a camera-day is lost on the average. By price alone "
            "14 May 2026 would do, but forecasts err on the late side.",
        ),
        (
            GoWhy(visit=replace(VISIT, held_up_by=SHUT, chance_stopped=0.001, lost_days=0.01)),
            "Go by 14 May 2026. ",
            "By then it has hardly any chance of having stopped, and hardly a camera-day is lost. A better day is "
            "closed (calving. Go elsewhere).",
        ),
        (
            GoWhy(visit=replace(VISIT, best=None, plan_on=None, held_up_by=SHUT)),
            "",
            "No day is open until 4 May 2027 (calving. Go elsewhere).",
        ),
        (GoWhy(found_on=TODAY), "", "It was found stopped on 4 May 2026: go as soon as you can."),
        (GoWhy(unseen_days=800), "", "Nobody has seen it at work for 800 days: go as soon as you can."),
        (GoWhy(trouble="Go figure. It broke."), "", "Go figure. It broke."),
    ],
)
def test_the_day_and_the_reason_are_told_together_or_the_reason_alone(why: GoWhy, day: str, rest: str) -> None:
    """The page took the first sentence off by its first full stop; a name or a reason may have one."""
    assert upkeep.reason(why) == rest
    assert upkeep.go(why) == day + rest


def test_where_nobody_said_how_often_cameras_are_lost_it_is_asked() -> None:
    asked = replace(VISIT, interval=replace(EVERY, days=None, outcome="ask for the hazard"))

    assert upkeep.reason(GoWhy(visit=asked)).endswith(upkeep.ASK_HAZARD)
    assert "longer than 200 days" in upkeep.ASK_HAZARD


def test_a_round_to_all_says_who_goes_who_waits_and_who_cannot() -> None:
    assert upkeep.round_to_all(ALL) == "Go on 14 May 2026 to 2 of 3 cameras; Saddle can wait."
    assert upkeep.round_to_all(replace(ALL, leave=())) == "Go on 14 May 2026 to 2 of 2 cameras."
    assert upkeep.round_to_all(replace(ALL, take=("Mill",), leave=())) == "Go on 14 May 2026 to the camera."
    shut = replace(ALL, day=None, take=(), leave=("Mill", "Ford", "Saddle"))
    assert upkeep.round_to_all(shut) == "No day is open until 4 May 2027."
    assert upkeep.round_to_all(ALL, by=(TODAY, "Ford")) == (
        "Go by 4 May 2026, which is as long as Ford should wait. A round to all of them would pay best on 14 May 2026."
    )
    assert upkeep.round_to_all(shut, by=(TODAY, "Ford")) == "Go by 4 May 2026, which is as long as Ford should wait."


def test_cameras_found_stopped_are_named() -> None:
    assert upkeep.found_stopped(["Ford"]) == ("Go as soon as you can: Ford stopped, and nobody set it going again.")
    assert upkeep.found_stopped(["Ford", "Mill"]).endswith("Ford and Mill stopped, and nobody set them going again.")
