"""The kinds above species: where they stand, and what a question about them imports."""

from __future__ import annotations

from dataclasses import replace

import invented
import pytest

from trod.findings import Filter, taxa
from trod.findings.taxa import Taxon
from trod.telling.change import answer as change
from trod.telling.what_comes import answer as what_comes
from trod.telling.when import answer as when

YEAR = invented.year()
DEER = Taxon(key="deer", name="Deer", rank="family", scientific_name="Cervidae", parent="mammal")
MAMMAL = Taxon(key="mammal", name="Mammal", rank="class", scientific_name="Mammalia")
KINDS = (
    DEER,
    MAMMAL,
    Taxon(key="red-deer", name="Red deer", parent="deer"),
    Taxon(key="roe-deer", name="Roe deer", parent="deer"),
    *(Taxon(key=k, name=k, parent="mammal") for k in ("wild-boar", "red-fox", "brown-hare", "badger", "pine-marten")),
)


def test_every_known_kind_stands_under_one_that_is_known_and_no_name_is_twice() -> None:
    assert all(kind.parent == "" or kind.parent in taxa.BY_KEY for kind in taxa.KNOWN)
    assert all(kind.rank in taxa.RANKS for kind in taxa.KNOWN)
    assert len(taxa.BY_KEY) == len(taxa.BY_NAME) == len(taxa.KNOWN)
    assert set(taxa.FAMILY_OF.values()) <= set(taxa.BY_KEY)
    for kind in taxa.KNOWN:
        assert taxa.line_above(kind.key, {k.key: k.parent for k in taxa.KNOWN})[-1] in (
            "mammalia", "aves", "reptilia", "amphibia",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("latin", "family"),
    [
        ("Cervus elaphus", "cervidae"), ("Vulpes vulpes", "canidae"), ("Meles meles", "mustelidae"),
        ("Sus scrofa", "suidae"), ("Garrulus glandarius", "corvidae"), ("lepus europaeus", "leporidae"),
        ("Inventus inventus", ""), ("", ""),
    ],
)  # fmt: skip
def test_a_species_stands_under_the_family_of_its_genus(latin: str, family: str) -> None:
    assert taxa.above(latin) == family


def test_an_animal_counts_as_the_nearest_kind_asked_for() -> None:
    as_which = taxa.gatherer(KINDS, ("red-deer", "deer"))

    assert (as_which("red-deer"), as_which("roe-deer"), as_which("deer")) == ("red-deer", "deer", "deer")
    assert as_which("red-fox") is None and as_which("nothing-known") is None
    assert taxa.may_be(KINDS, ("red-deer", "deer")) == {"mammal"}


def test_a_ring_of_kinds_ends_where_it_closes() -> None:
    ring = (Taxon(key="a", name="A", parent="b"), Taxon(key="b", name="B", parent="a"))

    assert taxa.gatherer(ring, ("b",))("a") == "b"
    assert taxa.gatherer(ring, ("c",))("a") is None


def reserve_with_deer() -> object:
    """The invented year with roe deer of its own, and two animals known only as deer; one as a mammal."""
    roe = tuple(invented.observation("roe-deer", f"2025-06-{day:02d} 04:00", site="elm-lick") for day in range(1, 11))
    vague = tuple(
        invented.observation("deer", f"2025-07-{day:02d} 04:00", site="elm-lick", species_name="Deer, kind unknown")
        for day in (1, 2)
    )
    hairy = invented.observation("mammal", "2025-07-05 04:00", site="elm-lick", species_name="Mammal, kind unknown")
    return replace(YEAR, observations=(*YEAR.observations, *roe, *vague, hairy), taxa=KINDS)


def test_a_question_about_deer_takes_in_red_deer_roe_deer_and_deer_of_unknown_kind() -> None:
    evidence = reserve_with_deer()
    red = what_comes(YEAR, Filter(species=("red-deer",))).rows[0]["sequences"]
    found = what_comes(evidence, Filter(species=("deer",)))  # type: ignore[arg-type]

    assert [row["species"] for row in found.rows] == ["Deer, all kinds"]
    assert found.rows[0]["sequences"] == red + 10 + 2
    assert found.sentence.startswith("Deer, all kinds came by ")
    assert found.filter_sentence.startswith("Deer, all kinds at all 8 sites")
    assert any("1 sequence is known only as Mammal, kind unknown, which may be" in c for c in found.cautions)


def test_deer_within_half_an_hour_of_one_another_are_one_detection_of_deer() -> None:
    """A red deer and, ten minutes later, a deer of unknown kind: one detection of deer, two of what they were."""
    rows = (
        invented.observation("red-deer", "2025-06-01 04:00"),
        invented.observation("deer", "2025-06-01 04:10", species_name="Deer, kind unknown"),
    )
    evidence = replace(YEAR, observations=rows, taxa=KINDS, unseen=())

    assert what_comes(evidence, Filter(species=("deer",))).rows[0]["detections"] == 1
    assert [row["detections"] for row in what_comes(evidence).rows] == [1, 1]


def test_red_deer_asked_for_leave_deer_of_unknown_kind_out_and_say_so() -> None:
    found = what_comes(reserve_with_deer(), Filter(species=("red-deer",)))  # type: ignore[arg-type]

    known = what_comes(YEAR, Filter(species=("red-deer",)))
    assert found.rows[0]["detections"] == known.rows[0]["detections"]
    assert found.value is not None and known.value is not None
    assert known.value < found.value < 1.02 * known.value  # three of some two thousand may be red deer as well
    assert any(
        c.startswith("3 sequences are known only as Deer, kind unknown and Mammal, kind unknown, which may be what was ")
        for c in found.cautions
    )


def test_red_deer_and_all_deer_asked_for_together_are_counted_once_each() -> None:
    found = what_comes(reserve_with_deer(), Filter(species=("red-deer", "deer")))  # type: ignore[arg-type]
    by_name = {row["species"]: row["sequences"] for row in found.rows}

    assert by_name["Deer, all kinds"] == 12
    assert by_name["Red deer"] == what_comes(YEAR, Filter(species=("red-deer",))).rows[0]["sequences"]


def test_hours_and_months_of_all_deer_are_answered_too() -> None:
    asked = Filter(species=("deer",))

    assert when(reserve_with_deer(), asked).sentence.startswith("Deer, all kinds came")  # type: ignore[arg-type]
    assert "deer, all kinds" in change(reserve_with_deer(), asked).sentence.lower()  # type: ignore[arg-type]


def test_without_a_tree_everything_is_as_it_was() -> None:
    asked = Filter(species=("red-deer",))

    assert what_comes(replace(YEAR, taxa=KINDS), asked).to_json() == what_comes(YEAR, asked).to_json()
