"""Every address that there is, asked by an account that may not see people: no picture that nobody has reviewed, none
with a person or a vehicle, and no photo of a visit comes out of any of them.

The walk goes over the resolver, so a later address is in it by itself; one that it cannot fill in, or that hands out
pictures without being named in SERVES, fails here.
"""

from __future__ import annotations

import itertools
import json
import re
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import homecoming
import pytest
import sequenced
from django.apps import apps
from django.contrib.auth import get_user_model
from django.urls import URLPattern, get_resolver

from trod.catalogue import home, models
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.rounds import rounds
from trod.catalogue.rounds.wishes import Wish
from trod.web.questions import behind
from trod.web.shared import rights
from trod.web.shared.seeing import RIGHT, verdict

pytestmark = [pytest.mark.django_db, pytest.mark.long]
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
# JPEG, PNG, GIF, WebP, MP4 and the like, AVI, and pictures written into a page.
RASTER = re.compile(
    rb"\xff\xd8\xff|\x89PNG\r\n|GIF8[79]a|RIFF....(?:WEBP|AVI )|....ftyp|/Subtype ?/Image|"
    rb"data:(?:image/(?!svg)|video/)[^,]{1,40},[A-Za-z0-9+/]{40}",
    re.S,
)
# The addresses that hand pictures out, each of which asks `trod.web.shared.seeing` first.
SERVES = {"pictures:picture", "rounds:photo"}
# Those whose pictures are none of the archive's, and why.
OF_OTHER_THINGS: dict[str, str] = {
    "cameras:resolves_work": "crops of a printed target, photographed for the purpose and uploaded by whoever asks",
}


@pytest.fixture
def house(trod_home: Path, db: Any) -> dict[str, Any]:
    """A house with something at every address. open : the SHA-256s that everybody may see."""
    made = sequenced.ground()
    root = home.archive_root()
    for number in range(4):
        sequenced.sequence(made, number, frames=2, root=root, size=(320, 240))
    unseen, person, vehicle, deer = made.sequences
    for sequence, line in ((person, Line(what="human")), (vehicle, Line(what="vehicle"))):
        identifications.say(sequence, [line], by="Ilka Marwood", at=NOON)
    identifications.say(deer, [Line(what="animal", species="red-deer")], by="Ilka Marwood", at=NOON)
    for sequence in made.sequences:
        sequence.cover = sequence.pictures.order_by("taken_at").first()
        sequence.save(update_fields=["cover"])
    loose = models.Picture.objects.filter(sequence=unseen).last()
    models.Picture.objects.filter(pk=loose.pk).update(sequence=None)  # of no sequence: nobody can have reviewed it

    made.reserve.base_latitude, made.reserve.base_longitude = 47.29, 13.9
    made.reserve.save()
    now = datetime.now(UTC)
    wish = Wish(name="Both", first=(now + timedelta(days=1)).date(), people="Ada", which="all")
    row = rounds.keep(made.reserve, wish, rounds.plan(made.reserve, wish, now), by="Ada", now=now)
    model = models.CameraModel.objects.create(maker="Eskerwold Works", name="Invented 1", slug="invented-1")
    models.Placement.objects.create(
        site=made.sites[0], name="One", camera_model=model, animal="red-deer", inputs={}, at=NOON
    )
    seen = homecoming.visit(
        now - timedelta(minutes=5), site=made.sites[0].slug, deployment=made.deployments[0].slug,
        photo=homecoming.jpeg(), card_in="", card_out="",
    )  # fmt: skip
    from trod.catalogue.rounds import field_notes
    from trod.field.form import read_field_form

    file = read_field_form(homecoming.field_form_file(str(row.uuid), [seen], at=now))
    field_notes.take(file.visits, field_notes.Origin(field_form=str(row.uuid), by="Ada", at=now))
    models.Card.objects.create(label="C-1")
    models.Lock.objects.create(label="red", combination="123")
    models.Incident.objects.create(site=made.sites[0], kind="fault", found_on=NOON.date())
    models.StockItem.objects.create(name="Batteries")
    models.Sign.objects.create(reserve=made.reserve, kind="tracks", seen_on=NOON.date(), latitude=47.29, longitude=13.9)
    models.WalkTest.objects.create(deployment=made.deployments[0], at=NOON)
    models.CostYear.objects.create(reserve=made.reserve, year=2026)
    models.Job.objects.create(kind="report", state="failed", created_at=NOON)
    photo = models.Visit.objects.exclude(photos=[]).get().photos[0]["sha256"]
    return {
        "open": set(deer.pictures.values_list("sha256", flat=True)),
        "all": set(models.Picture.objects.values_list("sha256", flat=True)),
        "photo": photo,
    }


