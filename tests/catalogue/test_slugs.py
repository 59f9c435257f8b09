"""Names of folders from what people call things: one rule, safe on every disk."""

from __future__ import annotations

import pytest

from trod.catalogue import slugs


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Alder Track", "alder-track"),
        ("Großes Moor", "grosses-moor"),
        ("Øvre Ås", "ovre-as"),
        ("Þórsmörk við Æðey", "thorsmork-vid-aedey"),
        ("Łąka", "laka"),
        ("  --  ", "site"),
        ("山", "site"),
        ("CON", "site-con"),
        ("Lpt1", "site-lpt1"),
        ("Unplaced", "site-unplaced"),
        ("Field notes", "site-field-notes"),
        ("../../etc", "etc"),
        ("x" * 200, "x" * 56),
    ],
)
def test_a_name_becomes_a_folder_that_every_disk_takes(name: str, slug: str) -> None:
    assert slugs.slug_from(name, "site") == slug


@pytest.mark.django_db
def test_a_card_and_a_form_name_a_site_alike(cast) -> None:
    from trod.catalogue.imports import records

    assert records.find_site("MEADOW") == cast.meadow
    assert slugs.free_slug(type(cast.meadow), slugs.slug_from("Meadow", "site")) == "meadow-2"
