"""What the pictures mean: observations and effort become findings, each with its interval; `telling` says them.

observations    the evidence that every question is asked of, and the filter that narrows it
taxa            the kinds above species, and which kinds a question about one takes in
detections      one species at one site, no closer together than the chosen interval
localtime       instants in the reserve's own calendar
seasons         seasons and years, the stretches a record is laid side by side by

watching        when one deployment's camera watched: what proves it, what proves that it did not, what nobody knows
effort          camera-days and site-days, in all, by site, by month, by both
hours_watched   when of the day each site was watched
reviewing       what was reviewed, and what detections come to when the rest is like it

rates           rates of detections with their intervals, for these sites
likesites       the mean rate of the kind of place from which the sites were taken
runs            how much the weeks of a site scatter, and the limits of a count that came in runs
intervals       what the independence interval does to a rate
comparing       two rates side by side
months          the rate month by month
yearly          what a record says of change, or why it says nothing
yearly_fit      the yearly factor of a record of months
line_ups        what was watched by the same cameras in the same way, month by month

circular        statistics of the clock: directions on a circle
activity        when animals pass: by clock, sun time, light and the sun's height
day_curve       an activity curve over the day, with a band that counts comings
sun_time        every day's sunrise and sunset brought to their means
lights          shares of day, twilight and night
overlapping     how far two samples of times of day overlap

asking          what all questions share
changing        is it changing
two_sides       two periods, or two sites, compared
shared_hours    whether two sides share their hours
equal_cameras   the rate as if every camera were equally good
first_last      the first and last detections of a season, and what is known of the days beyond
panels          sites, seasons or years side by side, which of them say enough
site_year       one site's calendar year: what was watched, what came
since           what happened to a record between two answers to one question
finding         the answer as one record: page, command, chart and report read this and nothing else
blur            places that must not be given away: a coarse cell, never a point
"""

from __future__ import annotations

from trod.findings.finding import Finding
from trod.findings.observations import (
    Deployment,
    Evidence,
    Filter,
    Gap,
    Observation,
    Reserve,
    Site,
    UnseenSequence,
)

__all__ = [
    "Deployment",
    "Evidence",
    "Filter",
    "Finding",
    "Gap",
    "Observation",
    "Reserve",
    "Site",
    "UnseenSequence",
]
