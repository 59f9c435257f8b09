"""What the review's script knows of the catalogue's words, and that it is told the same in both places."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from trod.catalogue.identifications.identification_lines import tell_lines
from trod.catalogue.models import Observation
from trod.web.review import pages

TOLD = json.loads((Path(__file__).parents[2] / "scripts" / "review_told.json").read_text("utf-8"))


def test_the_script_s_own_tests_use_the_words_that_it_is_handed() -> None:
    assert json.loads(json.dumps(pages.vocabulary())) == TOLD["vocabulary"]


@pytest.mark.parametrize("case", TOLD["told"], ids=lambda case: case["text"])
def test_the_catalogue_tells_lines_as_the_script_does(case: dict[str, object]) -> None:
    assert tell_lines([tuple(row) for row in case["rows"]], case["note"]) == case["text"]  # type: ignore[attr-defined, arg-type]


def test_every_sex_and_life_stage_has_one_key_and_one_button() -> None:
    for kind, values in (("sex", Observation.Sex.values), ("life_stage", Observation.LifeStage.values)):
        assert [value for value, _, _ in pages.class_buttons(kind)] != []
        assert sorted(value for value, _, _ in pages.class_buttons(kind)) == sorted(values)
    letters = [key for keys in pages.CLASS_KEYS.values() for key in keys]
    assert sorted(pages.class_keys()) == sorted(set(letters)) and len(letters) == len(set(letters))


def test_no_species_can_have_a_key_that_does_something_else() -> None:
    assert set(pages.SIGNS) <= pages.TAKEN
    assert set("0123456789 +-") <= pages.TAKEN  # the count, blank, nearer, farther


def test_every_sign_and_button_means_something_to_the_script(root: Path) -> None:
    script = (root / "src/trod/web/static/trod/review.js").read_text("utf-8")
    acts = script.partition("const acts = {")[2].partition("\n  };")[0]
    page = (root / "src/trod/web/templates/trod/review_sequence.html").read_text("utf-8")

    for act in {*pages.SIGNS.values(), *re.findall(r'data-do="(\w+)"', page)}:
        assert re.search(rf"(^|[\s,{{]){act}(\(|,|:|$)", acts, flags=re.M), act
