"""Sites and the evidence about them as they may leave."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trod.findings.observations import Evidence, Site
from trod.leaving.places import _SEAL, FitPlace, FitToLeave, fit_place
from trod.leaving.words import without_places


@dataclass(frozen=True, kw_only=True)
class FitSite(FitToLeave):
    """One site. slug : its key."""

    slug: str
    name: str
    place: FitPlace
    feature: str = ""

    @property
    def sensitive(self) -> bool:
        """Its place must not be given away."""
        return self.place.sensitive


def fit_site(site: Site, *, true_places: bool = False) -> FitSite:
    """A site as it may leave."""
    place = fit_place(
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        sensitive=site.sensitive,
        true_places=true_places,
    )
    name = without_places(site.name) if place.hidden else site.name
    return FitSite(slug=site.slug, name=name, place=place, feature=site.feature, seal=_SEAL)


@dataclass(frozen=True, kw_only=True)
class FitEvidence(FitToLeave):
    """What is known, with sensitive sites generalised.

    evidence : to ask the questions of; its sites lie where `sites` say. true_places : somebody decided that sensitive
    sites are told.
    """

    evidence: Evidence
    sites: tuple[FitSite, ...]
    true_places: bool

    @property
    def shows(self) -> bool:
        """Whether a sensitive site stands at its true place."""
        return any(site.place.shown for site in self.sites)

    def site(self, slug: str) -> FitSite:
        """A site by its key; a bare one where the evidence has none."""
        for site in self.sites:
            if site.slug == slug:
                return site
        return fit_site(self.evidence.site(slug))


def fit_evidence(evidence: Evidence, *, true_places: bool = False) -> FitEvidence:
    """All that is known, fit to leave."""
    sites = tuple(fit_site(site, true_places=true_places) for site in evidence.sites)
    moved = tuple(
        replace(raw, name=fit.name, latitude_deg=fit.place.latitude_deg, longitude_deg=fit.place.longitude_deg)
        for raw, fit in zip(evidence.sites, sites, strict=True)
    )
    return FitEvidence(evidence=replace(evidence, sites=moved), sites=sites, true_places=true_places, seal=_SEAL)
