"""`trod power`: as told on the command line, of a catalogue, with wrong values."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from trod.commands.power import measure
from trod.errors import WrongInput

TOLD = ("--what-if", "--batteries", "8xFR6", "--triggers", 20, "--card", 32)


def test_on_a_bare_machine_a_camera_is_forecast_and_nothing_is_made(trod, trod_home):
    before = sorted(trod_home.rglob("*"))
    done = trod("power", *TOLD)

    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Probably stops between ")
    for words in ("8 × FR6, 32 GB, 3 pictures a trigger", "Assumed: ", "what the camera draws", "card full"):
        assert words in " ".join(done.stdout.split())
    assert sorted(trod_home.rglob("*")) == before


def test_common_practice_lithium_outlasts_alkaline_in_a_cold_winter(said):
    """Common practice: alkaline batteries die first in the cold."""
    cold = ("--triggers", 20, "--from", "2026-11-01", "--card", 256)
    alkaline, lithium = (
        said("power", "--what-if", "--batteries", f"8x{kind}", *cold)["what_if"] for kind in ("LR6", "FR6")
    )

    assert alkaline["early"] < lithium["early"]
    assert alkaline["causes"]["batteries"] > 0.9


def test_json_has_the_curve_the_causes_and_what_is_assumed(said):
    told = said("power", *TOLD, "--from", "2026-06-01", "--losses", 0.5)["what_if"]

    assert told["from"] == "2026-06-01"
    assert len(told["stopped"]) == 1097
    assert told["stopped"][-1] == pytest.approx(sum(told["causes"].values()), abs=1e-3)
    assert told["causes"]["fault"] > 0.05
    assert told["per_day"] > 20  # with runs of false triggers
    assert date.fromisoformat(told["early"]) < date.fromisoformat(told["middle"])
    assert not any("No chance of a fault" in caveat for caveat in told["caveats"])


def test_nights_and_what_it_draws_can_be_told_without_a_site(said):
    """What was asked for and could not be told before: cold nights and a measured idle draw."""
    asked = ("power", "--what-if", "--batteries", "8xLR6", "--triggers", 20, "--card", 256, "--from", "2026-11-01")
    usual, cold, frugal = (said(*asked, *more)["what_if"] for more in ((), ("--nights", -25), ("--idle", 0.5)))

    assert cold["middle"] < usual["middle"] < frugal["middle"]
    assert cold["nights"] == {
        "coldest_month_c": -25.0, "assumed": False,
        "source": "the coldest month as told, the rest of the year assumed from the latitude, 45° north",
    }  # fmt: skip
    assert usual["nights"]["assumed"] and any("the nights' cold" in words for words in usual["assumed"])
    assert not any("the nights' cold" in words for words in cold["assumed"])
    assert "what is not given of its draw" in frugal["assumed"]


def test_south_of_the_equator_winter_is_in_july(said):
    """Alkaline batteries set up before the southern winter stop sooner than before the northern one's dates."""
    cold = ("power", "--what-if", "--batteries", "8xLR6", "--triggers", 6, "--card", 512)
    days = {}
    for latitude in (-50, 50):
        for begin in ("2026-05-01", "2026-11-01"):
            told = said(*cold, "--lat", latitude, "--from", begin)["what_if"]
            days[latitude, begin] = (date.fromisoformat(told["middle"]) - date.fromisoformat(begin)).days

    assert days[-50, "2026-05-01"] < days[-50, "2026-11-01"]
    assert days[50, "2026-11-01"] < days[50, "2026-05-01"]


def test_with_a_catalogue_the_reserves_own_nights_rule(said, reserve):
    reserve.climate = {"minimum_c": [-18] * 12, "source": "the hut's book"}
    reserve.save()
    told = said("power", *TOLD)["what_if"]["nights"]

    assert told == {"coldest_month_c": -18.0, "assumed": False, "source": "the hut's book"}
    assert said("power", *TOLD, "--lat", 10)["what_if"]["nights"]["assumed"]


def test_units_are_read(said):
    assert "0.5 GB" not in said("power", *TOLD[:-1], "0.5TB")["what_if"]["outfit"]
    assert "500 GB" in said("power", *TOLD[:-1], "0.5TB")["what_if"]["outfit"]
    assert "300 s between" in said("power", *TOLD, "--delay", "5min")["what_if"]["outfit"]


@pytest.mark.parametrize(
    ("what", "words", "unit", "value"),
    [("card", "32", "GB", 32), ("card", "32GB", "GB", 32), ("card", " 1 tb ", "GB", 1000), ("delay", "90s", "s", 90),
     ("delay", "1.5 min", "s", 90), ("delay", ".5h", "s", 1800)],
)  # fmt: skip
def test_a_measure_with_or_without_its_unit(what, words, unit, value):
    assert measure(what, words, unit) == value


@pytest.mark.parametrize("words", ["", "x", "-1", "1e9", "3 furlongs", "٣", "1" * 500, "\x00"])
def test_a_measure_that_is_none_is_refused(words):
    with pytest.raises(WrongInput, match="needed: a number, alone in GB or with one of GB, TB, MB"):
        measure("card", words, "GB")


