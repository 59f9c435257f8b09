"""The field form's page: one HTML file that asks nobody for anything.

Everything stands inside it: style, script, drawings, data. Its own policy allows no other script than ours (by
its SHA-256), no picture from elsewhere and no frame; it may connect only to hand visits in, when a person presses.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from datetime import UTC
from html import escape
from importlib import resources
from string import Template

from trod import units, wording
from trod.drawing.palette import LIGHT, TONES, as_css
from trod.drawing.pen import Svg
from trod.errors import WrongInput
from trod.field.form import bounds
from trod.field.form.data import FieldFormCamera, FieldFormData, FieldFormStop, Row
from trod.report.sentences import clean

_SCRIPTS = (
    "shared_scripts/new_id.js",
    *(f"field/form/{name}.js" for name in ("values", "stores", "writing", "page")),
)


def field_form_html(field_form: FieldFormData) -> str:
    """The whole page as text; write it as UTF-8.

    The same field form gives the same bytes. Raises WrongInput when a drawing is not of the pen, which
    writes nothing that runs, loads or leads elsewhere.
    """
    css, js = _style(), _script()
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(js)}",
            f"style-src {_hash(css)}",
            "img-src data: blob:",
            "connect-src http: https:" if field_form.upload_path else "connect-src 'none'",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    under = " · ".join(
        part
        for part in (
            wording.weekday_day(field_form.day) if field_form.day else "",
            field_form.reserve,
            ", ".join(field_form.people),
        )
        if part
    )
    invented = ' <span class="tag">invented</span>' if field_form.invented else ""
    return Template(_file("field/form/page.html")).substitute(
        policy=policy,
        title=_text(f"{field_form.round_name} · {field_form.reserve}"),
        css=css,
        js=js,
        round=_text(field_form.round_name),
        under=_text(under) + invented,
        contents="".join(_contents(number, stop) for number, stop in enumerate(field_form.stops, 1)),
        tell=_rows("Tell somebody", field_form.tell),
        cautions=_lines("For the whole round", field_form.cautions, care=True),
        stops="".join(_stop(number, stop, len(field_form.stops)) for number, stop in enumerate(field_form.stops, 1)),
        upload_hidden="" if field_form.upload_path else " hidden",
        data=_data(field_form),
        longest_text=bounds.LONGEST_TEXT,
        short_text=bounds.SHORT_TEXT,
        longest_name=bounds.LONGEST_NAME,
        longest_card=bounds.LONGEST_CARD,
    )


def _style() -> str:
    """The style sheet in the palette's colours."""
    tones: dict[str, str] = {tone: as_css(tone) for tone in TONES}
    return Template(_file("field/form/page.css")).substitute(tones, moss=LIGHT["moss"])


def _file(name: str) -> str:
    return resources.files("trod").joinpath(name).read_text("utf-8").replace("\r\n", "\n")


def _script() -> str:
    """All that the page's one script is made of: its parts, then the page itself."""
    return "\n".join(map(_file, _SCRIPTS))


