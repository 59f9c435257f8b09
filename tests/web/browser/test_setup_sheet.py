"""The set-up sheet in a real browser: sound in every look, and one page when it is printed."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest
from poppler import poppler

pytestmark = pytest.mark.browser
LOOKS = [(1280, "light"), (1280, "night"), (360, "light"), (360, "night")]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

MAKE = """
from trod.catalogue.start import ready; ready()
from django.utils import timezone
from trod.catalogue.models import CameraModel, Placement, Site
site = Site.objects.order_by("-pk").first()
row, _ = Placement.objects.get_or_create(site=site, turn=3, defaults=dict(
    name="over the wallow", camera_model=CameraModel.objects.first(), animal="red_deer", at=timezone.now(),
    inputs={"path_bearing_deg": 30, "offset_m": 4, "feature": "trail", "slope_deg": 6, "tree_diameter_cm": 32,
           "snow_m": [0.4] * 3 + [0] * 9, "air_cold_c": -15}))
print(row.uuid)
"""


@pytest.fixture(scope="module")
def address(house):
    """A kept placement's set-up sheet in the house's own catalogue."""
    done = subprocess.run([sys.executable, "-c", MAKE], env=house.env, capture_output=True, text=True, check=True)
    return f"{house.url.rstrip('/')}/setup-sheets/{done.stdout.split()[-1]}/"


def violations(page):
    """What axe-core finds; it is run inside the page, since the policy lets no script in by a tag."""
    found = importlib.util.find_spec("axe_playwright_python")
    page.evaluate((Path(found.origin).parent / "axe.min.js").read_text("utf-8"))
    told = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})", RULES
    )
    return [f"{one['id']}: {node['target']}" for one in told["violations"] for node in one["nodes"]]


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_a_setup_sheet_is_sound_in_every_look(visit, address, width, theme):
    seen = visit(address, width=width, theme=theme)
    page = seen.page

    assert (page.status, seen.complaints, seen.foreign) == (200, [], [])
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert violations(page) == []
    small = page.evaluate(
        "[...document.querySelectorAll('.setupsheet a.button, .setupsheet button, .setupsheet summary')]"
        ".map(e => e.getBoundingClientRect()).filter(r => r.width && r.height < 43.5).length"
    )
    assert small == 0


def test_printed_from_the_browser_it_is_one_page_with_blanks_to_fill_in(visit, address, tmp_path):
    page = visit(address, width=1280, theme="night").page
    for paper in ("A4", "Letter"):
        file = tmp_path / f"{paper}.pdf"
        page.pdf(path=str(file), format=paper, print_background=True)
        info = poppler("pdfinfo", file)
        words = poppler("pdftotext", file, "-")
        assert re.search(r"Pages:\s+1\n", info), paper
        assert "What was really done" in words and "Set-up sheet" in words
        assert "PDF, A4" not in words and "New deployment" not in words
