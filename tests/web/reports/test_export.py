"""Records go out from a page as `trod export` gives them, with a preview of what is coarsened and left out."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

import pytest

from trod.catalogue import models as m

URL = "/reports/export"


@pytest.fixture
def secret(made: Any) -> Any:
    """The second site is sensitive; a visit with names and words, and a lock."""
    site = made.sites[1]
    m.Visit.objects.create(
        site=site, deployment=made.deployments[1], at=made.deployments[1].start, by="Ilka Marwood", note="Key 4711"
    )
    return site


def files(answer: Any) -> dict[str, str]:
    data = b"".join(answer.streaming_content)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return {name: packed.read(name).decode("utf-8-sig") for name in packed.namelist()}


def test_the_preview_names_what_is_generalised_and_left_out(client: Any, secret: Any) -> None:
    page = client.get(URL).content.decode()

    assert f"{secret.name}: each as the middle of a coarse cell" in page
    assert "who visited and what they wrote" in page and "true-places" not in page
    from trod.web.reports import exporting

    told = exporting.preview()
    assert told.people_left_out + told.not_reviewed_left_out > 0
    assert f"{told.not_reviewed_left_out} that nobody has reviewed" in page


def test_every_design_of_the_standard_has_plain_words_and_no_other_is_offered() -> None:
    from trod.exchange.package_check import DESIGNS
    from trod.web.reports.export_views import DESIGN_WORDS

    assert set(DESIGN_WORDS) == set(DESIGNS)


def test_what_goes_out_is_generalised_and_names_nobody(client: Any, secret: Any) -> None:
    answer = client.post(URL)
    out = files(answer)

    assert "true-places" not in answer["Content-Disposition"]
    tables = {f"{name}.csv" for name in ("sites", "deployments", "visits", "effort", "observations")}
    assert tables | {"sites.gpx", "sites.geojson"} <= set(out)
    assert "Ilka" not in out["visits.csv"] and "4711" not in "".join(out.values())
    place = f"{secret.latitude:.4f}"
    assert not any(place in text for text in out.values())
    battery = next(f for f in json.loads(out["sites.geojson"])["features"] if f["properties"]["site"] == secret.slug)
    assert battery["geometry"]["type"] == "Polygon"


def test_true_places_are_chosen_and_say_so_on_the_thing_itself(client: Any, secret: Any) -> None:
    page = client.get(URL + "?places=true").content.decode()
    answer = client.post(URL, {"places": "true"})
    out = files(answer)

    assert "At their true places:" in page and "Export with true places" in page
    assert "-true-places.zip" in answer["Content-Disposition"]
    assert "TRUE places" in out["README.txt"] and "TRUE PLACES" in out["sites.gpx"]
    shown = next(f for f in json.loads(out["sites.geojson"])["features"] if f["properties"]["site"] == secret.slug)
    assert shown["properties"]["true_place"] is True


def test_the_page_and_the_command_give_the_same_files(client: Any, secret: Any, tmp_path: Any) -> None:
    from trod.web.reports import exporting

    exporting.export(tmp_path / "records")
    with zipfile.ZipFile(io.BytesIO(b"".join(client.post(URL).streaming_content))) as packed:
        assert {n: packed.read(n) for n in packed.namelist()} == {
            p.name: p.read_bytes() for p in (tmp_path / "records").iterdir()
        }


def test_a_day_that_is_none_is_told(client: Any, secret: Any) -> None:
    answer = client.get(URL + "?from=yesterday")

    assert answer.status_code == 422
    assert "yesterday" in answer.content.decode()


def test_who_may_not_see_people_cannot_ask_for_them(client: Any, secret: Any, monkeypatch: Any) -> None:
    from trod.web.reports import export_views

    monkeypatch.setattr(export_views.people, "may_see", lambda request: False)
    whole = files(client.post(URL))
    assert files(client.post(URL, {"people": "1"})) == whole


def test_the_open_standard_and_darwin_core_are_chosen_on_the_page(client: Any, secret: Any, tmp_path: Any) -> None:
    from trod.exchange import package_check

    page = client.get(URL + "?as=package&design=targeted").content.decode()
    assert "datapackage.json" in page and '<option value="targeted" selected>' in page
    answer = client.post(URL, {"as": "package", "design": "targeted"})
    assert "package-" in answer["Content-Disposition"]
    out = files(answer)
    (tmp_path / "out").mkdir()
    for name, text in out.items():
        (tmp_path / "out" / name).write_text(text, "utf-8")
    assert package_check.check(tmp_path / "out") == []
    assert f"{secret.latitude:.4f}" not in "".join(out.values())

    assert {"event.csv", "occurrence.csv", "meta.xml", "eml.xml"} == set(files(client.post(URL, {"as": "darwin-core"})))
