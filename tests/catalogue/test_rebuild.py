"""The database may be lost: the archive's folders bring back the same catalogue and the same findings."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import canon
import pulled
import pytest

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Dot, Line
from trod.catalogue.imports import clocks, import_card, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import (
    Booking,
    Card,
    Deployment,
    Import,
    Incident,
    Lock,
    Picture,
    Sequence,
    Sign,
    Species,
    StockItem,
    Visit,
)
from trod.catalogue.papers import ledger, standing
from trod.catalogue.work import rebuild
from trod.errors import CatalogueTrouble, OutOfStep, WrongInput

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)


@pytest.fixture
def lived(small: Any, take: Any) -> Any:
    """A catalogue with a past: foreign and damaged files, words said and undone, clocks mended, edits."""
    one, two, three = (
        small.card("ESK-01-A"),
        small.card("ESK-02-A", serial="INV-002"),
        small.card("nobody", serial=""),
    )
    label = Card.objects.create(label="ESK-01-A")
    files = one.bursts([*pulled.days(6), pulled.FIRST + timedelta(seconds=100)])
    files[4].write_bytes(files[4].read_bytes()[:-40])
    files[5].write_bytes(b"")
    one.shoot(datetime(2024, 1, 1), serial="STRANGER-9")
    take(one.folder, small.alder, card=label)
    two.bursts(pulled.days(4))
    take(two.folder, small.lick)
    three.bursts(pulled.days(2, datetime(2025, 3, 1)))
    take(three.folder)
    take(one.folder, small.alder, now=NOON)  # again: nothing new
    late = small.card("ESK-01-B", number=300)
    late.bursts([pulled.FIRST + timedelta(seconds=40)], frames=2)
    take(late.folder, small.alder, now=NOON + timedelta(hours=1))

    found = list(Sequence.objects.filter(deployment=small.alder).order_by("start_at"))
    sha = found[0].pictures.order_by("file_order").first().sha256
    identifications.say(
        found[0],
        [
            Line(
                what="animal",
                species="red-deer",
                count=2,
                sex="female",
                dots=(Dot(picture=sha, x=0.25, y=0.5),),
            )
        ],
        by="Ilka Marwood",
        at=NOON,
        note="one limps",
    )
    identifications.say(found[0], [Line(what="animal", species="red-fox")], by="Tobin", at=NOON + timedelta(minutes=1))
    identifications.undo(by="Tobin", at=NOON + timedelta(minutes=2))
    for sequence in Sequence.objects.filter(deployment=small.lick):
        identifications.say(sequence, [Line(what="blank")], by="Ilka Marwood", at=NOON + timedelta(minutes=3))
    identifications.say(
        found[2], [Line(what="animal", species="red-fox")], by="Ilka Marwood", at=NOON + timedelta(minutes=4)
    )
    visit = Visit.objects.create(
        site=small.lick.site, deployment=small.lick, at=NOON, by="Suri", card_out=label, arrival="working"
    )
    item = StockItem.objects.create(name="LR6", designation="LR6")
    Booking.objects.create(item=item, at=NOON, change=-8, why="used", visit=visit)
    Incident.objects.create(
        site=small.lick.site, deployment=small.lick, camera=small.lick.camera, found_on=NOON.date(), kind="animal"
    )
    Lock.objects.create(label="blue", camera=small.lick.camera, combination="4417")
    row, _ = clocks.correct(small.lick, shift_s=-3600, reason="summer time", by="Suri", now=NOON)
    clocks.undo(row, by="Suri", now=NOON)
    clocks.correct(
        small.alder,
        shift_s=600,
        from_raw=pulled.FIRST + timedelta(days=2),
        reason="slow",
        by="Suri",
        now=NOON,
    )
    moving.move(Import.objects.get(deployment=None), small.lick, line=Silent(), now=NOON)
    Species.objects.filter(slug="red-deer").update(key=None)
    small.alder.note = "moved a step to the left"
    small.alder.save()
    ledger.catch_up()
    return small


def lose_the_database() -> None:
    """All rows of ours gone, as after the loss of the file."""
    with ledger.quiet():
        rebuild.empty_all()


def test_every_row_that_matters_comes_back(lived: Any) -> None:
    before = canon.catalogue()
    lose_the_database()
    assert Picture.objects.count() == 0
    made = rebuild.rebuild(Silent(), workers=1)
    assert made.trouble == []
    assert canon.differences(before, canon.catalogue()) == {}
    assert ledger.catch_up() == 0


def papers_now() -> dict[str, bytes]:
    root = home.archive_root()
    return {path: (root / path).read_bytes() for path in standing.on_disk(root)}


def change_something(dice: random.Random, small: Any) -> None:
    """One thing that a person may do to the records."""
    number = dice.randrange(10**6)
    site, deployment = dice.choice([(d.site, d) for d in (small.alder, small.lick)])
    what = dice.choice(["card", "label", "visit", "move", "forget", "species", "lock", "stock", "sign"])
    if what == "card":
        Card.objects.create(label=f"C-{number}")
    elif what == "label" and (card := Card.objects.order_by("?").first()):
        card.label = f"L-{number}"
        card.save()
    elif what == "visit":
        Visit.objects.create(site=site, deployment=dice.choice([None, deployment]), at=NOON, by="Suri", note=f"{number}")
    elif what == "move" and (visit := Visit.objects.filter(bookings=None).order_by("?").first()):
        visit.deployment = None if visit.deployment else visit.site.deployments.first()
        visit.save()
    elif what == "forget" and (visit := Visit.objects.filter(bookings=None).order_by("?").first()):
        visit.delete()
    elif what == "species":
        Species.objects.create(name=f"Bird {number}", slug=f"bird-{number}")
    elif what == "lock" and (lock := Lock.objects.first()):
        lock.delete() if dice.random() < 0.5 else lock.save()
    elif what == "stock":
        StockItem.objects.create(name=f"strap {number}", designation="")
    elif what == "sign":
        place = {"latitude": 47.3, "longitude": 13.9}
        Sign.objects.create(reserve=site.reserve, site=site, kind="rub", seen_on=NOON.date(), **place)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.django_db(transaction=True)
def test_after_any_changes_a_rebuild_gives_back_every_paper_byte_for_byte(seed: int, lived: Any) -> None:
    dice = random.Random(seed)
    for _ in range(12):
        change_something(dice, lived)
    ledger.catch_up()
    before, rows = papers_now(), canon.catalogue()
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    assert made.trouble == []
    assert canon.differences(rows, canon.catalogue()) == {}
    assert ledger.catch_up() == 0
    assert papers_now() == before
    assert standing.look() == standing.Standing(standing.How.WHOLE)


def test_a_row_that_cannot_be_read_keeps_its_paper_from_being_written_over(lived: Any) -> None:
    root = home.archive_root()
    book = sidecar.read_ledger(root) or {}
    book["cards"].append({"label": "ESK-77", "size_gb": "not a number", "state": "ready", "note": ""})
    sidecar.write_ledger(root, book)
    before = papers_now()
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    assert any("ESK-77 was left out" in text for text in made.trouble)
    Species.objects.create(name="Jay", slug="jay")
    with pytest.raises(OutOfStep, match=r"Not every record of ledger\.json could be read"):
        ledger.write_ledger()
    assert papers_now() == before
    alder = Deployment.objects.get(slug="alder-track-2026")
    alder.note = "another paper may be written"
    alder.save()
    assert ledger.write_sidecar(alder)


def test_a_paper_that_changes_while_it_is_read_leaves_the_catalogue_half_made(
    lived: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = home.archive_root()
    lose_the_database()
    real = identifications.replay

    def meanwhile(lines: Any) -> Any:
        sidecar.write_ledger(root, {**(sidecar.read_ledger(root) or {}), "weather": []})
        return real(lines)

    monkeypatch.setattr(identifications, "replay", meanwhile)
    with pytest.raises(CatalogueTrouble, match=r"ledger\.json changed while"):
        rebuild.rebuild(Silent(), workers=1)
    assert standing.look().how is standing.How.HALF
    with pytest.raises(OutOfStep, match="not made to its end"):
        ledger.catch_up()


def test_rebuilding_twice_is_rebuilding_once(lived: Any) -> None:
    before = canon.catalogue()
    for _ in range(2):
        lose_the_database()
        rebuild.rebuild(Silent(), workers=1)
    assert canon.differences(before, canon.catalogue()) == {}


def test_thumbnails_that_are_there_are_not_made_again_unless_asked(lived: Any) -> None:
    thumbs = {p: p.stat().st_mtime_ns for p in home.thumbs_root().rglob("*.jpg")}
    assert thumbs
    lose_the_database()
    rebuild.rebuild(Silent(), workers=1)
    assert {p: p.stat().st_mtime_ns for p in home.thumbs_root().rglob("*.jpg")} == thumbs
    lose_the_database()
    rebuild.rebuild(Silent(), workers=1, remake_thumbnails=True)
    made_anew = {p: p.stat().st_mtime_ns for p in home.thumbs_root().rglob("*.jpg")}
    assert made_anew.keys() == thumbs.keys()
    assert all(made_anew[p] > thumbs[p] for p in thumbs)


def test_a_catalogue_with_records_in_it_is_not_rebuilt_over(lived: Any) -> None:
    with pytest.raises(WrongInput, match="an empty one"):
        rebuild.rebuild(Silent())


def test_a_lost_sidecar_costs_only_what_stood_in_it_alone(lived: Any) -> None:
    (home.archive_root() / "grey-lick/grey-lick-2026/sidecar.json").unlink()
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    assert any("come back as unplaced" in text for text in made.trouble)
    assert Picture.objects.filter(deployment=None).count() == 18
    assert Sequence.objects.filter(deployment__slug="alder-track-2026").exclude(identification=None).count() == 2


def test_a_lost_ledger_is_told(lived: Any) -> None:
    (home.archive_root() / "ledger.json").unlink()
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    assert any("There is no ledger.json" in text for text in made.trouble)


def test_a_torn_last_word_is_told_and_the_others_stand(lived: Any) -> None:
    file = home.archive_root() / "alder-track/alder-track-2026" / sidecar.IDENTIFICATIONS
    file.write_bytes(file.read_bytes()[:-20])
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    assert any("cannot be read" in text for text in made.trouble)
    assert Sequence.objects.exclude(identification=None).count() >= 4


def test_a_bag_that_stands_in_no_sidecar_comes_back_with_its_own_counts(
    small: Any, take: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = small.card()
    card.bursts(pulled.days(3))[1].write_bytes(b"")
    with monkeypatch.context() as patch:
        patch.setattr(import_card, "finish", lambda *a, **k: (_ for _ in ()).throw(RuntimeError("power cut")))
        row = import_card.begin(import_card.Asked(card.folder, small.alder, by="Ilka"), now=NOON)
        with pytest.raises(RuntimeError):
            import_card.import_card(row, line=Silent(), now=NOON, workers=1)
    ledger.write_ledger()
    with ledger.quiet():
        Import.objects.filter(pk=row.pk).update(state="copying")
    ledger.write_sidecar(small.alder)
    lose_the_database()
    made = rebuild.rebuild(Silent(), workers=1)
    again = Import.objects.get()
    assert any("stands in no sidecar" in text for text in made.trouble)
    assert (again.new, again.files, again.damaged, again.by, again.started_at) == (9, 9, 1, "Ilka", NOON)
    assert Sequence.objects.filter(deployment__slug="alder-track-2026").count() == 3


COMPARE = """
import json, sys
from trod.catalogue.start import ready
ready()
import canon
from datetime import datetime, UTC
from trod import findings
from trod.telling import change, what_comes, when
from trod.catalogue.answers import evidence
from trod.catalogue.models import Reserve
whole = evidence.evidence(Reserve.objects.get())
found = {ask.__module__: ask(whole, findings.Filter()).to_dict() for ask in
         (what_comes.answer, when.answer, change.answer)}
