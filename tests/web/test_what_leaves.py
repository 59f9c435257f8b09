"""Whatever leaves tells of a sensitive site its coarse cell and nothing finer: moved anywhere within that
cell, the site changes no byte of any paper, file or export, though the whole round is planned anew from its true place.
"""

from __future__ import annotations

import io
import json
import re
import subprocess
import zlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sequenced
from asked import say
from poppler import text_of

from trod.findings.blur import cell_of

pytestmark = [pytest.mark.django_db, pytest.mark.long]
# Three corners of one cell of the grid, and the other sites around it.
SPOTS = ((47.3005, 13.9005), (47.3195, 13.9195), (47.3194, 13.9012))
CELL = cell_of(latitude_deg=SPOTS[0][0], longitude_deg=SPOTS[0][1])
NOW = datetime.now(UTC).replace(microsecond=0)
KINDS = ("field-form.html", "sheet.pdf", "table.csv", "round.gpx", "round.ics")


@pytest.fixture
def house(trod_home: Path, db: Any) -> Any:
    """Three sites with cameras, the last one sensitive; a placement at it, and some sequences at each."""
    from trod.catalogue import models as m

    (trod_home / "catalogue.sqlite3").touch()  # the tests' database lies elsewhere; the file only says that there is one
    made = sequenced.ground(sites=3)
    made.reserve.base_latitude, made.reserve.base_longitude = 47.28, 13.88
    made.reserve.save()
    for number in range(24):
        sequence = sequenced.sequence(made, number, at=sequenced.START + timedelta(hours=13 * number))
        say(sequence, species=made.species["Red deer"])
    for site, (lat, lon) in zip(made.sites[:2], ((47.295, 13.925), (47.33, 13.895)), strict=True):
        site.latitude, site.longitude = lat, lon
        site.save()
    for deployment in made.deployments:  # the cards came home after the last picture, or it would prove nothing
        home = sequenced.START + timedelta(days=20)
        deployment.card_import.started_at = deployment.card_import.finished_at = home
        deployment.card_import.save()
    den = made.sites[2]
    den.sensitive = True
    den.save()
    model = m.CameraModel.objects.create(maker="Eskerwold Works", name="Invented 1", slug="invented-1")
    made.placement = m.Placement.objects.create(
        site=den,
        name="The oak",
        camera_model=model,
        animal="red_deer",
        at=NOW,
        inputs={"path_bearing_deg": 40, "offset_m": 4},
    )
    made.deployments[2].placement = made.placement
    made.deployments[2].save()
    return made


def put(house: Any, spot: tuple[float, float]) -> None:
    """The den at a spot, with words and a horizon that belong to it alone."""
    lat, lon = spot
    den = house.sites[2]
    den.latitude, den.longitude = lat, lon
    den.access = f"From the ford {round(lat * 1e4) % 997} m uphill."
    den.safety = f"Loose rock at {lat:.5f}, {lon:.5f}: keep left."
    den.save()
    horizon = ", ".join(f"{azimuth} {2 + (round(lat * 1e4) + azimuth) % 17}" for azimuth in range(0, 360, 45))
    house.placement.inputs = {**house.placement.inputs, "horizon": horizon}
    house.placement.save()


def planned(house: Any, row: Any = None) -> Any:
    from trod.catalogue.answers import answers, evidence
    from trod.catalogue.forecasts import forecasts
    from trod.catalogue.rounds import rounds
    from trod.catalogue.rounds.wishes import Wish

    evidence.forget()
    answers.forget()
    forecasts.make(house.reserve, NOW)
    wish = Wish(
        name="All of it", first=(NOW + timedelta(days=1)).date(), people="Ada, Ben", which="named",
        must=tuple(s.slug for s in house.sites),
    )  # fmt: skip
    return rounds.keep(house.reserve, wish, rounds.plan(house.reserve, wish, NOW), by="Ada", now=NOW, row=row)


Said = Callable[..., str]


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> Said:
    """What a command prints."""
    from click.testing import CliRunner

    from trod.commands import main

    def call(*words: Any) -> str:
        done = CliRunner().invoke(main, [str(w) for w in words])
        assert done.exit_code == 0, done.output
        return done.stdout

    return call


