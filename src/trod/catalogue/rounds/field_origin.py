"""Whether a note that came home belongs here: to this reserve, to a site and a deployment that are known."""

from __future__ import annotations

from dataclasses import dataclass

from trod.catalogue.models import Deployment, Reserve, Round, Site
from trod.field.form import VisitNote

NO_SITE, OTHER_RESERVE, NO_DEPLOYMENT = "site not known", "other reserve", "deployment not known"
KINDS = (NO_SITE, OTHER_RESERVE, NO_DEPLOYMENT)


@dataclass(frozen=True, kw_only=True)
class Strange:
    """Why a note cannot simply be taken. words : a sentence for the person who decides, without site and time."""

    kind: str
    words: str


def strange(note: VisitNote, site: Site | None, *, field_form: str, reserve: str) -> Strange | None:
    """Why a note is not plainly one of ours; None when it is.

    site : the one of the note's slug, with its reserve. field form : the id of its field form, which is that of a round
    planned here, or else of a round that was deleted here or planned elsewhere. reserve : as the form names it.
    """
    other = _other_reserve(site, field_form, reserve)
    if other:
        return Strange(kind=OTHER_RESERVE, words=other)
    if site is None:
        words = f"There is no site of the name {note.site!r} here; make it, or leave the note out."
        return Strange(kind=NO_SITE, words=words)
    if note.deployment and not Deployment.objects.filter(slug=note.deployment, site=site).exists():
        words = (
            f"The form names the deployment {note.deployment}, and none of that name is at this site. Imported, it "
            "counts as a visit to the site alone."
        )
        return Strange(kind=NO_DEPLOYMENT, words=words)
    return None


def _other_reserve(site: Site | None, field_form: str, reserve: str) -> str:
    """That the field form is of another reserve, in words; "" when it is of this one."""
    row = (
        Round.objects.select_related("reserve").filter(uuid=field_form).only("reserve__name").first()
        if field_form
        else None
    )
    if row is not None:
        if site is not None and site.reserve_id != row.reserve_id:
            return f"The form is of the reserve {row.reserve}, and the site lies in {site.reserve}."
        return ""
    if not reserve.strip():
        return ""
    names = [site.reserve.name] if site is not None else list(Reserve.objects.values_list("name", flat=True))
    if reserve.strip().casefold() in {name.strip().casefold() for name in names}:
        return ""
    return f"The form is of the reserve {reserve.strip()}, and no round of it was planned here."
