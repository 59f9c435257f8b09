"""The reserve's list of kinds: put there where one is named, with the kinds above it; what can be said of a kind.

What general knowledge offers (`trod.findings.taxa`) becomes rows when it is first needed: a family when somebody says
"a deer, kind unknown", or when it stands above a species that is put on the list. The rows may be changed then; a
person's own name, place or rank for one stays.
"""

from __future__ import annotations

from dataclasses import dataclass

from trod.catalogue.models import Species
from trod.catalogue.slugs import free_slug, slug_from
from trod.findings import taxa
from trod.findings.taxa import Taxon

LONGEST_LINE = 12  # kinds above one another; a ring of them is refused


@dataclass(frozen=True, kw_only=True)
class Offer:
    """A kind above species that can be said. slug : '' while it is no row yet; then it is said by its name."""

    name: str
    slug: str
    scientific_name: str
    rank: str


def offers() -> list[Offer]:
    """Kinds above species that can be said, by name: the reserve's own that are offered, and those known in general."""
    rows = list(Species.objects.exclude(rank=Species.Rank.SPECIES))
    own = [Offer(name=r.name, slug=r.slug, scientific_name=r.scientific_name, rank=r.rank) for r in rows if r.active]
    latin = {r.scientific_name.casefold() for r in rows if r.scientific_name}
    taken = {name.casefold() for name in Species.objects.values_list("name", flat=True)}
    more = [
        Offer(name=t.name, slug="", scientific_name=t.scientific_name, rank=t.rank)
        for t in taxa.KNOWN
        if t.scientific_name.casefold() not in latin and t.name.casefold() not in taken
    ]
    return sorted(own + more, key=lambda offer: offer.name.casefold())


def named(name: str) -> Species:
    """The kind of this name, in any case; made when it is on no list. One that was not offered any more is again.

    A name that general knowledge has for a rank above species makes that; any other a species without a scientific
    name, which is asked for later.
    """
    name = " ".join(name.split())
    row = Species.objects.filter(name__iexact=name).first()
    if row is None:
        known = taxa.BY_NAME.get(name.casefold())
        return ensure(known) if known else Species.objects.create(name=name, slug=_slug(name))
    if not row.active:
        row.active = True
        row.save(update_fields=["active"])
    return row


def ensure(taxon: Taxon) -> Species:
    """The row of a kind that is known in general, made with those above it where it is not there."""
    row = Species.objects.filter(scientific_name__iexact=taxon.scientific_name).first()
    if row is None:
        above = taxa.BY_KEY.get(taxon.parent)
        row = Species.objects.create(
            name=_free_name(taxon),
            scientific_name=taxon.scientific_name,
            rank=taxon.rank,
            slug=_slug(taxon.name),
            parent=ensure(above) if above else None,
        )
        place_all()
    return row


def place(row: Species) -> bool:
    """Put a species under the nearest known kind above it that is on the list; returns whether it moved.

    One that a person put under another kind stays there. No kind is made: a list of three deer need hold no tree.
    """
    if row.rank != Species.Rank.SPECIES:
        return False
    latin = [taxa.BY_KEY[key].scientific_name for key in _line(taxa.above(row.scientific_name))]
    if row.parent is not None and row.parent.scientific_name not in latin:
        return False
    on_list = {kind.scientific_name: kind for kind in Species.objects.filter(scientific_name__in=latin)}
    nearest = next((on_list[name] for name in latin if name in on_list), None)
    if nearest is None or nearest.pk in (row.parent_id, row.pk):
        return False
    row.parent = nearest
    row.save(update_fields=["parent"])
    return True


def place_all() -> int:
    """Put every species where it belongs, as `place` does; returns how many moved."""
    rows = Species.objects.filter(rank=Species.Rank.SPECIES).exclude(scientific_name="").select_related("parent")
    return sum(place(row) for row in rows)


def would_ring(row: Species, parent: Species | None) -> bool:
    """Whether a kind would stand above itself."""
    steps = 0
    while parent is not None and steps < LONGEST_LINE:
        if parent.pk == row.pk:
            return True
        parent, steps = parent.parent, steps + 1
    return parent is not None


def without_scientific_name() -> list[Species]:
    """Species whose scientific name nobody has written yet, by name."""
    return list(Species.objects.filter(scientific_name="", rank=Species.Rank.SPECIES, active=True).order_by("name"))


def _line(key: str) -> list[str]:
    return taxa.line_above(key, {t.key: t.parent for t in taxa.KNOWN}) if key else []


def _slug(name: str) -> str:
    return free_slug(Species, slug_from(name, "species"))


def _free_name(taxon: Taxon) -> str:
    taken = Species.objects.filter(name__iexact=taxon.name).exists()
    return f"{taxon.name} ({taxon.scientific_name})" if taken else taxon.name
