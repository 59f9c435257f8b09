"""Which sequences come, in which order, and the sentence that says so."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sequenced
from django.http import QueryDict

from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Sequence
from trod.web.review import queue

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
ILKA, TOBIN = "Ilka Marwood", "Tobin Achterfeld"


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    made = sequenced.ground()
    for number in range(8):
        sequenced.sequence(made, number)
    return made


def ask(made: sequenced.Ground, text: str = "") -> queue.Queue:
    return queue.read(QueryDict(text), made.reserve)


def come(made: sequenced.Ground, text: str = "", person: str = ILKA) -> list[int]:
    """Which of the ground's sequences come, by their number."""
    number = {sequence.pk: i for i, sequence in enumerate(made.sequences)}
    return [number[pk] for pk in ask(made, text).rows(person).values_list("pk", flat=True)]


def say(made: sequenced.Ground, number: int, line: Line, by: str = ILKA) -> None:
    identifications.say(made.sequences[number], [line], by=by, at=NOON)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Sequences nobody has looked at, oldest first"),
        ("site=alder-ford&sort=new", "Sequences nobody has looked at, at Alder Ford, newest first"),
        (
            "which=species&species=jay&from=2025-11-12&to=2025-11-30&light=night",
            "Sequences with an observation of Jay, from 12 Nov 2025 to 30 Nov 2025, in infrared, oldest first",
        ),
        ("which=species", "Sequences with an observation of any animal, oldest first"),
        ("which=unknown&from=2025-11-12", "Sequences somebody identified as unknown, from 12 Nov 2025 on, oldest first"),
        (
            "to=2025-11-12&light=day",
            "Sequences nobody has looked at, until 12 Nov 2025, by daylight, oldest first",
        ),
        (
            "deployment=grey-lick-2025&sort=place&which=all",
            "All sequences, of the deployment grey-lick-2025, camera after camera, oldest first",
        ),
    ],
)
def test_a_queue_tells_itself_and_comes_back_from_its_address(
    ground: sequenced.Ground, text: str, sentence: str
) -> None:
    wish = ask(ground, text)
    assert wish.sentence() == sentence
    assert ask(ground, wish.query()) == wish


def test_orders(ground: sequenced.Ground) -> None:
    assert come(ground) == [0, 1, 2, 3, 4, 5, 6, 7]
    assert come(ground, "sort=new") == [7, 6, 5, 4, 3, 2, 1, 0]
    assert come(ground, "sort=place") == [0, 2, 4, 6, 1, 3, 5, 7]


def test_kinds_of_queues(ground: sequenced.Ground) -> None:
    say(ground, 0, Line(what="animal", species="jay"))
    say(ground, 1, Line(what="unknown"))
    say(ground, 2, Line(what="blank"), TOBIN)
    say(ground, 3, Line(what="animal", species="jay"), TOBIN)
    say(ground, 3, Line(what="animal", species="badger"), ILKA)

    assert come(ground) == [4, 5, 6, 7]
    assert come(ground, "which=unknown") == [1]
    assert come(ground, "which=mine") == [0, 1, 3]
    assert come(ground, "which=mine", TOBIN) == [2]
    assert come(ground, "which=species&species=jay") == [0]
    assert come(ground, "which=species") == [0, 3]
    assert come(ground, "which=second") == [2]
    assert come(ground, "which=second", TOBIN) == [0, 1]
    assert come(ground, "which=all") == list(range(8))


def test_an_undone_word_puts_its_sequence_back_into_the_queue(ground: sequenced.Ground) -> None:
    say(ground, 0, Line(what="blank"))
    identifications.undo(by=ILKA, at=NOON)
    assert come(ground) == list(range(8))


def test_a_day_is_the_reserves_own_day(ground: sequenced.Ground) -> None:
    # 23:30 UTC on the 19th is 00:30 of the 20th in Vienna.
    late = sequenced.sequence(ground, 50, at=datetime(2025, 11, 19, 23, 30, tzinfo=UTC))
    assert list(ask(ground, "from=2025-11-20&to=2025-11-20").rows(ILKA)) == [late]
    assert list(ask(ground, "from=2025-11-19&to=2025-11-19").rows(ILKA)) == []


def test_time_lapse_frames_are_no_detection(ground: sequenced.Ground) -> None:
    Sequence.objects.filter(pk=ground.sequences[0].pk).update(time_lapse=True)
    assert come(ground, "which=all") == [1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("sort", ["old", "new", "place"])
def test_what_follows_an_sequence_is_the_rest_of_the_queue_also_at_equal_times(
    ground: sequenced.Ground, sort: str
) -> None:
    for number in (20, 21, 22):
        sequenced.sequence(ground, number, at=ground.sequences[3].start_at + timedelta(0))
    wish = ask(ground, f"sort={sort}&which=all")
    whole = list(wish.rows(ILKA))
    for i, sequence in enumerate(whole):
        assert list(wish.after(sequence, ILKA)) == whole[i + 1 :]
        assert list(wish.after(sequence, ILKA, back=True)) == whole[:i][::-1]


def test_what_cannot_be_used_in_a_filter_is_told_and_left_out(ground: sequenced.Ground) -> None:
    wish = ask(ground, "which=ghosts&site=nowhere&from=yesterday&to=0001-01-01&light=x%00&species=%00")
    assert wish.problems == (
        "from: 'yesterday' is no day; write it like 2025-11-30. Left out.",
        "to: '0001-01-01' is no day; write it like 2025-11-30. Left out.",
        "which: 'ghosts' is not one of the choices; left out.",
        "site: there is none called 'nowhere'; left out.",
        "light: 'x\\x00' is not one of the choices; left out.",
        "species: there is none called '\\x00'; left out.",
    )
    assert wish.sentence() == "Sequences nobody has looked at, oldest first"


def test_days_given_the_wrong_way_round_are_exchanged(ground: sequenced.Ground) -> None:
    wish = ask(ground, "from=2025-12-01&to=2025-11-01")
    assert wish.problems == ("The last day lies before the first; they were exchanged.",)
    assert wish.sentence() == "Sequences nobody has looked at, from 1 Nov 2025 to 1 Dec 2025, oldest first"


def test_counts_are_bounded(ground: sequenced.Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    say(ground, 0, Line(what="blank"))
    assert ask(ground).counts(ILKA) == ("7", "8")
    monkeypatch.setattr(queue, "MOST_COUNTED", 5)
    assert ask(ground).counts(ILKA) == ("more than 5", "more than 5")