def walk(patterns: Any, head: str = "", room: str = "") -> Any:
    for entry in patterns:
        path = head + re.sub(r"^\^|\$$", "", str(entry.pattern))
        if isinstance(entry, URLPattern):
            yield f"{room}:{entry.name}" if room else str(entry.name), path
        else:
            yield from walk(entry.url_patterns, path, entry.namespace or room)


def examples(house: dict[str, Any]) -> dict[str, list[str]]:
    """Values for each hole of an address: every key that any row here has."""
    rows = [row for model in apps.get_app_config("trod").get_models() for row in model.objects.all()]
    told = sorted({v for row in rows if isinstance(v := getattr(row, "slug", None), str) and v})
    return {
        "int": [str(n) for n in range(1, 9)] + ["2026"],
        "slug": [*told, "sites", "a4", "letter", house["photo"], "what-comes", *behind.DOORS],
        "uuid": sorted({str(row.uuid) for row in rows if hasattr(row, "uuid")}),
        "str": ["sheet.pdf", "table.csv", "round.gpx", "round.ics", "field-form.html",
                *models.Import.objects.values_list("name", flat=True)],
        "question": ["what-comes", "when", "change"],
        "sha256": sorted(house["all"]),
        "kind": ["thumb", "view", "original"],
        "stamp": ["1"],
        "name": [path.stem for path in home.reports_root().glob("*.pdf")],
        "ending": ["pdf", "zip"],
    }  # fmt: skip


HOLE = re.compile(r"<(\w+):\w+>|\(\?P<(\w+)>[^)]*\)|<(\w+)>")


def addresses(path: str, values: dict[str, list[str]]) -> list[str]:
    """Every way to fill an address in."""
    holes = [next(filter(None, found)) for found in HOLE.findall(path)]
    plain = "/" + HOLE.sub("{}", path).replace("\\.", ".")
    return [plain.format(*filled) for filled in itertools.product(*(values[hole] for hole in holes))]


def body(answer: Any) -> bytes:
    data = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return bytes(data)


def asked(client: Any, house: dict[str, Any]) -> dict[str, list[tuple[str, int, bytes]]]:
    """Every address by its name, with status and body; those with nothing behind them are left out."""
    values = examples(house)
    out: dict[str, list[tuple[str, int, bytes]]] = {}
    for name, path in walk(get_resolver().url_patterns):
        out[name] = []
        for address in addresses(path, values):
            for query in ("", "?shown=1") if name == "pictures:picture" else ("",):
                answer = client.get(address + query)
                if answer.status_code != 404:
                    out[name].append((address + query, answer.status_code, body(answer)))
    return out


@pytest.fixture
def report(client: Any, house: dict[str, Any]) -> None:
    client.post("/reports/make", {"from": "2025-11-01", "to": "2025-12-31", "tables": "on"})


def test_no_address_gives_a_withheld_picture_to_an_account_without_the_right(
    client: Any, house: dict[str, Any], report: None, settings: Any
) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(get_user_model().objects.create_user("suri"))
    client.post("/pictures/people/", {"show": "1", "back": "/"})  # choosing is no right

    found = asked(client, house)

    leaks = [
        address
        for name, answers in found.items()
        for address, _, data in answers
        if RASTER.search(data) and name not in OF_OTHER_THINGS and not any(sha in address for sha in house["open"])
    ]
    assert leaks == []
    shown = {address for address, _, data in found["pictures:picture"] if RASTER.search(data)}
    assert len(shown) == 2 * 3 * 2, "the deer, which everybody may see, is still to be seen"
    empty = sorted(name for name, answers in found.items() if not answers and name not in UNFILLED)
    assert empty == [], "an address that this test cannot fill in: give the house something for it"