def _hash(text: str) -> str:
    """A source expression of Content Security Policy Level 3 for an inline piece."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _text(words: str) -> str:
    return escape(str(clean(words)))


def _data(field_form: FieldFormData) -> str:
    """What the script needs, as JSON that cannot end its own element."""
    shown = units.scale("m", field_form.system)
    told = {
        "id": field_form.field_form_id,
        "version": field_form.version,
        "kind": bounds.KIND,
        "limits": bounds.for_page(),
        "made_at": field_form.made_at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "reserve": field_form.reserve,
        "round": field_form.round_name,
        "day": field_form.day.isoformat() if field_form.day else None,
        "people": [name[: bounds.LONGEST_NAME] for name in field_form.people],
        "length_unit": shown.sign,
        "length_unit_m": shown.size,
        "addresses": field_form.addresses,
        "upload_path": field_form.upload_path,
        "token": field_form.upload_token,
        "token_header": bounds.TOKEN_HEADER,
        "stops": [
            {
                "site": stop.site_slug,
                "name": stop.site_name,
                "sensitive": stop.sensitive,
                "cameras": [
                    {
                        "deployment": camera.deployment_slug,
                        "name": camera.name or camera.serial or camera.deployment_slug,
                        "card": camera.card,
                        "utc_offset_min": camera.utc_offset_min,
                    }
                    for camera in stop.cameras
                ],
            }
            for stop in field_form.stops
        ],
    }
    text = json.dumps(clean(told), ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _contents(number: int, stop: FieldFormStop) -> str:
    small = f"<small>{_text(stop.plan)}</small>" if stop.plan else ""
    return (
        f'<li><a href="#stop-{number}"><span class="no">{number}</span><span class="name">{_text(stop.site_name)}'
        f'{small}<span class="state live" data-state="{number}" hidden></span></span></a></li>'
    )


def _stop(number: int, stop: FieldFormStop, of: int) -> str:
    key = f"s{number}"
    pieces = [
        f'<section id="stop-{number}" class="view stop" aria-labelledby="{key}-h">',
        f'<h2 id="{key}-h" tabindex="-1"><span class="stop-no">Stop {number} of {of}</span>{_text(stop.site_name)}</h2>',
        *(f'<p class="under">{_text(_hangs(camera))}</p>' for camera in stop.cameras),
        f'<p class="under">{_text(stop.plan)}</p>' if stop.plan else "",
        f'<p class="care">{_quiet(stop)}</p>' if stop.sensitive else "",
        _lines("Why", stop.why),
        _lines("What to do", stop.to_do),
        _lines("Carry", stop.kit),
        _lines("Access", stop.access),
        _lines("Take care", stop.safety, care=True),
        _place(stop),
        _fold("Sketch map", _drawing(stop.sketch_map_svg)),
        *(_setup_sheet(camera, stop) for camera in stop.cameras),
        f'<div class="visits live" data-stop="{number}" hidden></div></section>',
    ]
    return "".join(pieces)


def _hangs(camera: FieldFormCamera) -> str:
    who = f"{camera.name} ({camera.serial})" if camera.name and camera.serial else camera.name or camera.serial
    card = f"card {camera.card}" if camera.card else ""
    return " · ".join(part for part in (camera.deployment_slug, who, card, camera.batteries) if part)


def _setup_sheet(camera: FieldFormCamera, stop: FieldFormStop) -> str:
    of = f" of {camera.name or camera.serial or camera.deployment_slug}" if len(stop.cameras) > 1 else ""
    return _fold(_text(f"Set-up sheet{of}"), _facts(camera.setup_sheet) + _drawing(camera.side_view_svg))


def _quiet(stop: FieldFormStop) -> str:
    if stop.place is not None and stop.place.shown:
        return "A sensitive place, told here as it is: show nobody this page, and send its place to nobody."
    return "A sensitive place: where it is, and how to get there, is left out of this field form."


def _lines(heading: str, lines: Iterable[str], *, care: bool = False) -> str:
    items = "".join(f"<li>{_text(line)}</li>" for line in lines if line.strip())
    if not items:
        return ""
    made = f"<h3>{heading}</h3><ul>{items}</ul>"
    return f'<div class="care">{made}</div>' if care else made


def _facts(rows: Iterable[Row]) -> str:
    items = "".join(f"<div><dt>{_text(label)}</dt><dd>{_text(value)}</dd></div>" for label, value in rows)
    return f"<dl>{items}</dl>" if items else ""


def _rows(heading: str, rows: Iterable[Row]) -> str:
    facts = _facts(rows)
    return f"<h3>{heading}</h3>{facts}" if facts else ""


def _place(stop: FieldFormStop) -> str:
    """The coordinates; a link to the phone's own map (RFC 5870) unless the place is sensitive.

    A map may tell its maker where one looks.
    """
    if stop.place is None or stop.place.hidden:
        return ""
    latitude, longitude = stop.place.latitude_deg, stop.place.longitude_deg
    words = f"{latitude:.5f}, {longitude:.5f}"
    if stop.sensitive:
        return f'<p class="under">{words}</p>'
    return f'<p class="under">{words} · <a href="geo:{latitude:.5f},{longitude:.5f}">in this phone’s map</a></p>'


def _fold(heading: str, inside: str) -> str:
    return f'<details class="fold"><summary>{heading}</summary>{inside}</details>' if inside else ""


def _drawing(svg: Svg) -> str:
    if not isinstance(svg, Svg):
        raise WrongInput("drawing", got=type(svg).__name__, needed="a drawing of trod.drawing.pen")
    return f'<div class="drawing">{svg}</div>' if svg else ""
