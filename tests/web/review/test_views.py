"""The review's pages and the acts they send."""

from __future__ import annotations

import json
import re
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sequenced

from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Identification, Sequence

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
TOBIN = "Tobin Achterfeld"


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    made = sequenced.ground()
    for number in range(20):
        sequenced.sequence(made, number)
    return made


@pytest.fixture
def ilka(client: Any) -> Any:
    client.post("/people/settings/", {"person": "Ilka Marwood"})
    session = client.session
    session["person"] = "Ilka Marwood"
    session.save()
    return client


def post(client: Any, **act: Any) -> Any:
    return client.post("/review/act", json.dumps(act), content_type="application/json")


def say(client: Any, sequence: Sequence, *lines: dict[str, Any], **more: Any) -> Any:
    return post(client, act="say", sequence=sequence.key, lines=list(lines) or [{"what": "blank"}], **more)


def page_data(answer: Any) -> dict[str, Any]:
    found = re.search(r'id="review-data" type="application/json">(.*?)</script>', answer.content.decode(), re.S)
    assert found
    return json.loads(found[1])


def test_the_start_prints_the_queue_and_how_much_is_left(ilka: Any, ground: sequenced.Ground) -> None:
    say(ilka, ground.sequences[0])
    text = " ".join(re.sub("<[^>]+>", " ", ilka.get("/review/?site=alder-ford").content.decode()).split())
    assert "Sequences nobody has looked at, at Alder Ford, oldest first: 9 left of 10." in text


def test_one_goes_on_where_one_left(ilka: Any, client: Any, ground: sequenced.Ground) -> None:
    say(ilka, ground.sequences[5], queue="sort=new")
    page = ilka.get("/review/")
    assert f'href="/review/{ground.sequences[4].pk}?sort=new">Go on where you left' in page.content.decode()


def test_an_empty_house_says_what_to_do(client: Any, trod_home: Path, db: Any) -> None:
    assert "There are no sequences here yet. Import a card under" in client.get("/review/").content.decode()


def test_the_page_holds_the_sequences_to_come(ilka: Any, ground: sequenced.Ground) -> None:
    data = page_data(ilka.get(f"/review/{ground.sequences[3].pk}"))
    assert [c["id"] for c in data["cards"]] == [e.pk for e in ground.sequences[3:15]]
    assert not data["ended"]
    more = ilka.get(f"/review/more?after={data['cards'][-1]['id']}").json()
    assert [c["id"] for c in more["cards"]] == [e.pk for e in ground.sequences[15:]]
    assert more["ended"]


def test_a_hostile_name_cannot_break_out_of_the_page(ilka: Any, ground: sequenced.Ground) -> None:
    site = ground.sites[0]
    site.name = "</script><script>alert(1)</script>"
    site.save()
    assert b"<script>alert" not in ilka.get(f"/review/{ground.sequences[0].pk}").content


def test_a_page_takes_as_many_questions_whatever_the_number_of_sequences(
    ilka: Any, ground: sequenced.Ground, django_assert_max_num_queries: Any
) -> None:
    for sequence in ground.sequences[::2]:
        identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    for queue in ("", "which=all", "which=second"):
        with django_assert_max_num_queries(30):
            assert ilka.get(f"/review/{ground.sequences[0].pk}?{queue}").status_code == 200
        with django_assert_max_num_queries(14):
            assert ilka.get(f"/review/more?after={ground.sequences[0].pk}&{queue}").status_code == 200


