"""The report on paper and as tables."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import invented
import pytest
from poppler import text_of

from trod.errors import WrongInput
from trod.findings import Filter
from trod.leaving.sites import fit_evidence
from trod.report import paper
from trod.report.contents import Condition, gather
from trod.report.paper import report_csv_folder, report_pdf

YEAR = invented.year(days=120)
DATA = gather(
    fit_evidence(YEAR),
    Filter(),
    conditions=[Condition(site="elm-lick", camera="M1", when=date(2025, 5, 3), what="Knocked over by cattle.")],
    most_species=1,
    made_on=date(2026, 3, 4),
)
NASTY = '#import "/etc/passwd" $x$ *bold* #panic() <label> @ref \\ "quote" [x] // \x00\x1b\ud800 é 鹿'


def test_the_same_data_give_the_same_bytes() -> None:
    first = report_pdf(DATA)

    assert first.startswith(b"%PDF-")
    assert report_pdf(DATA) == first
    assert (
        b"CreationDate" not in first and b"ModDate" not in first
    )  # a clock's time would hide in two made within a second


def test_the_fonts_are_within_and_are_ours_to_give() -> None:
    names = set(re.findall(rb"/FontName\s*/([A-Za-z0-9+\-]+)", report_pdf(DATA)))

    assert names
    assert all(b"Libertinus" in name for name in names)


def test_the_pdf_prints_what_the_record_says(tmp_path: Path) -> None:
    text = " ".join(text_of(report_pdf(DATA), tmp_path).split())

    for expected in (
        "Hollin Fold (invented)",
        "1 March to 29 June 2025",
        DATA.comes.sentence.replace("\u202f", " "),
        "Knocked over by cattle.",
        "What this report cannot say",
        "Made with Trod",
        "4 March 2026",
        "1 of ",
        *(line.site.name for line in DATA.sites),
        *(row["species"] for row in DATA.comes.rows),
    ):
        assert expected in text.replace("\u202f", " "), expected


def test_every_field_that_the_template_reads_is_given_and_none_is_left_over() -> None:
    """The template and the record are kept in step: names in report.typ after `data.` against the dict."""
    template = (Path(paper.__file__).parent / "report.typ").read_text(encoding="utf-8")
    read = set(re.findall(r"\bdata\.([a-z_]+)", template))

    assert read == set(paper._printed(DATA))


def test_hostile_text_is_printed_as_text_and_runs_nothing(tmp_path: Path) -> None:
    evidence = replace(
        YEAR,
        reserve=replace(YEAR.reserve, name=NASTY),
        sites=tuple(replace(site, name=NASTY, feature=NASTY) for site in YEAR.sites),
        observations=tuple(replace(s, species_name=NASTY) if s.species else s for s in YEAR.observations),
    )
    data = gather(
        fit_evidence(evidence),
        Filter(),
        conditions=[Condition(site="elm-lick", camera=NASTY, when=date(2025, 5, 3), what=NASTY)],
        most_species=1,
    )
    text = text_of(report_pdf(data), tmp_path)

    assert '#import "/etc/passwd"' in " ".join(text.split())
    assert "root:" not in text


def test_letter_paper_and_miles_for_those_who_use_them() -> None:
    pdf = report_pdf(replace(DATA, paper="us-letter", system="us"))

    assert re.search(rb"/MediaBox\s*\[0 0 612 792\]", pdf)
    with pytest.raises(WrongInput) as refused:
        report_pdf(replace(DATA, paper="a3"))  # type: ignore[arg-type]
    assert str(refused.value) == "paper: got 'a3'; needed: a4 or us-letter"


def test_a_sensitive_site_is_nowhere_at_its_true_place(tmp_path: Path) -> None:
    den = next(site for site in YEAR.sites if site.sensitive)
    files = report_csv_folder(DATA, tmp_path)
    everything = "".join(path.read_text(encoding="utf-8") for path in files) + json.dumps(paper._printed(DATA))

    assert repr(den.latitude_deg)[:8] not in everything
    assert repr(den.longitude_deg)[:8] not in everything
    rows = list(csv.DictReader((tmp_path / "sites.csv").open(encoding="utf-8", newline="")))
    # Half the diagonal of 0.02° at 47.30° N: √(1112² + 754²) = 1344, told as 1350.
    assert {row["site"]: row["uncertainty_m"] for row in rows}["hidden-den"] == "1350.0"
    open_places = gather(fit_evidence(YEAR, true_places=True), Filter(), most_species=0)
    report_csv_folder(open_places, tmp_path)
    assert repr(den.latitude_deg) in (tmp_path / "sites.csv").read_text(encoding="utf-8")


def test_the_tables_hold_full_precision_and_every_column_is_described(tmp_path: Path) -> None:
    report_csv_folder(DATA, tmp_path)
    rows = list(csv.DictReader((tmp_path / "species.csv").open(encoding="utf-8", newline="")))
    described = json.loads((tmp_path / "description.json").read_text(encoding="utf-8"))

    assert float(rows[0]["rate"]) == DATA.comes.rows[0]["rate"]
    assert [row["name"] for row in rows] == [row["species"] for row in DATA.comes.rows]
    for table in described["tables"]:
        head = (tmp_path / table["file"]).read_text(encoding="utf-8").splitlines()[0].split(",")
        assert head == [column["name"] for column in table["columns"]]
        assert all(column["description"] for column in table["columns"])
    listed = {table["file"] for table in described["tables"]}
    assert listed == {path.name for path in tmp_path.glob("*.csv")}
    assert all(name in (tmp_path / "README.txt").read_text(encoding="utf-8") for name in listed)


def test_a_text_that_a_spreadsheet_would_run_is_made_harmless(tmp_path: Path) -> None:
    evil = Condition(site="elm-lick", camera="M1", when=date(2025, 5, 3), what='=HYPERLINK("x";"y")')
    report_csv_folder(replace(DATA, conditions=(evil,)), tmp_path)
    rows = list(csv.DictReader((tmp_path / "conditions.csv").open(encoding="utf-8", newline="")))

    assert rows[0]["what"].startswith("'=")


def test_writing_the_folder_again_replaces_its_own_files_only(tmp_path: Path) -> None:
    mine = tmp_path / "my notes.txt"
    mine.write_text("keep", encoding="utf-8")
    first = {p.name: p.read_bytes() for p in report_csv_folder(DATA, tmp_path)}
    second = {p.name: p.read_bytes() for p in report_csv_folder(DATA, tmp_path)}

    assert first == second
    assert mine.read_text(encoding="utf-8") == "keep"
    assert not list(tmp_path.glob("*.part"))
