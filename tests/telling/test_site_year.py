"""What is said of a site's year, and which data make each sentence."""

from __future__ import annotations

from datetime import date

import invented
import pytest

from trod.findings import Deployment, Evidence, UnseenSequence
from trod.findings.site_year import site_year
from trod.telling import site_year as told


def test_a_year_of_which_nothing_is_known_says_so_and_claims_nothing_of_animals() -> None:
    bare = Evidence(reserve=invented.RESERVE, sites=invented.sites())
    known = site_year(bare, "alder-ford", 2025)

    assert told.sentence(known) == "Nothing is known of Alder Ford in 2025: no camera is known to have watched."
    assert told.cautions(known) == ()


def test_watched_days_and_kinds_are_told_with_what_limits_them() -> None:
    start, end = invented.utc("2025-01-01 00:00"), invented.utc("2025-03-02 00:00")
    seen = (
        invented.observation("red-deer", "2025-01-05 06:00"),
        invented.observation("", "2025-01-06 06:00", what="unknown", species_name=""),
    )
    record = Evidence(
        reserve=invented.RESERVE,
        sites=invented.sites(),
        deployments=(Deployment(slug="a", site="alder-ford", watched=((start, end),)),),
        observations=seen,
        unseen=(UnseenSequence(sequence="u", site="alder-ford", utc_s=start + 3600),),
    )
    known = site_year(record, "alder-ford", 2025)
    words = " ".join(told.cautions(known))

    assert told.sentence(known) == (
        "Alder Ford was watched 60 of 365 days in 2025; 1 kind of animal came by, in 1 detection."
    )
    assert (
        "1 sequence waits for review" in words and "1 sequence could not be told to a kind and is not counted" in words
    )
    assert "Hardly or not watched: April, May," in words and "January" not in words


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (told.clock("ESK 01", 3600, 0, "winter time"), "Times of ESK 01 set later by 60 minutes: winter time."),
        (told.clock("ESK 01", -86400 * 3, 0, ""), "Times of ESK 01 set earlier by 3 days."),
        (told.clock("ESK 01", 0, 2.0, "drift"), "Times of ESK 01 set by a drift of +2 s a day: drift."),
        (told.visit("Ilka Marwood", "Working", ""), "Visit by Ilka Marwood: working."),
        (told.visit("", "", "path cut"), "Visit. path cut"),
        (
            told.silence(date(2025, 5, 1), date(2025, 5, 8), "no power", is_open=False),
            "Not watched, 1 to 8 May 2025: no power.",
        ),
        (
            told.silence(date(2025, 5, 1), date(2025, 5, 8), "", is_open=True),
            "Nobody knows whether the camera watched, 1 to 8 May 2025.",
        ),
        (told.incident("theft", "", stopped=True), "Incident: theft; the camera stopped watching."),
        (told.incident("fire", "far off", stopped=False), "Incident: fire (far off); the camera went on watching."),
    ],
)  # fmt: skip
def test_a_line_of_the_diary_says_what_happened(line: str, words: str) -> None:
    assert line == words
