"""What people say: kept in the archive first, undone, said again, read back."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sequenced
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Dot, Line
from trod.catalogue.models import Identification, Mark, Observation, Picture, Sequence, Species
from trod.errors import ArchiveUnwritable, WrongInput

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
ILKA, TOBIN = "Ilka Marwood", "Tobin Achterfeld"


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    made = sequenced.ground()
    for number in range(6):
        sequenced.sequence(made, number)
    return made


def animal(species: str = "red-deer", count: int = 1, **more: Any) -> Line:
    return Line(what="animal", species=species, count=count, **more)


def later(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def stands(sequence: Sequence) -> str:
    identification = Sequence.objects.select_related("identification").get(pk=sequence.pk).identification
    return identifications.tell(identification) if identification else "nothing"


def acts(sequence: Sequence) -> list[dict[str, Any]]:
    deployment = sequence.deployment
    return list(sidecar.read_identifications(home.archive_root() / deployment.site.slug / deployment.slug).lines)


def everything() -> list[Any]:
    """All that the catalogue holds of words, free of row numbers."""
    return sorted(
        (
            str(w.uuid), w.sequence.key, w.by, w.at, w.note, w.undone_at, w.undone_by, identifications.tell(w),
            w.sequence.identification_id == w.pk,
            sorted((m.picture.sha256, m.x, m.y) for s in w.observations.all() for m in s.marks.all()),
        )
        for w in Identification.objects.select_related("sequence").prefetch_related(
            "observations__species", "observations__marks__picture"
        )
    )  # fmt: skip


def file_lines() -> list[dict[str, Any]]:
    return [identification for folder in sidecar.walk(home.archive_root()) for identification in folder.words]


# Saying


def test_a_word_stands_and_lies_in_the_archive(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    sha = sequence.pictures.first().sha256
    lines = [
        animal(count=2, sex="female", life_stage="adult", dots=(Dot(picture=sha, x=0.25, y=0.5),)),
        animal(life_stage="juvenile"),
        animal("red-fox"),
    ]

    identification = identifications.say(sequence, lines, by=ILKA, at=NOON, note="in the snow")

    assert stands(sequence) == "3 × Red deer (2 female, adult; 1 juvenile), 1 × Red fox; in the snow"
    assert (
        Mark.objects.filter(observation__identification=identification, picture__sha256=sha, x=0.25, y=0.5).count() == 1
    )
    (act,) = acts(sequence)
    pictures = list(sequence.pictures.order_by("taken_at").values_list("sha256", flat=True))
    assert act == {
        "act": "say",
        "uuid": str(identification.uuid),
        "by": ILKA,
        "at": NOON.isoformat(),
        "sequence": sequence.key,
        "first": pictures[0],
        "last": pictures[-1],
        "note": "in the snow",
        "observations": [
            {
                "what": "animal",
                "count": 2,
                "species": {"slug": "red-deer", "name": "Red deer", "scientific_name": "Cervus elaphus"},
                "sex": "female",
                "life_stage": "adult",
                "dots": [{"picture": sha, "x": 0.25, "y": 0.5}],
            },
            {
                "what": "animal",
                "count": 1,
                "species": {"slug": "red-deer", "name": "Red deer", "scientific_name": "Cervus elaphus"},
                "life_stage": "juvenile",
            },
            {
                "what": "animal",
                "count": 1,
                "species": {"slug": "red-fox", "name": "Red fox", "scientific_name": "Vulpes vulpes"},
            },
        ],
    }


def test_marks_can_be_given_beside_the_lines(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    dot = Dot(picture=sequence.pictures.first().sha256, x=1, y=0)

    identification = identifications.say(sequence, [animal("jay"), animal(count=2)], by=ILKA, at=NOON, marks=[(1, dot)])

    (mark,) = Mark.objects.filter(observation__identification=identification)
    assert (mark.observation.count, mark.x, mark.y) == (2, 1, 0)


def test_a_correction_is_a_new_word_and_the_old_one_stays(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("badger")], by=ILKA, at=NOON)
    identifications.say(sequence, [animal("red-fox")], by=TOBIN, at=later(1))

    told = [(t.by, t.text, t.stands) for t in identifications.history(sequence)]

    assert told == [(TOBIN, "1 × Red fox", True), (ILKA, "1 × Badger", False)]


def test_asking_twice_with_one_uuid_says_it_once(ground: sequenced.Ground) -> None:
    sequence, name = ground.sequences[0], uuid.uuid4()
    first = identifications.say(sequence, [animal()], by=ILKA, at=NOON, uuid=name)
    again = identifications.say(sequence, [animal()], by=ILKA, at=later(1), uuid=str(name))

    assert first.pk == again.pk
    assert len(acts(sequence)) == 1


def test_a_uuid_of_another_sequence_is_refused(ground: sequenced.Ground) -> None:
    name = uuid.uuid4()
    identifications.say(ground.sequences[0], [animal()], by=ILKA, at=NOON, uuid=name)
    with pytest.raises(WrongInput, match="a new one: this one names another word"):
        identifications.say(ground.sequences[1], [animal()], by=ILKA, at=NOON, uuid=name)


def test_a_clock_set_back_does_not_turn_the_order_of_words_round(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("badger")], by=ILKA, at=NOON)
    identifications.say(sequence, [animal("red-fox")], by=ILKA, at=NOON - timedelta(days=400))

    assert stands(sequence) == "1 × Red fox"
    assert identifications.undo(by=ILKA, at=NOON - timedelta(days=400)) is not None
    assert stands(sequence) == "1 × Badger"


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([], "observations: got 'none'; needed: at least one: an animal, blank, person, vehicle or unknown"),
        ([Line(what="blank"), animal()], "blank alone, or what is there"),
        ([animal("unicorn")], "species: got 'unicorn'; needed: a species of this reserve"),
        ([animal(dots=(Dot(picture="f" * 64, x=0, y=0),))], "needed: a picture of this sequence"),
    ],
)
def test_what_cannot_be_said_is_told_and_nothing_is_written(
    ground: sequenced.Ground, lines: list[Line], told: str
) -> None:
    with pytest.raises(WrongInput) as wrong:
        identifications.say(ground.sequences[0], lines, by=ILKA, at=NOON)
    assert told in str(wrong.value)
    assert not acts(ground.sequences[0])
    assert not Identification.objects.exists()


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        ({"what": "ghost"}, "what: got 'ghost'; needed: one of animal, blank, human, vehicle, unknown"),
        ({"what": "animal", "count": 0}, "count: got 0; needed: a whole number from 1 to 999"),
        ({"what": "animal", "count": True}, "count: got True"),
        ({"what": "animal", "count": 2.5}, "count: got 2.5"),
        ({"what": "animal", "sex": "both"}, "sex: got 'both'; needed: one of female, male, unknown"),
        ({"what": "blank", "species": "jay"}, "species: got 'jay'; needed: no species beside 'blank'"),
        ({"what": "animal", "dots": [{"picture": "a", "x": float("nan"), "y": 0}]}, "dot: got nan"),
        ({"what": "animal", "dots": [{"picture": "a", "x": 1.01, "y": 0}]}, "dot: got 1.01"),
        ({"what": "animal", "dots": [{"picture": "a", "x": "0", "y": 0}]}, "dot: got '0'"),
        ({"what": "animal", "dots": [7]}, "observation: got"),
        ({"what": ["animal"]}, "what: got ['animal']"),
        ("blank", "observation: got 'blank'"),
    ],
)
def test_a_line_from_outside_is_believed_only_when_it_fits(raw: Any, told: str) -> None:
    with pytest.raises(WrongInput) as wrong:
        identifications.line_from(raw)
    assert told in str(wrong.value)


# Two people at once


def test_anothers_word_said_meanwhile_is_not_overwritten(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("red-fox")], by=TOBIN, at=NOON, saw=None)
    before = len(acts(sequence))

    with pytest.raises(identifications.SaidMeanwhile) as meanwhile:
        identifications.say(sequence, [animal("badger")], by=ILKA, at=later(1), saw=None)

    assert str(meanwhile.value) == (
        "Tobin Achterfeld said “1 × Red fox” of this sequence just now. Yours is not written yet: "
        "let theirs stand, or say yours all the same."
    )
    assert stands(sequence) == "1 × Red fox"
    assert len(acts(sequence)) == before


def test_having_seen_anothers_word_one_may_say_ones_own(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    theirs = identifications.say(sequence, [animal("red-fox")], by=TOBIN, at=NOON)
    identifications.say(sequence, [animal("badger")], by=ILKA, at=later(1), saw=str(theirs.uuid))
    assert stands(sequence) == "1 × Badger"


def test_two_people_who_say_the_same_are_both_written(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("red-fox")], by=TOBIN, at=NOON, saw=None)
    identifications.say(sequence, [animal("red-fox")], by=ILKA, at=later(1), saw=None)
    assert sequence.identifications.count() == 2


def test_ones_own_word_of_another_window_does_not_stand_in_the_way(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("red-fox")], by=ILKA, at=NOON, saw=None)
    identifications.say(sequence, [animal("badger")], by=ILKA, at=later(1), saw=None)
    assert stands(sequence) == "1 × Badger"


# Undo and redo


def test_undo_goes_back_as_far_as_one_likes_and_redo_forth_again(ground: sequenced.Ground) -> None:
    a, b, c = ground.sequences[:3]
    identifications.say(a, [animal("badger")], by=ILKA, at=later(0))
    identifications.say(b, [animal("jay")], by=ILKA, at=later(1))
    identifications.say(b, [animal("red-fox")], by=ILKA, at=later(2))
    identifications.say(c, [Line(what="blank")], by=TOBIN, at=later(3))

    gone = [identifications.tell(identifications.undo(by=ILKA, at=later(4 + i))) for i in range(3)]
    assert gone == ["1 × Red fox", "1 × Jay", "1 × Badger"]
    assert identifications.undo(by=ILKA, at=later(8)) is None
    assert [stands(e) for e in (a, b, c)] == ["nothing", "nothing", "blank"]

    back = [identifications.tell(identifications.redo(by=ILKA, at=later(9 + i))) for i in range(3)]
    assert back == gone[::-1]
    assert identifications.redo(by=ILKA, at=later(13)) is None
    assert [stands(e) for e in (a, b, c)] == ["1 × Badger", "1 × Red fox", "blank"]
    assert [t.undone_by for t in identifications.history(a)] == [""]
    assert [x["act"] for x in acts(b)] == ["say", "say", "undo", "undo", "redo", "redo"]


def test_after_a_new_word_there_is_nothing_to_redo(ground: sequenced.Ground) -> None:
    a, b = ground.sequences[:2]
    identifications.say(a, [animal("badger")], by=ILKA, at=NOON)
    identifications.undo(by=ILKA, at=later(1))
    identifications.say(b, [animal("jay")], by=ILKA, at=later(2))
    assert identifications.redo(by=ILKA, at=later(3)) is None


def test_undo_after_redo_takes_the_same_word_back(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("badger")], by=ILKA, at=NOON)
    identifications.undo(by=ILKA, at=later(1))
    identifications.redo(by=ILKA, at=later(2))
    assert identifications.tell(identifications.undo(by=ILKA, at=later(3))) == "1 × Badger"
    assert stands(sequence) == "nothing"


def test_an_undone_word_lets_the_other_persons_stand_again(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    identifications.say(sequence, [animal("badger")], by=TOBIN, at=NOON)
    identifications.say(sequence, [animal("jay")], by=ILKA, at=later(1))
    identifications.undo(by=ILKA, at=later(2))

    assert stands(sequence) == "1 × Badger"
    assert [(t.text, t.undone_by) for t in identifications.history(sequence)] == [("1 × Jay", ILKA), ("1 × Badger", "")]


def test_undoing_a_named_word_twice_does_no_harm(ground: sequenced.Ground) -> None:
    identification = identifications.say(ground.sequences[0], [animal()], by=ILKA, at=NOON)
    identifications.undo(by=ILKA, at=later(1), identification=identification.uuid)
    identifications.undo(by=ILKA, at=later(2), identification=str(identification.uuid))
    assert [x["act"] for x in acts(ground.sequences[0])] == ["say", "undo"]


def test_anothers_word_cannot_be_undone(ground: sequenced.Ground) -> None:
    identification = identifications.say(ground.sequences[0], [animal()], by=TOBIN, at=NOON)
    with pytest.raises(WrongInput, match="one of your own words; another's is answered with a new word"):
        identifications.undo(by=ILKA, at=later(1), identification=identification.uuid)


# Reading back


def some_words(ground: sequenced.Ground) -> None:
    a, b, c, d = ground.sequences[:4]
    dot = Dot(picture=a.pictures.first().sha256, x=0.125, y=0.75)
    identifications.say(a, [animal("badger", dots=(dot,))], by=ILKA, at=later(0), note="at the sett – früh")
    identifications.say(b, [Line(what="blank")], by=ILKA, at=later(1))
    identifications.say(b, [animal("jay", 3, sex="female")], by=TOBIN, at=later(2))
    identifications.say(c, [animal(), animal("red-fox")], by=ILKA, at=later(3))
    identifications.undo(by=ILKA, at=later(4))
    identifications.redo(by=ILKA, at=later(5))
    identifications.undo(by=TOBIN, at=later(6))
    identifications.say(d, [Line(what="human", count=2)], by=TOBIN, at=later(7))


def test_a_lost_catalogue_is_read_back_from_the_archive(ground: sequenced.Ground) -> None:
    some_words(ground)
    before = everything()
    Identification.objects.all().delete()
    assert stands(ground.sequences[0]) == "nothing"

    done = identifications.replay(file_lines())

    assert everything() == before
    assert (done.said, done.known, done.told, done.unplaced) == (5, 0, [], [])


def test_reading_back_again_changes_nothing(ground: sequenced.Ground) -> None:
    some_words(ground)
    before = everything()
    done = identifications.replay([*file_lines(), *file_lines()])
    assert everything() == before
    assert (done.said, done.known) == (0, 5)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**6), cut=st.integers(0, 8))
def test_the_order_of_the_lines_and_a_part_read_before_make_no_difference(
    ground: sequenced.Ground, seed: int, cut: int
) -> None:
    if not Identification.objects.exists() and not file_lines():
        some_words(ground)
    if not Identification.objects.exists():
        identifications.replay(file_lines())
    before = everything()
    lines = file_lines()
    random.Random(seed).shuffle(lines)
    Identification.objects.all().delete()

    identifications.replay(lines[:cut])
    identifications.replay([json.dumps(line) for line in lines])

    assert everything() == before


def test_words_find_their_sequence_by_a_picture_after_a_regrouping(ground: sequenced.Ground) -> None:
    some_words(ground)
    lines = file_lines()
    Identification.objects.all().delete()
    sequence = ground.sequences[0]
    last = sequence.pictures.order_by("-taken_at").first()
    Sequence.objects.filter(pk=sequence.pk).update(key="alder-ford-2025.of-another-picture")
    Picture.objects.filter(sequence=sequence).exclude(pk=last.pk).update(sequence=None)

    done = identifications.replay(lines)

    assert stands(sequence) == "1 × Badger; at the sett – früh"
    assert done.unplaced == []


def test_a_word_without_its_pictures_is_told_and_comes_back_with_them(ground: sequenced.Ground) -> None:
    some_words(ground)
    lines, before = file_lines(), everything()
    Identification.objects.all().delete()
    sequence = ground.sequences[0]
    Sequence.objects.filter(pk=sequence.pk).update(key="elsewhere")
    Picture.objects.filter(sequence=sequence).update(sequence=None)

    done = identifications.replay(lines)
    assert len(done.unplaced) == 1
    assert "It stays in the archive and is taken up when they come." in done.told[0]

    Sequence.objects.filter(pk=sequence.pk).update(key=sequence.key)
    identifications.replay(lines)
    assert everything() == before


def test_an_unknown_species_becomes_a_placeholder_and_is_told(ground: sequenced.Ground) -> None:
    identifications.say(ground.sequences[0], [animal("jay")], by=ILKA, at=NOON)
    lines, sequence = file_lines(), ground.sequences[0]
    Identification.objects.all().delete()
    Species.objects.filter(slug="jay").delete()

    done = identifications.replay(lines)

    made = Species.objects.get(slug="jay")
    assert (made.name, made.scientific_name, made.active) == ("Jay", "Garrulus glandarius", False)
    assert done.species_made == ["Jay"]
    assert done.told == ["“Jay” is named in words but not in the list of species; a placeholder was made."]
    assert stands(sequence) == "1 × Jay"


def test_a_placeholder_whose_name_is_taken_gets_another(ground: sequenced.Ground) -> None:
    identifications.say(ground.sequences[0], [animal("jay")], by=ILKA, at=NOON)
    lines = file_lines()
    Identification.objects.all().delete()
    Species.objects.filter(slug="jay").update(slug="garrulus")
    assert identifications.replay(lines).species_made == ["Jay (2)"]


def test_species_with_hostile_slugs_become_placeholders_once(ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    slugs = ["../../x", "X!", "x" * 300, "…", "\0", "Jay", "JAY ", "<b>"]
    lines = [
        bad(sequence=sequence.key, observations=[{"what": "animal", "species": {"slug": slug, "name": "A name"}}])
        for slug in slugs
    ]

    done = identifications.replay(lines)

    assert done.said == len(slugs)
    assert done.species_made == ["A name", "A name (2)", "A name (3)", "A name (4)"]
    assert Species.objects.filter(slug__startswith="jay").count() == 1


def bad(**wrong: Any) -> str:
    act = {"act": "say", "uuid": str(uuid.uuid4()), "at": NOON.isoformat(), "by": "x"}
    return json.dumps({**act, "observations": [{"what": "blank"}], **wrong})


def test_torn_and_foreign_lines_are_told_and_passed_over(ground: sequenced.Ground) -> None:
    some_words(ground)
    before, lines = everything(), [json.dumps(line) for line in file_lines()]
    Identification.objects.all().delete()
    hostile = [
        lines[0][: len(lines[0]) // 2], "[]", "7", "null", '{"act": "say"}', "", b"\xff\xfe",
        '{"act": "say", "uuid": "x", "at": "2026-01-01T00:00:00+00:00"}',
        bad(act="burn"),
        bad(at="2026-01-01T00:00:00"),
        bad(observations=[]),
        bad(observations=[{"what": "animal", "count": -4}]),
        bad(observations=[{"what": "animal", "species": "jay"}]),
        "[" * 100_000,
    ]  # fmt: skip

    done = identifications.replay([*hostile, *lines])

    assert everything() == before
    assert len(done.told) == len(hostile) - 1  # the empty line is none
    assert done.told[0].startswith("Line 1 of an identifications file cannot be read")


def test_reading_back_asks_the_database_about_the_same_number_of_times_however_many_words(
    ground: sequenced.Ground, django_assert_max_num_queries: Any
) -> None:
    sequence = ground.sequences[0]
    first, last = identifications._ends(sequence)
    lines = [
        {
            "act": "say", "uuid": str(uuid.UUID(int=n)), "by": ILKA, "at": later(n).isoformat(),
            "sequence": sequence.key, "first": first, "last": last, "note": "",
            "observations": [{"what": "blank", "count": 1}],
        }
        for n in range(1200)
    ]  # fmt: skip
    with django_assert_max_num_queries(40):
        assert identifications.replay(lines).said == 1200
    assert Observation.objects.count() == 1200


# When something dies


def test_a_disk_that_refuses_leaves_no_word_in_the_catalogue(
    ground: sequenced.Ground, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("trod.archive.disk.append", refuse)
    with pytest.raises(ArchiveUnwritable, match="cannot be written"):
        identifications.say(ground.sequences[0], [animal()], by=ILKA, at=NOON)
    assert not Identification.objects.exists()
    assert stands(ground.sequences[0]) == "nothing"


_DIES = """
import os, signal, sys
from datetime import UTC, datetime
from trod.catalogue.start import ready
ready()
from trod.catalogue.identifications import identifications
from trod.catalogue.models import Identification, Sequence
import trod.archive.sidecar as sidecar
if sys.argv[1] == "fill":
    import sequenced
    made = sequenced.ground()
    sequenced.sequence(made, 0)
    sys.exit()
