"""The list of species: put there where one is named, with the kinds above it, and kept through a rebuild."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sequenced

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.answers import answers, evidence
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Observation, Species
from trod.catalogue.papers import ledger, loading
from trod.catalogue.rows import taxa
from trod.errors import WrongInput

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
ILKA, TOBIN = "Ilka Marwood", "Tobin Achterfeld"


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    return sequenced.ground()


def acts() -> list[dict[str, Any]]:
    return [
        json.loads(line)
        for path in home.archive_root().rglob("identifications.jsonl")
        for line in path.read_text("utf-8").splitlines()
    ]


def test_a_species_is_added_where_it_is_named(ground: sequenced.Ground) -> None:
    word = identifications.say(
        sequenced.sequence(ground, 0), [Line(what="animal", named=" Wood  grouse ")], by=ILKA, at=NOON
    )

    row = word.observations.get().species
    assert row is not None
    assert (row.name, row.slug, row.rank, row.scientific_name, row.active) == (
        "Wood grouse", "wood-grouse", "species", "", True,
    )  # fmt: skip
    assert identifications.tell(word) == "1 × Wood grouse"
    assert acts()[0]["observations"][0]["species"] == {
        "slug": "wood-grouse", "name": "Wood grouse", "scientific_name": "",
    }  # fmt: skip
    assert taxa.without_scientific_name() == [row]


def test_naming_it_again_in_any_case_adds_nothing(ground: sequenced.Ground) -> None:
    before = Species.objects.count()
    for number, name in enumerate(("Wood grouse", "wood grouse", "RED DEER")):
        identifications.say(sequenced.sequence(ground, number), [Line(what="animal", named=name)], by=ILKA, at=NOON)

    assert Species.objects.count() == before + 1
    assert Observation.objects.filter(species=ground.species["Red deer"]).count() == 1


def test_a_species_that_was_not_offered_any_more_is_offered_again_when_named(ground: sequenced.Ground) -> None:
    Species.objects.filter(slug="jay").update(active=False)
    identifications.say(sequenced.sequence(ground, 0), [Line(what="animal", named="Jay")], by=ILKA, at=NOON)

    assert Species.objects.get(slug="jay").active


def test_a_deer_of_unknown_kind_is_a_family_above_the_deer_on_the_list(ground: sequenced.Ground) -> None:
    word = identifications.say(
        sequenced.sequence(ground, 0), [Line(what="animal", named="deer", count=2)], by=ILKA, at=NOON
    )

    deer = Species.objects.get(scientific_name="Cervidae")
    assert (deer.name, deer.slug, deer.rank) == ("Deer", "deer", "family")
    assert deer.parent and deer.parent.parent and deer.parent.parent.scientific_name == "Mammalia"
    assert set(deer.children.values_list("name", flat=True)) == {"Red deer", "Roe deer"}
    assert identifications.tell(word) == "2 × Deer, kind unknown"
    assert acts()[0]["observations"][0]["species"]["rank"] == "family"
    # The fox stands under the nearest kind that is on the list; its family is not.
    assert Species.objects.get(slug="red-fox").parent.scientific_name == "Mammalia"  # type: ignore[union-attr]


def test_a_nearer_kind_takes_over_and_what_a_person_chose_stays(ground: sequenced.Ground) -> None:
    own = Species.objects.create(name="Our thieves", slug="our-thieves", rank="group")
    Species.objects.filter(slug="badger").update(parent=own)
    taxa.named("Mammal")
    assert Species.objects.get(slug="red-fox").parent.name == "Mammal"  # type: ignore[union-attr]

    taxa.named("Dog, fox or wolf")

    assert Species.objects.get(slug="red-fox").parent.scientific_name == "Canidae"  # type: ignore[union-attr]
    assert Species.objects.get(slug="badger").parent == own
    assert taxa.place_all() == 0


def test_a_kind_whose_name_a_species_has_already_is_told_apart(ground: sequenced.Ground) -> None:
    Species.objects.create(name="Owl", slug="owl", scientific_name="Strix aluco")
    from trod.findings import taxa as known

    assert taxa.ensure(known.BY_KEY["strigidae"]).name == "Owl (Strigidae)"


@pytest.mark.parametrize("what", ["blank", "human", "unknown"])
def test_only_an_animal_has_a_name(what: str) -> None:
    with pytest.raises(WrongInput, match="no species beside"):
        Line(what=what, named="Deer")


@pytest.mark.parametrize("name", ["", "x" * 81])
def test_a_name_of_no_or_too_many_letters_is_refused(name: str) -> None:
    with pytest.raises(WrongInput, match="a name of 1 to 80 letters, or a species"):
        Line(what="animal", named=name)


def test_nothing_is_added_when_somebody_else_said_something_meanwhile(ground: sequenced.Ground) -> None:
    sequence = sequenced.sequence(ground, 0)
    identifications.say(sequence, [Line(what="animal", species="jay")], by=TOBIN, at=NOON)
    with pytest.raises(identifications.SaidMeanwhile):
        identifications.say(sequence, [Line(what="animal", named="Wood grouse")], by=ILKA, at=NOON, saw=None)

    assert not Species.objects.filter(name="Wood grouse").exists()


@pytest.mark.django_db(transaction=True)
def test_ledger_and_rebuild_keep_ranks_and_what_stands_above(ground: sequenced.Ground) -> None:
    """The ledger names species by slug: a deer comes before its family there, and is loaded after it."""
    Species.objects.create(name="Axis deer", slug="axis-deer", scientific_name="Axis axis")
    taxa.named("Deer")
    taxa.named("Bird")
    ledger.write_ledger()
    kept = sidecar.read_ledger(home.archive_root())
    assert kept is not None
    told = {row["slug"]: (row["rank"], row["parent"]) for row in kept["species"]}
    assert told["axis-deer"] == ("species", "deer") and told["deer"][0] == "family"

    with ledger.quiet():
        Observation.objects.all().delete()
        Species.objects.all().delete()
        loader = loading.Loader()
        loader.load("species", kept["species"], "ledger.json")

    assert not loader.trouble
    assert ledger.dump_ledger()["species"] == kept["species"]


def test_words_alone_bring_a_kind_back_with_its_rank(ground: sequenced.Ground) -> None:
    identifications.say(sequenced.sequence(ground, 0), [Line(what="animal", named="Bird")], by=ILKA, at=NOON)
    written = acts()
    from trod.catalogue.models import Identification

    Identification.objects.all().delete()
    Species.objects.filter(name="Bird").delete()
    identifications.replay(written)

    row = Species.objects.get(name="Bird")
    assert (row.rank, row.scientific_name) == ("class", "Aves")
    assert identifications.tell(Identification.objects.get()) == "1 × Bird, kind unknown"


def test_questions_roll_up_to_a_kind(ground: sequenced.Ground) -> None:
    for number, line in enumerate((Line(what="animal", species="red-deer"), Line(what="animal", named="Deer"))):
        identifications.say(sequenced.sequence(ground, number), [line], by=ILKA, at=NOON)
    evidence.forget()
    account = evidence.gather(ground.reserve)

    assert answers.known_species()["deer"] == "Deer, all kinds"
    asked = answers.make_filter(account, species=["DEER"])
    found = answers.ASK["what-comes"](account.evidence, asked)
    assert [(row["species"], row["sequences"]) for row in found.rows] == [("Deer, all kinds", 2)]
    apart = answers.ASK["what-comes"](account.evidence, answers.make_filter(account))
    assert {row["species"] for row in apart.rows} == {"Red deer", "Deer, kind unknown"}


def test_a_ring_of_kinds_is_seen() -> None:
    a = Species.objects.create(name="A", slug="a", rank="group")
    b = Species.objects.create(name="B", slug="b", rank="group", parent=a)

    assert taxa.would_ring(a, b) and taxa.would_ring(a, a)
    assert not taxa.would_ring(b, a) and not taxa.would_ring(a, None)
