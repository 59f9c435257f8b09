from __future__ import annotations

import pytest

from trod.catalogue import models as m
from trod.catalogue.rows import usual

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> m.Site:
    reserve = m.Reserve.objects.create(name="Hollin", slug="hollin", latitude=47, longitude=13)
    return m.Site.objects.create(
        reserve=reserve, name="Stand", slug="stand", latitude=47, longitude=13, feature="feeding"
    )


def test_a_feeding_ground_is_asked_how_many_come_at_once(site: m.Site) -> None:
    assert usual.aim(site) == "herd"
    assert usual.inputs(site) == {"aim": "herd", "herd": usual.HERD}


def test_a_trail_is_asked_for_no_herd(site: m.Site) -> None:
    site.feature = "trail"
    assert usual.inputs(site) == {"aim": usual.aim(site)}


def test_a_word_nobody_knows_is_other(site: m.Site) -> None:
    site.feature = "moon"
    assert usual.feature(site) == "other"


def test_without_cameras_and_species_there_is_still_an_animal(site: m.Site) -> None:
    assert usual.model(site) == ""
    assert usual.animal(site) in usual.reserve_animals()


def test_the_camera_that_stands_here_goes_before_one_at_home(site: m.Site, django_assert_max_num_queries) -> None:
    from datetime import UTC, datetime

    here = m.CameraModel.objects.create(maker="A", name="Here", slug="here")
    home = m.CameraModel.objects.create(maker="A", name="Home", slug="home")
    m.Camera.objects.create(serial="1", model=home)
    standing = m.Camera.objects.create(serial="2", model=here, state="out")
    m.Deployment.objects.create(slug="d", camera=standing, site=site, start=datetime(2026, 1, 1, tzinfo=UTC))
    with django_assert_max_num_queries(4):
        assert usual.model(site) == "here"