if sys.argv[1] == "after":
    keep = sidecar.append_identifications
    def kept(folder, acts):
        keep(folder, acts)
        os.kill(os.getpid(), signal.SIGKILL)
    sidecar.append_identifications = kept
identifications.say(Sequence.objects.get(), [identifications.Line(what="animal", species="badger", count=2)],
          by="Ilka Marwood",
          at=datetime(2026, 1, 5, 12, tzinfo=UTC), uuid="00000000-0000-4000-8000-000000000001")
"""
_TELLS = """
from trod.catalogue.start import ready
ready()
from pathlib import Path
from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.models import Identification, Sequence
print(Identification.objects.count())
done = identifications.replay([w for f in sidecar.walk(home.archive_root()) for w in f.words])
print(done.said, Identification.objects.count(), identifications.tell(Sequence.objects.get().identification))
"""


def surroundings(tmp_path: Path, root: Path) -> dict[str, str]:
    return {
        **{k: v for k, v in os.environ.items() if not k.startswith("TROD_")},
        "TROD_HOME": str(tmp_path / "home"),
        "PYTHONPATH": os.pathsep.join([str(root / "src"), str(root / "tests" / "support")]),
    }


@pytest.mark.kill
@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
def test_a_kill_between_archive_and_catalogue_loses_no_word(tmp_path: Path, root: Path) -> None:
    env = surroundings(tmp_path, root)

    def run(script: str, *args: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", script, *args], env=env, capture_output=True, text=True, timeout=120
        )

    assert run(_DIES, "fill").returncode == 0
    assert run(_DIES, "after").returncode == -signal.SIGKILL
    told = run(_TELLS)
    # The next process took it up from the archive by itself, before anybody asked; nothing is left to be read back.
    assert told.stdout.split("\n")[:2] == ["1", "0 1 2 × Badger"], told.stderr
    # Asked again with the same uuid, as the page does: one word still.
    assert run(_DIES, "whole").returncode == 0
    assert run(_TELLS).stdout.split("\n")[:2] == ["1", "0 1 2 × Badger"]


_SPEAKS = """
import sys, time
from datetime import UTC, datetime
from trod.catalogue.start import ready
ready()
from trod.catalogue.identifications import identifications
from trod.catalogue.models import Sequence
sequence = Sequence.objects.get()
print("ready", flush=True)
sys.stdin.readline()
try:
    line = identifications.Line(what="animal", species=sys.argv[1])
    identifications.say(sequence, [line], by=sys.argv[1], at=datetime.now(UTC), saw=None)
    print("said")
except identifications.SaidMeanwhile:
    print("told")
"""


def test_of_two_people_at_the_same_moment_one_is_told(tmp_path: Path, root: Path) -> None:
    env = surroundings(tmp_path, root)
    subprocess.run([sys.executable, "-c", _DIES, "fill"], env=env, check=True, timeout=120)
    speakers = [
        subprocess.Popen(
            [sys.executable, "-c", _SPEAKS, species],
            env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for species in ("badger", "jay")
    ]  # fmt: skip
    for speaker in speakers:
        assert speaker.stdout is not None and speaker.stdout.readline() == "ready\n"
    for speaker in speakers:
        assert speaker.stdin is not None
        speaker.stdin.write("now\n")
        speaker.stdin.flush()
    assert sorted(speaker.communicate(timeout=60)[0].strip() for speaker in speakers) == ["said", "told"]
    (file,) = (tmp_path / "home" / "archive").rglob("identifications.jsonl")
    assert len(file.read_text().splitlines()) == 1
