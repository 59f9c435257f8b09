"""The records, as rows. Rows hold and check; computing is done in the core rooms, changing in `web/catalogue`."""

from trod.web.models.camera import Camera, CameraModel
from trod.web.models.card import Card, Intake
from trod.web.models.deployment import Deployment, Visit, WalkTest, WatchCorrection
from trod.web.models.event import Event, Hunch, Mark, Sighting, Word
from trod.web.models.job import Job
from trod.web.models.picture import Picture
from trod.web.models.placement import Placement
from trod.web.models.question import Finding, Question, Round, RoundStop
from trod.web.models.reserve import Reserve, Sign, Site, Species

__all__ = [
    "Camera",
    "CameraModel",
    "Card",
    "Deployment",
    "Event",
    "Finding",
    "Hunch",
    "Intake",
    "Job",
    "Mark",
    "Picture",
    "Placement",
    "Question",
    "Reserve",
    "Round",
    "RoundStop",
    "Sighting",
    "Sign",
    "Site",
    "Species",
    "Visit",
    "WalkTest",
    "WatchCorrection",
    "Word",
]
