"""`trod demo`: invented from end to end, built once, never mixed with real data."""

from __future__ import annotations

import json
from pathlib import Path

import pulled
import pytest
from commanded import Command


@pytest.mark.long
def test_a_broken_off_demo_is_built_anew_through_the_real_card_import_and_then_opened_as_it_is(
    command: Command, trod_home: Path
) -> None:
    (trod_home / "demo.json").write_text(json.dumps({"seed": 1, "pictures": 400, "built": False}))
    (trod_home / "archive" / "alder-track").mkdir(parents=True)
    said = command("demo", "--no-browser", "--home", str(trod_home), "--pictures", "400", "--json")
    assert said.status == 0 and "it is built anew" in said.err, said.err
    found = said.json
    assert found["told"] == [] and found["sequences"] > 100 and found["words"] > 50
    assert sorted(p.name for p in (trod_home / "demo-cards").iterdir()) == ["ESK-03-C", "ESK-04-B"]
    assert not list((trod_home / "archive").rglob("truth")) and list((trod_home / "demo-truth").glob("*.jsonl"))
    assert not (trod_home / "demo-making").exists()
    assert command("verify").status == 0
    again = command("demo", "--no-browser", "--home", str(trod_home), "--json")
    assert again.status == 0 and again.json["already_built"]
    left = command("card", str(trod_home / "demo-cards" / "ESK-03-C"), "--yes", "--json")
    assert left.json["site"] == "larkfield-edge" and left.json["new"] == left.json["files"]


def test_a_home_with_real_data_is_refused(command: Command, trod_home: Path, card: pulled.Pulled) -> None:
    command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    said = command("demo", "--no-browser", "--home", str(trod_home))
    assert said.status == 3
    assert "holds real data; the demo is not mixed with it. Name another folder: trod demo --home DIR" in said.err
    assert not (trod_home / "demo.json").exists()


def test_a_marker_does_not_let_real_data_be_swept_away(command: Command, trod_home: Path, card: pulled.Pulled) -> None:
    command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    (trod_home / "demo.json").write_text(json.dumps({"built": False}))
    said = command("demo", "--no-browser", "--home", str(trod_home))
    assert said.status == 3 and "holds real data" in said.err
    assert command("verify").status == 0
