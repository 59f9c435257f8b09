"""Rows of standing cameras, made into what a forecast reckons with."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from trod.catalogue import models as m
from trod.catalogue.answers.evidence import gather
from trod.catalogue.forecasts import outfits
from trod.findings import Observation, UnseenSequence
from trod.telling import endurance as telling

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("text", "battery", "number", "source"),
    [
        ("8 × AA lithium", "FR6", 8, "as written down"),
        ("12 FR6", "FR6", 12, "as written down"),
        ("12xFR6", "FR6", 12, "as written down"),
        ("FR6 x 12", "FR6", 12, "as written down"),
        ("FR6", "FR6", 8, "as written down; how many is assumed"),
        ("4 AA alkaline", "LR6", 4, "as written down"),
        ("8*NiMH 2500 mAh", "HR6", 8, "as written down"),
        ("rechargeable", "HR6", 8, "as written down; how many is assumed"),
        ("8 AA", "LR6", 8, "the number as written down, their kind assumed"),
        ("", "LR6", 8, "assumed"),
        ("the ones from the truck", "LR6", 8, "assumed"),
        ("0 FR6", "FR6", 8, "as written down; how many is assumed"),
        ("99 FR6", "FR6", 8, "as written down; how many is assumed"),
        ("2026-05-01 FR6", "FR6", 8, "as written down; how many is assumed"),
        ("4 D batteries", "LR6", 8, "assumed: “4 D batteries” is no kind of battery that is known here"),
        ("2 × 18650 lithium-ion", "LR6", 8, "assumed: “2 × 18650 lithium-ion” is no kind of battery that is known here"),
        ("8 Li-ion AA", "LR6", 8, "assumed: “8 Li-ion AA” is no kind of battery that is known here"),
        ("\x00<b>" + "9" * 400, "LR6", 8, "assumed"),
    ],
)
def test_what_people_write_of_batteries_is_read_or_told_as_assumed(text, battery, number, source):
    pack, said = outfits.pack_from(text)

    told = outfits.Assumed("Batteries", pack.name, telling.pack_source(said), said.nothing).source
    assert (pack.battery.designation, pack.number, told) == (battery, number, source)


def test_what_the_text_leaves_open_the_camera_model_says():
    assert outfits.pack_from("", kind="fr6", number=12)[0].name == "12 × FR6"
    assert outfits.pack_from("lithium", kind="LR6", number=12)[0].name == "12 × FR6"
    assert outfits.pack_from("6", kind="HR6", number=12)[0].name == "6 × HR6"
    assert outfits.pack_from("", kind="external", number=1)[0].name == "1 × LR6"


def test_an_external_battery_is_read_with_its_volts_and_hours():
    pack, _ = outfits.pack_from("8 FR6 and 12 V 7,5 Ah beside it")

    assert pack.name == "8 × FR6 and an external battery"
    assert pack.extra.energy_wh == pytest.approx(12 * 7.5 * 0.5)
    assert outfits.pack_from("external battery")[0].extra is not None
    assert outfits.pack_from("900 V 7 Ah")[0].extra is None


def spring(**row):
    return {"from": "04-01", "to": "07-15", "why": "ground-nesting birds", **row}


def test_a_closed_season_comes_back_each_year(cast):
    cast.meadow.closed = [spring()]
    found = outfits.closures_of(cast.meadow, today=date(2026, 7, 1))

    assert [(c.first, c.last) for c in found] == [(date(y, 4, 1), date(y, 7, 15)) for y in (2026, 2027, 2028)]


def test_a_closed_season_over_new_year_is_one_closure_and_holds_in_january(cast):
    cast.meadow.closed = [{"from": "11-20", "to": "02-29", "why": "winter quiet"}]
    found = outfits.closures_of(cast.meadow, today=date(2027, 1, 10))

    assert found[0].first == date(2026, 11, 20)
    assert found[0].last == date(2027, 2, 28)
    assert found[0].holds(date(2027, 1, 10))
    assert found[1].last == date(2028, 2, 29)


@pytest.mark.parametrize(
    "closed", [None, "x", [1], [{}], [spring(to="13-99")], [spring(**{"from": None})], [{"from": "a-b", "to": "c"}]]
)
def test_a_closed_season_that_makes_no_sense_closes_nothing(cast, closed):
    cast.meadow.closed = closed

    assert outfits.closures_of(cast.meadow, today=date(2026, 7, 1)) == ()


@pytest.mark.parametrize(
    "kept", [{}, None, [], {"minimum_c": [1, 2]}, {"minimum_c": ["x"] * 12}, {"minimum_c": [900] * 12}]
)
def test_a_climate_that_cannot_be_is_not_taken(cast, kept):
    cast.reserve.climate = kept

    assert outfits.climate_of(cast.reserve).assumed


def test_nights_that_nobody_typed_are_assumed_by_the_latitude(cast):
    """South of the equator July is cold, at the equator no night freezes; each says that it is assumed."""
    cast.reserve.climate = {}
    found = {}
    for latitude in (47.3, -34.0, 0.5):
        cast.reserve.latitude = latitude
        found[latitude] = outfits.climate_of(cast.reserve)

    assert all(c.assumed and "from the latitude" in c.source for c in found.values())
    assert found[47.3].minimum_c[0] < 0 < found[47.3].minimum_c[6]
    assert found[-34.0].minimum_c[6] + 12 < found[-34.0].minimum_c[0]
    assert min(found[0.5].minimum_c) > 15 and max(found[0.5].sd_c) < 2


def test_the_reserves_own_nights_are_taken_with_their_source(cast):
    cast.reserve.climate = {"minimum_c": list(range(-6, 6)), "source": "the hut's book"}
    found = outfits.climate_of(cast.reserve)

    assert found.minimum_c[0] == -6
    assert found.source == "the hut's book"
    assert not found.assumed


def noon(cast, days_ago):
    return (cast.now - timedelta(days=days_ago)).replace(hour=10, minute=0)


def counts(cast):
    piece = gather(cast.reserve).pieces[cast.deployment.slug]
    return {c.day: c for c in outfits.day_counts(cast.meadow, cast.deployment, piece, zone="Europe/Vienna")}


def test_sequences_nobody_looked_at_count_as_triggers_that_are_not_told_apart(cast, bring_sequences):
    bring_sequences([noon(cast, d) for d in range(40, 0, -1) for _ in range(2)])
    found = counts(cast)

    assert len(found) >= 38
    day = found[date(2026, 6, 10)]
    assert (day.animals, day.blanks, day.night, day.told_apart) == (2, 0, None, False)


def said(cast, sequence, what):
    word = m.Identification.objects.create(sequence=sequence, by="Ilka Marwood", at=cast.now)
    m.Observation.objects.create(identification=word, what=what)
    sequence.identification = word
    sequence.save()


def test_looked_at_days_tell_animals_people_and_blanks_apart_and_what_came_by_night(cast, bring_sequences):
    """At 47° north a June day is dark at 21:00 UTC and not at noon."""
    cast.deployment.burst = 3
    times = [noon(cast, 20), noon(cast, 20) + timedelta(hours=2), noon(cast, 20) + timedelta(hours=11)]
    bring_sequences([*(noon(cast, d) for d in range(40, 20, -1)), *times, *(noon(cast, d) for d in range(19, 0, -1))])
    what = ["human", "blank", "animal"]
    day = times[0].date()
    for sequence, one in zip(m.Sequence.objects.filter(start_at__in=times).order_by("start_at"), what, strict=True):
        said(cast, sequence, one)
    found = counts(cast)

    # 21:00 UTC is 23:00 in Vienna, the same local day.
    assert (found[day].people, found[day].blanks, found[day].animals) == (1, 1, 1)
    assert found[day].night == 1
    assert found[day].told_apart


def test_many_pictures_of_one_sequence_are_so_many_triggers(cast, bring_sequences):
    cast.deployment.burst = 3
    bring_sequences([noon(cast, d) for d in range(30, 0, -1)])
    sequence = m.Sequence.objects.get(start_at=noon(cast, 10))
    m.Sequence.objects.filter(pk=sequence.pk).update(frames=10)
    sequence.refresh_from_db()
    said(cast, sequence, "animal")

    assert counts(cast)[noon(cast, 10).date()].animals == 4


def test_a_silent_fortnight_is_not_watched_and_not_counted_as_quiet(cast, bring_sequences):
    m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=1), card_out=cast.card, arrival="dead"
    )
    bring_sequences([noon(cast, d) - timedelta(hours=h) for d in range(60, 30, -1) for h in (0, 5)])
    found = counts(cast)

    assert date(2026, 5, 20) in found
    assert date(2026, 6, 20) not in found


def test_without_a_card_at_home_there_are_no_counts(cast):
    assert outfits.day_counts(cast.meadow, cast.deployment, None, zone="UTC") == ()
    assert counts(cast) == {}


def test_a_hostile_number_of_pictures_is_cut_not_a_fault(cast, bring_sequences):
    bring_sequences([noon(cast, d) for d in range(30, 0, -1)])
    m.Sequence.objects.update(frames=2_000_000_000)
    for sequence in m.Sequence.objects.all():
        said(cast, sequence, "animal")

    assert max(c.animals for c in counts(cast).values()) == 50_000


def test_counts_made_with_one_delay_are_known_to_be(cast, bring_sequences):
    cast.deployment.delay_s = 60
    bring_sequences([noon(cast, d) for d in range(30, 0, -1)])
    mine = tuple(counts(cast).values())
    found = outfits.arrivals_of(cast.meadow, [(cast.deployment, mine)])

    assert found.delay_s == 60
    assert found.posterior.days == len(mine)
    assert outfits.arrivals_of(cast.meadow, []).delay_s == 10


@pytest.mark.parametrize(
    ("visit", "still", "alive"),
    [
        ({"arrival": "working"}, False, True),
        ({"arrival": "knocked"}, False, True),
        ({"arrival": "blind"}, False, True),
        ({"arrival": "unknown"}, False, False),
        ({"arrival": "unknown", "batteries_changed": True}, False, True),
        ({"arrival": "dead"}, True, False),
        ({"arrival": "dead", "batteries_changed": True}, False, True),
        ({"arrival": "dead", "card_in_id": 1}, True, False),
        ({"arrival": "full"}, True, False),
        ({"arrival": "full", "batteries_changed": True}, True, False),
        ({"arrival": "full", "card_in_id": 1}, False, True),
        ({"arrival": "gone", "batteries_changed": True}, True, False),
    ],
)
def test_what_a_visit_leaves_behind(visit, still, alive):
    """Fresh batteries do not empty a full card, and a fresh card does not feed a camera."""
    row = m.Visit(**visit)

    assert outfits.stands_still(row) is still
    assert outfits.was_alive(row) is alive


def test_the_day_counts_of_the_pieces_do_not_depend_on_their_order(cast, bring_sequences):
    bring_sequences([noon(cast, d) for d in range(30, 0, -1)])
    piece = gather(cast.reserve).pieces[cast.deployment.slug]
    other = type(piece)(
        observations=(
            Observation(sequence="e", deployment="d", site="s", utc_s=datetime(2026, 6, 20, 10, tzinfo=UTC).timestamp()),
        ),
        unseen=(UnseenSequence(sequence="f", site="s", utc_s=0.0), *piece.unseen),
        line=piece.line,
        known_to_s=piece.known_to_s,
    )
    found = outfits.day_counts(cast.meadow, cast.deployment, other, zone="Europe/Vienna")

    assert {c.day: c.animals for c in found}[date(2026, 6, 20)] == 2  # one looked at, one not; 1970 is outside


@pytest.mark.parametrize(
    ("words", "gone"),
    [
        ("Cut the grass before the lens", True), ("trimmed two branches", True), ("removed a bramble", True),
        ("cut myself on the strap; grass wet", False), ("grass high", False), ("cleared the card", False), ("", False),
    ],
)  # fmt: skip
def test_what_is_written_of_a_scythe_ends_the_run_of_false_triggers(words, gone):
    assert bool(outfits.CUT.search(words)) is gone