# There is nothing for these here, or only a POST: each is named, so that a new one is not passed over.
UNFILLED = {
    "cameras:resolves_work", "cameras:resolves_keep", "cards:job", "cards:bar", "questions:kept",
    "questions:charts_script", "rounds:work",
}  # fmt: skip


def test_with_the_right_the_addresses_that_give_pictures_are_those_named_here(
    client: Any, house: dict[str, Any], report: None
) -> None:
    found = asked(client, house)

    gives = {name for name, answers in found.items() if any(RASTER.search(data) for _, _, data in answers)}
    assert gives - set(OF_OTHER_THINGS) == SERVES
    shas = {address.split("/")[2] for address, _, data in found["pictures:picture"] if RASTER.search(data)}
    assert len(house["all"] - shas) == 4, "person and vehicle wait until somebody chooses to see them"


def test_the_right_is_given_on_the_settings_page_by_those_who_hold_it(client: Any, house: dict[str, Any], settings: Any):
    suri = get_user_model().objects.create_user("suri")
    ben = get_user_model().objects.create_user("ben")
    (sha,) = list(models.Picture.objects.filter(sequence=None).values_list("sha256", flat=True))
    client.post("/people/accounts/people/", {"who": [str(suri.pk)]})  # at the machine, which listens to itself alone

    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(ben)
    assert b"withheld" in client.get(f"/pictures/{sha}/view").content
    client.post("/people/accounts/people/", {"who": [str(ben.pk)]})
    assert b"withheld" in client.get(f"/pictures/{sha}/view").content
    client.force_login(suri)
    assert RASTER.search(body(client.get(f"/pictures/{sha}/view")))
    client.post("/people/accounts/people/", {"who": []})
    assert [user.username for user, holds in rights.holders(RIGHT) if holds] == ["suri"]  # not from themselves


def test_who_may_not_see_an_sequence_may_not_call_it_blank_to_open_it(client: Any, house: dict[str, Any], settings: Any):
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(get_user_model().objects.create_user("suri"))
    unseen = models.Sequence.objects.get(identification__isnull=True)
    person = models.Sequence.objects.get(identification__observations__what="human")
    for sequence in (unseen, person):
        said = {"act": "say", "uuid": str(uuid.uuid4()), "sequence": sequence.key, "lines": [{"what": "blank"}],
                "saw": str(sequence.identification.uuid) if sequence.identification else ""}  # fmt: skip
        answer = client.post("/review/act", json.dumps(said), content_type="application/json")

        assert answer.status_code == 422 and "withheld from you" in answer.json()["message"]
        before = sequence.identification_id
        sequence.refresh_from_db()
        assert sequence.identification_id == before
        assert b"withheld from you" in client.get(f"/review/{sequence.pk}").content
    assert b"You do not hold the right to see people" in client.get("/review/").content


def test_an_export_lists_no_picture_that_everybody_may_not_see(house: dict[str, Any], tmp_path: Path) -> None:
    from trod.web.reports import exporting

    told = exporting.export(tmp_path / "few")
    exporting.export(tmp_path / "all", people=True)

    def shas(name: str) -> set[str]:
        return set(re.findall(r"\b[0-9a-f]{64}\b", (tmp_path / name / "pictures.csv").read_text("utf-8")))

    assert shas("few") == house["open"]
    assert shas("all") == house["all"]
    observations = (tmp_path / "few" / "observations.csv").read_text("utf-8")
    assert "person" not in observations and "vehicle" not in observations
    assert (told["people_left_out"], told["not_reviewed_left_out"]) == (4, 2)


@pytest.mark.parametrize("reviewed", [True, False])
@pytest.mark.parametrize("people", [True, False])
@pytest.mark.parametrize("guessed", [True, False])
@pytest.mark.parametrize("chosen", [True, False])
def test_without_the_right_only_what_was_reviewed_and_shows_nobody_is_open(
    reviewed: bool, people: bool, guessed: bool, chosen: bool
) -> None:
    without = verdict(reviewed=reviewed, people=people, guessed=guessed, may=False, chosen=chosen)

    assert (without == "open") == (reviewed and not people)
    assert without in ("open", "people", "not reviewed")
    with_it = verdict(reviewed=reviewed, people=people, guessed=guessed, may=True, chosen=chosen)
    assert (with_it == "hidden") == (not chosen and (people if reviewed else guessed))
