"""The code on a set-up sheet: one line of plain text that a phone reads, drawn as a QR code (ISO/IEC 18004).

    TROD1 6f0d…-… site=alder-ford h=0.85m tilt=+6deg wedge=14mm/top dir=000 aim=7.5m/0.85m burst=3 delay=0s
    sens=high mode=picture at=46.61234,13.84321

`TROD1` is the sign and the version; then the placement's uuid; then name=value pairs in any order, parted by
single spaces. A reader passes over names that it does not know. What is not known is left out. A sensitive site
has no `at=`. Lengths in metres, the wedge in millimetres, angles in degrees, `dir` from true north.
"""

from __future__ import annotations

import io
import re
import uuid
from dataclasses import dataclass

import segno

from trod.errors import WrongInput
from trod.leaving.setups import FitSetup

SIGN = "TROD1"
MOST_CHARACTERS = 400
_SLUG = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,62}[a-z0-9])?")
_NUMBER = r"[+-]?\d{1,6}(?:\.\d{1,6})?"


@dataclass(frozen=True, kw_only=True)
class SetupCode:
    """What the code carries; None or "" where it does not.

    placement : its uuid. site, deployment : slugs. wedge : (millimetres, the edge of the case that it stands
    behind). tilt_deg : down positive. position : (latitude, longitude), WGS 84. [°]
    """

    placement: str
    site: str = ""
    deployment: str = ""
    height_m: float | None = None
    tilt_deg: float | None = None
    wedge: tuple[float, str] | None = None
    heading_deg: float | None = None
    aim_m: tuple[float, float] | None = None
    burst: int | None = None
    delay_s: float | None = None
    sensitivity: str = ""
    mode: str = ""
    position: tuple[float, float] | None = None

    def text(self) -> str:
        """The line."""
        words = [SIGN, str(uuid.UUID(self.placement))]
        for name, slug in (("site", self.site), ("dep", self.deployment)):
            if slug:
                if not _SLUG.fullmatch(slug):
                    raise WrongInput(name, got=slug[:80], needed="lower-case letters, digits and inner dashes")
                words.append(f"{name}={slug}")
        if self.height_m is not None:
            words.append(f"h={self.height_m:.2f}m")
        if self.tilt_deg is not None:
            words.append(f"tilt={round(self.tilt_deg) + 0:+d}deg")
        if self.wedge is not None and self.wedge[1] in ("top", "bottom"):
            words.append(f"wedge={self.wedge[0]:.0f}mm/{self.wedge[1]}")
        if self.heading_deg is not None:
            words.append(f"dir={round(self.heading_deg) % 360:03d}")
        if self.aim_m is not None:
            words.append(f"aim={self.aim_m[0]:.1f}m/{self.aim_m[1]:.2f}m")
        if self.burst is not None:
            words.append(f"burst={self.burst}")
        if self.delay_s is not None:
            words.append(f"delay={self.delay_s:.0f}s")
        if self.sensitivity:
            words.append(f"sens={self.sensitivity}")
        if self.mode:
            words.append(f"mode={self.mode}")
        if self.position is not None:
            words.append(f"at={self.position[0]:.5f},{self.position[1]:.5f}")
        return " ".join(words)


def read(text: str) -> SetupCode:
    """A line read back. Raises WrongInput for what is no set-up sheet's code or has a value that cannot be."""
    if len(text) > MOST_CHARACTERS:
        raise WrongInput("set-up sheet code", got=f"{len(text)} characters", needed=f"at most {MOST_CHARACTERS}")
    words = text.strip().split(" ")
    if words[0] != SIGN or len(words) < 2:
        raise WrongInput("set-up sheet code", got=text[:40], needed=f"a line that begins with {SIGN} and a placement")
    try:
        placement = str(uuid.UUID(words[1]))
    except ValueError:
        raise WrongInput("set-up sheet code, placement", got=words[1][:40], needed="a uuid") from None
    told: dict[str, str] = {}
    for word in words[2:]:
        name, sign, value = word.partition("=")
        if not sign or name in told:
            raise WrongInput("set-up sheet code", got=word[:40], needed="name=value, each name once")
        told[name] = value

    def number(name: str, unit: str) -> float | None:
        found = _match(name, told.get(name), rf"({_NUMBER}){unit}")
        return float(found[1]) if found else None

    wedge = _match("wedge", told.get("wedge"), rf"({_NUMBER})mm/(top|bottom)")
    aim = _match("aim", told.get("aim"), rf"({_NUMBER})m/({_NUMBER})m")
    at = _match("at", told.get("at"), rf"({_NUMBER}),({_NUMBER})")
    position = (float(at[1]), float(at[2])) if at else None
    if position and not (abs(position[0]) <= 90 and abs(position[1]) <= 180):
        raise WrongInput("set-up sheet code, at", got=told["at"][:40], needed="latitude,longitude in degrees")
    site, deployment, sensitivity, mode = (
        found[0] if (found := _match(name, told.get(name), pattern)) else ""
        for name, pattern in (
            ("site", _SLUG.pattern),
            ("dep", _SLUG.pattern),
            ("sens", "low|medium|high|auto"),
            ("mode", "picture|clip|both"),
        )
    )
    burst = number("burst", "")
    return SetupCode(
        placement=placement,
        site=site,
        deployment=deployment,
        height_m=number("h", "m"),
        tilt_deg=number("tilt", "deg"),
        wedge=(float(wedge[1]), wedge[2]) if wedge else None,
        heading_deg=number("dir", ""),
        aim_m=(float(aim[1]), float(aim[2])) if aim else None,
        burst=int(burst) if burst is not None else None,
        delay_s=number("delay", "s"),
        sensitivity=sensitivity,
        mode=mode,
        position=position,
    )


def _match(name: str, value: str | None, pattern: str) -> re.Match[str] | None:
    if value is None:
        return None
    found = re.fullmatch(pattern, value, flags=re.ASCII)
    if found is None:
        raise WrongInput(f"set-up sheet code, {name}", got=value[:40], needed="a value as on a set-up sheet of Trod")
    return found


def code_of(
    setup: FitSetup,
    *,
    placement: str,
    site: str = "",
    deployment: str = "",
    with_position: bool = True,
) -> SetupCode:
    """The code of a setup. Without a position where the site is sensitive or the caller says so."""
    advice, inputs, ground = setup.advice, setup.settings.inputs, setup.read.ground
    wedge = advice.wedge
    return SetupCode(
        placement=placement,
        site=site,
        deployment=deployment,
        height_m=advice.height_m,
        tilt_deg=advice.tilt_deg,
        wedge=None if wedge.behind == "none" else (wedge.thickness_mm, wedge.behind),
        heading_deg=advice.heading_deg,
        aim_m=(advice.aim_distance_m, advice.aim_height_m),
        burst=inputs.burst,
        delay_s=inputs.delay_s,
        sensitivity=inputs.sensitivity,
        mode=inputs.mode,
        position=(ground.latitude_deg, ground.longitude_deg) if with_position and not ground.sensitive else None,
    )


def code_svg(text: str) -> str:
    """The line as a QR code: SVG with its quiet zone of four modules, black on white.

    Error correction M (15 %): a set-up sheet gets wet and creased.
    """
    out = io.BytesIO()
    segno.make(text, error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, dark="#000", light="#fff", nl=False,
        title="Code of this placement",
    )  # fmt: skip
    return out.getvalue().decode("utf-8")
