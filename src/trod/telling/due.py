"""Why a site is due for a visit, and what is to be done there."""

from __future__ import annotations

from datetime import date

from trod import wording

CAUSES = {"batteries": "its batteries", "card": "its card", "fault": "a fault or theft"}
ALWAYS = "Read the clock, wipe lens and sensor, look at aim, strap and lock"


def found_stopped(camera: str, on: date, how: str) -> str:
    """A camera was found stopped, and how."""
    return f"{camera} was found stopped on {wording.day(on)} ({how})"


def has_stopped(camera: str, by: date, chance: float, cause: str) -> str:
    """A camera may have stopped by a day. cause : the likeliest, batteries, card or fault; "" where none is."""
    return f"{camera} has stopped by {wording.day(by)} {_times(chance)}{_because(cause)}"


def will_stop(camera: str, by: date, chance: float, cause: str) -> str:
    """A camera may stop until somebody comes by again."""
    return f"{camera} stops by {wording.day(by)} {_times(chance)}{_because(cause)}"


def _times(chance: float) -> str:
    return "almost surely" if chance > 0.995 else f"{100 * chance:.0f} times in 100"


def _because(cause: str) -> str:
    return f", most likely by {CAUSES[cause]}" if cause in CAUSES else ""


def goes_on(camera: str) -> str:
    """A camera that will hardly stop soon."""
    return f"{camera} has power and room for longer"


def no_forecast(camera: str) -> str:
    """Nothing is worked out yet of a camera."""
    return f"{camera} has no forecast yet"


def clock_wrong(camera: str, error_s: float) -> str:
    """A clock that was out when it was read last. error_s : above 0 where it is ahead."""
    return f"the clock of {camera} was {wording.clock_error(error_s)} when it was read last"


def nobody_there(days: int) -> str:
    """How long nobody was there."""
    return f"nobody was there for {wording.plural(days, 'day')}"


def lock_wanted(camera: str, how: str) -> str:
    """A lock is to be brought. how : as it was left, in words."""
    return f"A lock for {camera}: {how} when somebody was there last"


def find_out(camera: str, how: str) -> str:
    """A camera that stopped is to be looked at."""
    return f"Find out why {camera} stopped ({how})"


def fresh_batteries(camera: str, number: int, kind: str) -> str:
    """Batteries are to be changed."""
    return f"Fresh batteries for {camera}: {number} × {kind}"


def change_card(camera: str, card: str) -> str:
    """The card is to be changed. card : its label, "" where none is known."""
    return f"Card out, an empty one in ({f'{card} is in {camera}' if card else camera})"


def set_clock(camera: str) -> str:
    """The clock is to be set."""
    return f"Set the clock of {camera}"


def walk_test(camera: str) -> str:
    """A walk test is wanted."""
    return f"Walk test of {camera}: none is noted since it was set"