def leaves(client: Any, house: Any, row: Any, said: Said, folder: Path, *, true: bool = False) -> dict[str, bytes]:
    """Everything that leaves, by a name."""
    from trod.catalogue.answers import making
    from trod.web.reports import exporting

    out: dict[str, bytes] = {}
    for what in KINDS:
        answer = client.get(f"/rounds/of/{row.uuid}/take/{what}{'?places=true' if true else ''}")
        assert answer.status_code == 200, what
        out[what] = re.sub(rb"DTSTAMP:\w+", b"", answer.content)
        out[f"{what}: name"] = answer.headers["Content-Disposition"].encode()
    setup_sheet, place = f"/setup-sheets/{house.placement.uuid}/", "?place=1" if true else ""
    out["setup-sheet.pdf"] = client.get(f"{setup_sheet}setup-sheet.pdf{place}").content
    assert out["setup-sheet.pdf"][:4] == b"%PDF"
    out["set-up sheet page"] = re.sub(
        rb"\b[A-Za-z0-9]{64}\b", b"", client.get(f"{setup_sheet}{place}").content
    )  # CSRF tokens
    data = making.data_of(making.Wish(first="2025-11-01", last="2025-11-30", show_sensitive=true), now=NOW)
    out["report.pdf"] = making.pdf_of(data)
    for path in making.tables_of(data, folder / "tables"):
        out[f"report: {path.name}"] = path.read_bytes()
    exporting.export(folder / "records", show_sensitive=true)
    for path in sorted((folder / "records").iterdir()):
        out[f"export: {path.name}"] = path.read_bytes()
    told = ["--true-places"] if true else []
    day = (NOW + timedelta(days=1)).date().isoformat()
    sites = [word for site in house.sites for word in ("--site", site.name)]
    out["rounds --json"] = said("rounds", "--day", day, "--which", "named", *sites, "--json", *told).encode()
    out["field form command"] = b""
    said("fieldform", "--round", "All of it", "--out", folder / "field-form.html", *told)
    out["field form command"] = (folder / "field-form.html").read_bytes()
    for name in ("setup-sheet.pdf", "plan.svg", "side.svg"):
        (folder / name).unlink(missing_ok=True)
    out["place --json"] = said(
        "place", house.sites[2].slug, "--animal", "red_deer", "--setup-sheet", folder / "setup-sheet.pdf",
        "--plan-svg", folder / "plan.svg", "--side-svg", folder / "side.svg", "--json", *told,
    ).encode()  # fmt: skip
    for name in ("setup-sheet.pdf", "plan.svg", "side.svg"):
        out[f"place: {name}"] = (folder / name).read_bytes()
    for kind in ("what-comes", "when"):
        out[f"ask {kind}"] = said("ask", kind, "--json").encode()
    return out


def test_moved_within_its_cell_a_sensitive_site_changes_no_byte_of_what_leaves(
    client: Any, house: Any, said: Said, tmp_path: Path
) -> None:
    seen: list[dict[str, bytes]] = []
    orders = []
    row = None
    for spot in SPOTS:
        put(house, spot)
        row = planned(house, row)
        orders.append([s.site.slug for s in row.stops.order_by("turn")])
        seen.append(leaves(client, house, row, said, tmp_path))
    true = leaves(client, house, row, said, tmp_path, true=True)

    assert all(set(order) == {s.slug for s in house.sites} for order in orders)
    differing = sorted({name for other in seen[1:] for name in other if other[name] != seen[0][name]})
    assert differing == []
    # And the test can see a difference: with true places nearly all of them tell the site.
    changed = {name for name in true if true[name] != seen[0][name]}
    assert changed >= {
        "field-form.html",
        "sheet.pdf",
        "table.csv",
        "round.gpx",
        "setup-sheet.pdf",
        "report.pdf",
        "rounds --json",
    }
    assert "round.ics" in changed and "place --json" in changed and "export: sites.csv" in changed


def streams(pdf: bytes) -> bytes:
    """What a PDF draws: its compressed streams unpacked."""
    out = b""
    for found in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.S):
        try:
            out += zlib.decompress(found[1])
        except zlib.error:
            out += found[1]
    return out


def words_of(name: str, data: bytes, folder: Path) -> str:
    """All that stands in an export, as text."""
    if data[:4] == b"%PDF":
        return text_of(data, folder) + streams(data).decode("latin-1")
    return data.decode("utf-8-sig")


WAYS = (
    r"\d (?:m|km) on foot", r"\d (?:m|km) by car", r"\d min from", r"about \d+:\d\d", "<trk", "<rte", "polyline",
)  # fmt: skip
NUMBER = re.compile(r"(?<![\w.#-])-?\d{1,3}\.\d{3,}")


