"""Reports: ordered, made, listed, opened, thrown away."""

from __future__ import annotations

import io
import json
import re
import zipfile
from datetime import UTC, datetime

import asked
import pytest
import sequenced

from trod.catalogue import jobs
from trod.catalogue.answers import evidence, making
from trod.catalogue.answers.making import Wish
from trod.catalogue.models import Job
from trod.errors import NotEnoughEvidence, WrongInput

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)


def text_of(answer):
    return answer.content.decode()


def body(answer):
    return b"".join(answer.streaming_content)


def test_a_report_is_made_listed_and_opened(client, made):
    page = text_of(client.post("/reports/make", {"species_pages": "1", "paper": "a4", "tables": "1"}, follow=True))

    assert "The report is made" in page and "5 January to 13 February 2026" in page
    one = making.made()[0]
    pdf = client.get(f"/reports/{one.name}.pdf")
    assert pdf.headers["Content-Type"] == "application/pdf"
    assert body(pdf).startswith(b"%PDF-")
    names = zipfile.ZipFile(io.BytesIO(body(client.get(f"/reports/{one.name}.zip")))).namelist()
    assert {"README.txt", "description.json", "sites.csv", "species.csv", "conditions.csv"} <= set(names)


def test_two_reports_of_one_day_keep_both(made):
    first = making.make(Wish(), by="Ilka Marwood", now=NOW)
    second = making.make(Wish(), by="Ilka Marwood", now=NOW)

    assert (first, second) == ("2026-03-01-eskerwold-invented", "2026-03-01-eskerwold-invented-2")
    assert len(making.made()) == 2


def test_sensitive_sites_are_blurred_unless_the_person_says_otherwise(made):
    made.sites[1].latitude, made.sites[1].longitude = 47.291234, 13.907654
    made.sites[1].save()

    def sites(name):
        with zipfile.ZipFile(making.file_of(name, "zip")) as z:
            return z.read("sites.csv").decode()

    generalised = sites(making.make(Wish(), by="x", now=NOW))
    shown = sites(making.make(Wish(show_sensitive=True), by="x", now=NOW))

    assert "47.291234" not in generalised and "13.907654" not in generalised
    assert "47.291234" in shown
    assert [m.show_sensitive for m in making.made()].count(True) == 1


def test_a_browser_that_ticks_nothing_gets_blurred_places(client, made):
    client.post("/reports/make", {"tables": "1"})

    assert making.made()[0].show_sensitive is False


def test_letter_paper_is_letter_paper(made):
    pdf = making.pdf_of(making.data_of(Wish(paper="letter"), now=NOW))

    assert re.search(rb"/MediaBox ?\[0 0 612 792\]", pdf)
    with pytest.raises(WrongInput, match="paper: got 'a3'; needed: a4 or letter"):
        making.data_of(Wish(paper="a3"), now=NOW)


def test_without_effort_there_is_no_report_and_nothing_is_left_behind(client, made):
    answer = client.post("/reports/make", {"from": "2040-01-01"})

    assert answer.status_code == 422 and "No report: no camera watched" in text_of(answer)
    assert list((making.home.reports_root()).glob("*")) == []
    with pytest.raises(NotEnoughEvidence):
        making.make(Wish(first="2040-01-01"), by="x", now=NOW)


def test_a_day_that_is_none_keeps_what_was_typed(client, made):
    answer = client.post("/reports/make", {"from": "soon", "title": "Spring"})

    assert answer.status_code == 400
    assert "from: got &#x27;soon&#x27;; needed: a day like 2026-05-31" in text_of(answer)
    assert 'value="Spring"' in text_of(answer)


def test_a_long_report_is_made_beside_the_pages(client, made, monkeypatch):
    import trod.catalogue.work.handlers  # noqa: F401

    monkeypatch.setattr(making, "LONG_WORK", 3)
    answer = client.post("/reports/make", {"title": "Long", "tables": "1", "species_pages": "0"})
    job = Job.objects.get()
    assert answer.headers["Location"] == f"/reports/work/{job.pk}"
    assert "waiting its turn" in text_of(client.get(answer.headers["Location"]))

    done = jobs.work_once()

    assert done.state == "done", done.error
    assert making.made()[0].title == "Long"
    assert client.get(f"/reports/work/{job.pk}").headers["Location"] == "/reports/"
    part = client.get(f"/reports/work/{job.pk}", headers={"HX-Request": "true"})
    assert part.headers["HX-Redirect"] == f"/reports/work/{job.pk}"


def test_a_report_is_thrown_away_only_when_asked_twice(client, made):
    name = making.make(Wish(), by="x", now=NOW)

    assert "Throw this report away?" in text_of(client.get(f"/reports/{name}/delete"))
    assert making.file_of(name, "pdf")
    client.post(f"/reports/{name}/delete")

    assert making.made() == [] and making.file_of(name, "pdf") is None


@pytest.mark.parametrize(
    "name", ["../../secret-key", "2026-03-01-..%2f..%2fsecret-key", "2026-03-01-gone", "secret-key"]
)
def test_no_name_leads_out_of_the_folder_of_reports(client, made, name):
    assert client.get(f"/reports/{name}.pdf").status_code == 404
    assert making.file_of(name, "pdf") is None
    assert making.remove(name) is False


def test_a_damaged_note_is_left_out_of_the_list(client, made):
    name = making.make(Wish(), by="x", now=NOW)
    root = making.home.reports_root()
    (root / "2026-03-02-broken.json").write_text("{", "utf-8")
    (root / "2026-03-02-list.json").write_text("[]", "utf-8")
    (root / "2026-03-02-half.json").write_text(json.dumps({"title": "x"}), "utf-8")

    assert [m.name for m in making.made()] == [name]
    assert client.get("/reports/").status_code == 200


def test_an_empty_trod_says_that_there_is_nothing_to_report(client, trod_home, db):
    evidence.forget()
    assert "There is nothing to report yet." in text_of(client.get("/reports/"))
    sequenced.ground()
    assert "Import a card" in text_of(client.get("/reports/"))


def test_a_person_is_never_among_the_pictures_of_a_report(made):
    from trod.catalogue.models import Sequence

    data = making.data_of(Wish(), now=NOW)
    person = Sequence.objects.get(identification__observations__what="human").key[-64:]

    assert person not in data.comes.pictures
    assert asked.START  # the catalogue holds one
