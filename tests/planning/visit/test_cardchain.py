"""Which card is where: the story of one card, and what does not go together in it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from trod.errors import WrongInput
from trod.planning.visit.cardchain import Stay, Step, story
from trod.telling.cardchain import doubt, where


def day(month: int, number: int) -> datetime:
    return datetime(2026, month, number, 10, tzinfo=UTC)


def put(month: int, number: int, camera: str = "R-1") -> Step:
    return Step(what="in", at=day(month, number), camera=camera, place=f"{camera} at the ford")


def out(month: int, number: int, camera: str = "R-1") -> Step:
    return Step(what="out", at=day(month, number), camera=camera, place=f"{camera} at the ford", by="Suri")


def copied(month: int, number: int, *, safe: bool = True) -> Step:
    return Step(what="imported", at=day(month, number), camera="R-1", safe=safe)


def test_a_card_goes_out_comes_home_and_is_safe_to_format_only_when_all_was_read_back() -> None:
    way = [put(3, 1), out(5, 1), copied(5, 2)]

    assert [story(way[:n]).where for n in range(4)] == ["stock", "in a camera", "home", "safe"]
    assert story([put(3, 1), out(5, 1), copied(5, 2, safe=False)]).where == "copied"
    assert not any(story(way[:n]).doubts for n in range(4))
    assert where(story(way[:2])) == "Taken out of R-1 at the ford on 1 May 2026 by Suri; not imported yet."
    assert where(story(way)).endswith("safe to format in the camera.")


def test_a_card_in_two_cameras_is_told() -> None:
    found = story([put(3, 1), put(4, 1, "B-2")])

    assert found.where == "in a camera" and found.last is not None and found.last.camera == "B-2"
    (found_doubt,) = found.doubts
    assert found_doubt.why == "in two cameras"
    assert doubt(found_doubt) == (
        "In two cameras: it went into B-2 at the ford on 1 Apr 2026, while by the records it is in R-1 at the ford "
        "since 1 Mar 2026 and nobody took it out."
    )


def test_a_card_set_again_into_the_camera_it_is_in_keeps_its_first_day() -> None:
    found = story([put(3, 1), put(4, 1)])

    assert found.doubts == () and found.since == day(3, 1)


def test_a_card_that_goes_out_again_before_it_was_imported_is_told() -> None:
    (found,) = story([put(3, 1), out(5, 1), put(5, 3, "B-2")]).doubts

    assert "before the pictures from R-1 at the ford, taken out on 1 May 2026, were imported" in doubt(found)


def test_a_swap_within_one_minute_is_out_before_in() -> None:
    """A visit that takes a card out and sets it into the next camera at once is no doubt about order."""
    found = story([put(3, 1), copied(5, 1), out(5, 1)])

    assert found.doubts == () and found.where == "safe"


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ([put(3, 1), out(5, 1, "B-2")], "came out of B-2 at the ford on 1 May 2026, while by the records it was in R-1"),
        ([put(3, 1), copied(5, 1)], "A visit that took it out is missing."),
        ([put(3, 1), out(4, 1), out(5, 1, "B-2")], "though it was out already since 1 Apr 2026"),
    ],
)
def test_what_does_not_go_together_is_told(steps: list[Step], words: str) -> None:
    (found,) = story(steps).doubts

    assert words in doubt(found)


def test_a_card_left_in_a_camera_that_was_taken_down_is_looked_for_there() -> None:
    stood = Stay(camera="R-1", start=day(3, 1), end=day(6, 1))
    found = story([put(3, 1)], [stood])

    assert found.where == "left in a camera"
    assert where(found) == (
        "Still in R-1 at the ford, which was retrieved on 1 Jun 2026; nobody noted that the card came out."
    )
    again = Stay(camera="R-1", start=day(6, 2), end=None)
    assert story([put(3, 1)], [stood, again]).where == "in a camera"


def test_a_card_whose_camera_was_gone_is_gone_with_it() -> None:
    gone = Step(what="gone", at=day(5, 1), camera="R-1", place="R-1 at the ford", guessed=True)
    found = story([put(3, 1), gone])

    assert found.where == "gone" and not found.doubts
    assert where(found) == "Gone with R-1 at the ford, found gone on 1 May 2026."


def test_an_instant_without_zone_and_an_unknown_step_are_refused() -> None:
    with pytest.raises(WrongInput, match="an instant with its zone"):
        Step(what="in", at=datetime(2026, 1, 1))
    with pytest.raises(WrongInput, match="in, out, imported or gone"):
        Step(what="eaten", at=day(1, 1))  # type: ignore[arg-type]