def test_decoded_nothing_that_leaves_tells_of_the_cell_more_than_the_cell(
    client: Any, house: Any, said: Said, tmp_path: Path
) -> None:
    put(house, SPOTS[0])
    row = planned(house)
    out = leaves(client, house, row, said, tmp_path)
    told = {CELL.south_deg, CELL.north_deg, CELL.latitude_deg, CELL.west_deg, CELL.east_deg, CELL.longitude_deg}
    told |= {house.reserve.latitude, house.reserve.longitude}  # the reserve's own middle lies in this cell

    for name, data in out.items():
        # A PDF's drawing has lengths of its own, in points; that no shape of it knows the place, the test above says.
        text = text_of(data, tmp_path) if data[:4] == b"%PDF" else words_of(name, data, tmp_path)
        within = [
            float(found)
            for found in NUMBER.findall(text)
            if CELL.south_deg <= float(found) < CELL.north_deg or CELL.west_deg <= float(found) < CELL.east_deg
        ]
        assert [n for n in within if not any(abs(n - t) < 1e-9 for t in told)] == [], name
        assert "m uphill" not in text, name
    for name in (*KINDS, "rounds --json", "field form command"):
        text = words_of(name, out[name], tmp_path)
        assert [way for way in WAYS if re.search(way, text)] == [], name
    (trip,) = json.loads(out["rounds --json"])["plan"]["trips"]
    assert [v["name"] for v in trip["visits"]] == sorted(s.name for s in house.sites)
    assert trip["home"] is None and trip["back"] is None and all(v["way"] is None for v in trip["visits"])


def test_with_true_places_each_thing_says_so_itself(client: Any, house: Any, said: Said, tmp_path: Path) -> None:
    put(house, SPOTS[0])
    out = leaves(client, house, planned(house), said, tmp_path, true=True)

    for name, words in (
        ("field-form.html", "TRUE places"), ("field form command", "TRUE places"), ("sheet.pdf", "TRUE places"),
        ("round.gpx", "TRUE places"), ("table.csv", "TRUE place"), ("rounds --json", "TRUE places"),
        ("setup-sheet.pdf", "A sensitive place stands on this set-up sheet"), ("report.pdf", "true places"),
        ("export: README.txt", "TRUE places"),
    ):  # fmt: skip
        assert words in " ".join(words_of(name, out[name], tmp_path).split()), name
    assert all(b"-true-places." in out[f"{what}: name"] for what in KINDS)


def test_a_site_marked_sensitive_after_the_round_was_planned_is_hidden_all_the_same(client: Any, house: Any) -> None:
    den = house.sites[2]
    put(house, SPOTS[0])
    den.sensitive = False
    den.save()
    row = planned(house)
    assert "13.90050" in client.get(f"/rounds/of/{row.uuid}/take/field-form.html").content.decode()
    den.sensitive = True
    den.save()

    for what in KINDS:
        data = client.get(f"/rounds/of/{row.uuid}/take/{what}").content
        assert b"13.9005" not in (streams(data) if data[:4] == b"%PDF" else data), what


def test_a_picture_made_for_a_page_or_a_list_carries_no_place(trod_home: Path) -> None:
    """The original keeps what the camera wrote; what is made from it has no EXIF at all."""
    from PIL import Image

    from trod.pictures import picture

    source = trod_home / "with-place.jpg"
    image = Image.new("RGB", (900, 700), "green")
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 18.0, 1.8), 3: "E", 4: (13.0, 54.0, 1.8)})
    image.save(source, exif=exif)
    with Image.open(source) as seen:
        assert seen.getexif().get_ifd(0x8825)
    for width in (picture.THUMB_WIDTH, picture.VIEW_WIDTH):
        made = trod_home / f"made-{width}.jpg"
        assert picture.make_view(source, made, width=width)
        with Image.open(io.BytesIO(made.read_bytes())) as seen:
            assert not seen.getexif()


def test_what_leaves_an_invented_reserve_says_so(client: Any, house: Any, said: Said, tmp_path: Path) -> None:
    from trod.catalogue import models

    def words(data: bytes) -> str:
        if data[:4] != b"%PDF":
            return data.decode("utf-8", "replace")
        file = tmp_path / "one.pdf"
        file.write_bytes(data)
        return subprocess.run(["pdftotext", file, "-"], capture_output=True, text=True, check=True).stdout

    def told(names: dict[str, bytes]) -> set[str]:
        return {name for name, data in names.items() if "invented" in words(data).lower()}

    wanted = {"round.gpx", "round.ics", "field-form.html", "sheet.pdf", "setup-sheet.pdf", "report.pdf"}
    wanted |= {"export: README.txt", "export: sites.gpx", "export: sites.geojson", "report: README.txt"}
    models.CameraModel.objects.update(name="Model 1", maker="Nobody")
    house.reserve.invented = False
    house.reserve.save()
    row = planned(house)
    real = leaves(client, house, row, said, tmp_path)
    assert not told(real) & wanted

    house.reserve.invented = True
    house.reserve.save()

    assert told(leaves(client, house, planned(house, row), said, tmp_path)) >= wanted