def test_saying_undoing_and_saying_again(ilka: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    answer = say(ilka, sequence, {"what": "animal", "species": "jay", "count": 2}, uuid=str(uuid.uuid4())).json()
    assert answer["text"] == "2 × Jay"
    assert Identification.objects.get().by == "Ilka Marwood"

    undone = post(ilka, act="undo", identification=answer["identification"], uuid=str(uuid.uuid4())).json()
    assert (undone["done"], undone["sequence"]) == (True, sequence.pk)
    assert Sequence.objects.get(pk=sequence.pk).identification is None
    assert post(ilka, act="undo").json() == {"done": False, "message": "There is nothing to undo."}
    assert post(ilka, act="redo").json()["done"]
    assert post(ilka, act="redo").json() == {"done": False, "message": "There is nothing to redo."}


def test_the_page_knows_what_can_be_undone_after_a_crash(ilka: Any, ground: sequenced.Ground) -> None:
    for sequence in ground.sequences[:3]:
        say(ilka, sequence, {"what": "animal", "species": "jay"})
    post(ilka, act="undo")
    own = page_data(ilka.get(f"/review/{ground.sequences[4].pk}"))["own"]
    assert [w["sequence"] for w in own["undo"]] == [e.pk for e in ground.sequences[:2]]
    assert [w["sequence"] for w in own["redo"]] == [ground.sequences[2].pk]
    assert own["undo"][-1]["lines"][0]["species"] == "jay"


def test_anothers_word_said_meanwhile_is_answered_with_it(ilka: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    theirs = identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)

    answer = say(ilka, sequence, saw="")

    assert answer.status_code == 409
    assert (answer.json()["by"], answer.json()["text"]) == (TOBIN, "1 × Jay")
    assert say(ilka, sequence, saw=answer.json()["meanwhile"]).status_code == 200
    assert theirs.sequence.identifications.count() == 2


def test_a_second_look_tells_the_others_word_only_after_ones_own(ilka: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    theirs = identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    page = ilka.get(f"/review/{sequence.pk}?which=second").content.decode()
    assert "1 × Jay" not in page
    assert "1 × Jay" not in ilka.get(f"/review/one/{sequence.pk}?which=second").content.decode()

    answer = say(ilka, sequence, saw=str(theirs.uuid), second=True).json()

    assert [(o["by"], o["text"], o["same"]) for o in answer["others"]] == [(TOBIN, "1 × Jay", False)]


@pytest.mark.parametrize(
    ("body", "status", "told"),
    [
        ("{", 400, "body: got"),
        ("[]", 400, "needed: one JSON object"),
        ("[" * 99_999, 400, "body: got"),
        ('{"act": "burn"}', 400, "act: got 'burn'; needed: say, undo or redo"),
        ('{"act": "say", "sequence": "none", "lines": []}', 410, "no longer in the catalogue"),
        ('{"act": "say", "sequence": {"a": 1}, "lines": []}', 410, "no longer in the catalogue"),
        ('{"act": "undo", "identification": "x"}', 400, "uuid: got 'x'; needed: a UUID"),
        ('{"act": "undo", "identification": "00000000-0000-4000-8000-000000000000"}', 400, "one of your own words"),
        ('{"act": "undo", "identification": {"a": 2}}', 400, "needed: a UUID"),
    ],
)
def test_what_cannot_be_done_is_told(ilka: Any, ground: sequenced.Ground, body: str, status: int, told: str) -> None:
    answer = ilka.post("/review/act", body, content_type="application/json")
    assert answer.status_code == status
    assert told in answer.json()["message"]


@pytest.mark.parametrize(
    "lines",
    [
        7,
        [],
        [7],
        [{"what": "x"}],
        [{"what": "animal", "species": "unicorn"}],
        [{"what": "animal", "species": ["jay"]}],
        [{"what": "animal", "species": "\0"}],
        [{"what": "animal", "dots": {"picture": 1}}],
        [{"what": "animal", "dots": [{"picture": "\0", "x": 0, "y": 0}]}],
    ],
)
def test_lines_that_do_not_fit_are_refused(ilka: Any, ground: sequenced.Ground, lines: Any) -> None:
    answer = post(ilka, act="say", sequence=ground.sequences[0].key, lines=lines)
    assert answer.status_code == 400
    assert not Identification.objects.exists()


@pytest.mark.parametrize("after", ["", "x", "0", "9" * 40, "-1"])
def test_more_after_an_sequence_that_is_gone_is_told(ilka: Any, ground: sequenced.Ground, after: str) -> None:
    answer = ilka.get(f"/review/more?after={after}")
    assert answer.status_code == 410
    assert answer.json()["message"] == "That sequence is no longer in the catalogue; open the review again."


def test_looking_saves_nothing(ilka: Any, ground: sequenced.Ground) -> None:
    for address in ("/review/", f"/review/{ground.sequences[0].pk}", f"/review/more?after={ground.sequences[0].pk}"):
        ilka.get(address)
    assert not Identification.objects.exists()
    assert ilka.get("/review/act").status_code == 405


def test_acts_need_their_token(ground: sequenced.Ground) -> None:
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    assert strict.post("/review/act", "{}", content_type="application/json").status_code == 403


def test_a_full_disk_is_told_and_asks_to_try_again(
    ilka: Any, ground: sequenced.Ground, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("trod.archive.disk.append", full)
    answer = say(ilka, ground.sequences[0])
    assert answer.status_code == 503
    assert "No room left" in answer.json()["message"]
    assert not Identification.objects.exists()


def test_a_kind_can_be_named_that_is_on_no_list(ilka: Any, ground: sequenced.Ground) -> None:
    line = {"what": "animal", "named": "Wood grouse", "count": 2}
    answer = say(ilka, ground.sequences[0], line, uuid=str(uuid.uuid4()))
    assert answer.status_code == 200 and answer.json()["text"] == "2 × Wood grouse"
    assert say(ilka, ground.sequences[1], {**line, "named": "x" * 81}).status_code == 400

    data = page_data(ilka.get(f"/review/{ground.sequences[2].pk}"))
    grouse = next(k for k in data["animals"] if k["species"] == "wood-grouse")
    assert grouse["name"] == "Wood grouse" and len(grouse["key"]) == 1


def test_kinds_above_species_can_be_said_and_have_no_key_that_a_species_could_want(
    ilka: Any, ground: sequenced.Ground
) -> None:
    data = page_data(ilka.get(f"/review/{ground.sequences[0].pk}"))
    deer = next(k for k in data["kinds"] if k["name"] == "Deer, kind unknown")
    assert (deer["named"], deer["species"], deer["key"]) == ("Deer", "", "")
    assert "Cervidae" in deer["also"]

    say(ilka, ground.sequences[0], {"what": "animal", "named": "Deer"})

    data = page_data(ilka.get(f"/review/{ground.sequences[1].pk}"))
    deer = next(k for k in data["kinds"] if k["name"] == "Deer, kind unknown")
    assert (deer["named"], deer["species"]) == ("", "deer")
    assert not any(k["species"] == "deer" for k in data["animals"])


def test_a_card_holds_what_stands_with_counts_classes_and_dots(ilka: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    sha = sequence.pictures.order_by("file_order").first().sha256
    dots = [{"picture": sha, "x": 0.25, "y": 0.5}, {"picture": sha, "x": 0.75, "y": 0.5}]
    say(
        ilka,
        sequence,
        {"what": "animal", "species": "red-deer", "count": 2, "sex": "female", "dots": dots},
        {"what": "animal", "species": "red-deer", "count": 1, "life_stage": "juvenile"},
        note="by the ford",
    )
    standing = page_data(ilka.get(f"/review/{sequence.pk}?which=all"))["cards"][0]["standing"]

    assert (standing["by"], standing["note"]) == ("Ilka Marwood", "by the ford")
    assert [(row["species"], row["count"], row["sex"], row["life_stage"]) for row in standing["lines"]] == [
        ("red-deer", 2, "female", "unknown"),
        ("red-deer", 1, "unknown", "juvenile"),
    ]
    assert standing["lines"][0]["dots"] == dots and standing["lines"][1]["dots"] == []
    unsaid = page_data(ilka.get(f"/review/{ground.sequences[1].pk}"))["cards"][0]
    assert unsaid["standing"] is None


def test_a_second_look_begins_with_nothing_until_one_has_said_ones_own(ilka: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    theirs = identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    blind = f"/review/{sequence.pk}?which=second"

    assert page_data(ilka.get(blind))["cards"][0]["standing"] is None
    say(ilka, sequence, {"what": "animal", "species": "badger"}, second=True, saw=str(theirs.uuid))
    assert page_data(ilka.get(blind))["cards"][0]["standing"]["by"] == "Ilka Marwood"


def test_what_somebody_may_not_see_does_not_begin_with_what_stands(ground: sequenced.Ground) -> None:
    from trod.web.review import pages

    identifications.say(ground.sequences[0], [Line(what="human")], by=TOBIN, at=NOON)
    rows = Sequence.objects.filter(pk=ground.sequences[0].pk)

    assert pages.cards(rows, person="Ilka", may=False)[0].standing is None
    assert pages.cards(rows, person="Ilka", may=True)[0].standing is not None
