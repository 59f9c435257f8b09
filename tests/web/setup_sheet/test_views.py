"""The set-up sheet in the browser: what stands on it, what does not, and what a wrong row gives."""

from __future__ import annotations

import re
import subprocess
import uuid

import pytest

from trod.field import setup_code

pytestmark = pytest.mark.django_db


@pytest.fixture
def placed(cast):
    from trod.catalogue import models as m

    model = m.CameraModel.objects.create(
        maker="Tarnbeckle", name="Lanthorn 3", slug="lanthorn", detection_angle_deg=45, detection_range_m=24,
        field_of_view_deg=42, trigger_time_s=0.4, recovery_time_s=6, burst_max=3, flash="low_glow",
        flash_range_m=19, columns=4000, rows=3000, battery_kind="FR6",
    )  # fmt: skip
    cast.ford.access = "Over the plank bridge."
    cast.ford.safety = "Loose stones."
    cast.ford.closed = [{"from": "1 May", "to": "15 July", "why": "calving"}, "hunting days"]
    cast.ford.save()
    return m.Placement.objects.create(
        site=cast.ford, name="low, from the ash", camera_model=model, animal="roe_deer",
        inputs={"path_bearing_deg": 30, "offset_m": 3, "feature": "ford", "height_m": 0.75}, at=cast.now,
    )  # fmt: skip


def text_of(answer):
    words = re.sub(r"<(style|script).*?</\1>", " ", answer.content.decode(), flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", words).split())


def test_a_setup_sheet_carries_what_is_entered_in_tried_and_minded(client, placed):
    answer = client.get(f"/setup-sheets/{placed.uuid}/")
    words = text_of(answer)

    assert answer.status_code == 200
    for told in ("Ford", "low, from the ash", "0.75 m", "Aim at a mark", "for roe deer", "Over the plank bridge.",
                 "Loose stones.", "1 May to 15 July (calving); hunting days", "47.31000° N, 13.91000° E",
                 "Water rises", "Walk the path at an easy pace"):  # fmt: skip
        assert told in words, told
    assert b"<svg" in answer.content


def test_opening_a_setup_sheet_changes_nothing(client, placed):
    from trod.catalogue import models as m

    before = list(m.Placement.objects.values())
    client.get(f"/setup-sheets/{placed.uuid}/")
    client.get(f"/setup-sheets/{placed.uuid}/setup-sheet.pdf")

    assert list(m.Placement.objects.values()) == before
    assert client.post(f"/setup-sheets/{placed.uuid}/").status_code == 405


def test_a_sensitive_sites_setup_sheet_keeps_place_and_way_to_itself_until_asked(client, placed):
    placed.site.sensitive = True
    placed.site.save()
    quiet = client.get(f"/setup-sheets/{placed.uuid}/")
    open_ = client.get(f"/setup-sheets/{placed.uuid}/?place=1")

    assert "47.31" not in quiet.content.decode() and "plank" not in quiet.content.decode()
    assert "are left out of this set-up sheet" in text_of(quiet)
    assert quiet.headers["Cache-Control"] == "no-store"
    assert "47.31" in open_.content.decode() and "plank" in open_.content.decode()
    assert "show it to nobody" in text_of(open_)


def test_the_pdf_is_one_page_on_either_paper(client, placed, tmp_path):
    for paper, size in (("a4", "A4"), ("us-letter", "letter")):
        answer = client.get(f"/setup-sheets/{placed.uuid}/setup-sheet.pdf?paper={paper}")
        assert answer.headers["Content-Type"] == "application/pdf"
        assert 'filename="set-up-sheet-ford-low-from-the-ash.pdf"' in answer.headers["Content-Disposition"]
        file = tmp_path / f"{paper}.pdf"
        file.write_bytes(answer.content)
        told = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
        assert re.search(r"Pages:\s+1\n", told) and f"({size})" in told


def test_an_unknown_paper_is_refused_in_words(client, placed):
    answer = client.get(f"/setup-sheets/{placed.uuid}/setup-sheet.pdf?paper=papyrus")

    assert answer.status_code == 422
    assert "needed: one of a4, us-letter" in text_of(answer)


def test_a_kept_placement_with_a_input_of_old_says_so_and_does_not_fall_over(client, placed):
    placed.inputs = {"height_m": "knee"}
    placed.save()
    for address in (f"/setup-sheets/{placed.uuid}/", f"/setup-sheets/{placed.uuid}/setup-sheet.pdf"):
        answer = client.get(address)
        assert answer.status_code == 422
        assert "height_m: got" in text_of(answer).replace("&#x27;", "'")


def test_without_a_camera_model_the_usual_figures_are_taken_and_that_is_said(client, placed):
    placed.camera_model = None
    placed.save()
    words = text_of(client.get(f"/setup-sheets/{placed.uuid}/")).replace("&#x27;", "'")

    assert "Nobody says the camera's detection angle" in words


def test_us_units_come_in_feet_and_on_letter(client, placed):
    client.cookies["units"] = "us"
    answer = client.get(f"/setup-sheets/{placed.uuid}/")

    assert "2 ft 6 in" in text_of(answer)
    assert re.search(r'class="button act" href="[^"]*paper=us-letter', answer.content.decode())


def test_the_code_names_the_deployment_that_hangs_so(client, placed, cast):
    from trod.catalogue import models as m

    m.Deployment.objects.create(slug="ford-2026", camera=cast.blue, site=cast.ford, start=cast.now, placement=placed)
    words = text_of(client.get(f"/setup-sheets/{placed.uuid}/"))
    code = setup_code.read(re.search(r"TROD1 [^ ]+(?: [a-z]+=[^ ]+)+", words)[0])

    assert code.placement == str(placed.uuid)
    assert (code.site, code.deployment, code.height_m) == ("ford", "ford-2026", 0.75)
    assert "Blue (B-2)" in words


def test_a_setup_sheet_that_there_is_not_is_not_found(client, cast):
    assert client.get(f"/setup-sheets/{uuid.uuid4()}/").status_code == 404