found["rows"] = canon.catalogue()
json.dump(found, sys.stdout, default=str, sort_keys=True)
"""


@pytest.mark.long
def test_the_demo_rebuilt_gives_the_same_findings_to_the_last_digit(tmp_path: Path) -> None:
    """Through the commands, each in a process of its own, with edits and corrections made in between."""
    support = Path(__file__).parents[1] / "support"
    env = {**os.environ, "TROD_HOME": str(tmp_path / "demo")}
    env["PYTHONPATH"] = os.pathsep.join([str(Path(import_card.__file__).parents[3]), str(support)])

    def run(*words: str) -> str:
        done = subprocess.run([sys.executable, *words], env=env, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout

    run("-m", "trod", "demo", "--no-browser", "--home", env["TROD_HOME"], "--pictures", "800", "--until", "2026-06-30")
    run("-c", EDITS)
    papers = "from trod.catalogue import home\nfrom trod.catalogue.papers import standing\n"
    papers = f"from trod.catalogue.start import ready\nready()\n{papers}import json\n"
    papers += "print(json.dumps(standing.on_disk(home.archive_root())))"
    written = run("-c", papers)
    before = json.loads(run("-c", COMPARE))
    for file in Path(env["TROD_HOME"]).glob("catalogue.sqlite3*"):
        file.unlink()
    shutil.rmtree(Path(env["TROD_HOME"]) / "cache")
    counts = json.loads(run("-m", "trod", "rebuild", "--json"))
    assert counts["trouble"] == [] and counts["words"] > 100
    after = json.loads(run("-c", COMPARE))
    assert canon.differences(before.pop("rows"), after.pop("rows")) == {}
    assert before == after
    caught_up = "from trod.catalogue.papers import ledger\nledger.catch_up()\nimport json"
    assert run("-c", papers.replace("import json", caught_up)) == written


EDITS = """
from trod.catalogue.start import ready
ready()
from datetime import datetime, UTC
from trod.catalogue.identifications import identifications
from trod.catalogue.imports import clocks
from trod.catalogue.models import Deployment, Sequence, Site
now = datetime(2026, 6, 30, 12, tzinfo=UTC)
for one in clocks.proposals(d := Deployment.objects.get(slug__startswith="larkfield")):
    clocks.correct(
        d, shift_s=one.shift_s, from_raw=one.from_raw, to_raw=one.to_raw, reason=one.reason, by="Ilka",
        now=now,
    )
sequence = Sequence.objects.exclude(identification=None).order_by("key").first()
identifications.say(sequence, [identifications.Line(what="animal", species="lynx")], by="Suri Penhallick", at=now)
identifications.undo(by="Tobin Achterfeld", at=now)
site = Site.objects.get(slug="grey-lick"); site.note = "A fresh block of salt."; site.save()
"""


def test_a_time_that_only_the_file_had_outlives_a_way_through_other_disks(small: Any, take: Any) -> None:
    card = small.card()
    card.shoot(None)
    take(card.folder, small.alder)
    before = Picture.objects.get()
    assert before.time_from == "file"
    for path in home.archive_root().rglob("*.JPG"):
        os.utime(path, (1_900_000_000, 1_900_000_000))  # as an archive file or a cloud may leave them
    rebuild.empty_all()
    rebuild.rebuild(Silent())
    assert Picture.objects.get().taken_at == before.taken_at