@pytest.mark.parametrize(
    ("asked", "status", "words"),
    [
        (("--batteries", "8 FR6"), 2, "--batteries goes with --what-if"),
        (("--from", "2026-01-01"), 2, "--from goes with --what-if"),
        (("--site", "Ford", "--what-if", "--triggers", "3"), 2, "--triggers is known of a standing camera"),
        (("--what-if", "--triggers", "0"), 2, "--triggers"),
        (("--what-if", "--triggers", "nan"), 2, "nan: needed is a number"),
        (("--what-if", "--lat", "nan"), 2, "nan: needed is a number"),
        (("--what-if", "--losses", "nan"), 2, "nan: needed is a number"),
        (("--what-if", "--batteries", "0xFR6"), 3, "needed: 1 to 64 batteries"),
        (("--what-if", "--batteries", "the red ones"), 3, "needed: a number and a kind"),
        (("--what-if", "--card", "large"), 3, "--card: got 'large'"),
        (("--what-if", "--feature", "pub"), 3, "--feature: got 'pub'; needed: one of "),
        (("--what-if", "--from", "soon"), 3, "needed: a day like 2026-11-01"),
        (("--what-if", "--from", "9999-12-31"), 3, "needed: a date before the year 9990"),
        (("--what-if", "--burst", "0"), 3, "needed: a picture or a clip"),
        (("--what-if", "--model", "Wren"), 3, "needed: a catalogue"),
        ((), 3, "needed: a catalogue; make one with trod serve or trod demo"),
        (("--site", "Ford"), 3, "needed: a catalogue"),
    ],
)
def test_what_cannot_be_is_told_with_what_is_needed(trod, trod_home, asked, status, words):
    done = trod("power", *asked)

    assert done.exit_code == status, done.output
    assert words in done.output
    assert not (trod_home / "catalogue.sqlite3").exists()


# With a catalogue --------------------------------------------------------------------------------------------


@pytest.fixture
def reserve(db, trod_home):
    """Meadow with a standing camera, Ford without one."""
    from django.utils import timezone

    from trod.catalogue import models as m

    (trod_home / "catalogue.sqlite3").touch()
    row = m.Reserve.objects.create(name="Hollin", slug="hollin", latitude=47.3, longitude=13.9, zone="Europe/Vienna")
    sites = [
        m.Site.objects.create(
            reserve=row, name=name, slug=name.lower(), latitude=47.3, longitude=13.9, feature="meadow",
            losses_per_year=0.2,
        )
        for name in ("Meadow", "Ford")
    ]  # fmt: skip
    kind = m.CameraModel.objects.create(maker="Oddlethorpe", name="Wren 12", slug="wren-12", idle_mw=2)
    camera = m.Camera.objects.create(serial="R-1", name="Red", model=kind)
    m.Deployment.objects.create(
        slug="meadow-1",
        camera=camera,
        site=sites[0],
        start=timezone.now() - timedelta(days=20),
        batteries="12 LR6",
        burst=3,
    )
    return row


def test_every_standing_camera_is_one_line_of_the_table(trod, reserve):
    from django.utils import timezone

    from trod.catalogue import models as m

    blue = m.Camera.objects.create(serial="B-2", name="Blue")
    ford = m.Site.objects.get(slug="ford")
    m.Deployment.objects.create(slug="ford-1", camera=blue, site=ford, start=timezone.now() - timedelta(days=300))
    done = trod("power")

    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].split() == ["site", "camera", "go", "by", "stopped", "now", "1", "in", "10", "by", "most", "likely"]
    assert [line.split()[0] for line in lines[1:3]] == ["Ford", "Meadow"]  # due first


def test_one_site_is_told_in_full(trod, said, reserve):
    told = said("power", "--site", "meadow")["cameras"]
    text = " ".join(trod("power", "--site", "Meadow").stdout.split())

    assert [one["camera"] for one in told] == ["Red"]
    assert told[0]["batteries"] == "12 × LR6"
    assert told[0]["faults_per_day"] == pytest.approx(0.2 / 365.25)
    assert told[0]["sentence"] in text
    assert {a["what"] for a in told[0]["assumed"]} >= {"Batteries", "Card", "Triggers a day", "Its share of the way"}
    assert "as the maker says" in text


def test_what_if_at_a_site_lays_it_beside_as_it_is(trod, said, reserve):
    asked = ("--what-if", "--batteries", "12xFR6", "--card", "256", "--burst", 1)
    (one,) = said("power", "--site", "Meadow", *asked)["cameras"]

    assert one["as_it_is"]["outfit"].startswith("12 × LR6, 32 GB, 3 pictures")
    assert one["set_otherwise"]["outfit"].startswith("12 × FR6, 256 GB, 1 picture ")
    assert (one["set_otherwise"]["early"] or "9") > one["as_it_is"]["early"]
    text = trod("power", "--site", "Meadow", "--what-if", "--delay", "1min").stdout
    assert "Set otherwise" in text and "60 s between" in text


def test_a_model_of_the_catalogue_is_taken(said, reserve):
    told = said("power", "--what-if", "--model", "wren 12", "--triggers", 5)["what_if"]

    assert "what the model does not state of its draw" in told["assumed"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (("--site", "Nowhere"), "--site: got 'Nowhere'; needed: one of the catalogue's sites: Ford, Meadow"),
        (("--site", "Ford"), "needed: a site at which a camera stands now"),
        (("--what-if", "--model", "Robin"), "needed: one of the kinds that are known: Oddlethorpe Wren 12"),
    ],
)
def test_a_name_that_is_not_known_is_told_with_those_that_are(trod, reserve, asked, words):
    done = trod("power", *asked)

    assert done.exit_code == 3
    assert words in " ".join(done.output.split())


def test_where_no_camera_stands_it_says_so(trod, reserve):
    from django.utils import timezone

    from trod.catalogue import models as m

    m.Deployment.objects.update(end=timezone.now())
    assert trod("power").stdout == "No camera stands in the field now.\n"
