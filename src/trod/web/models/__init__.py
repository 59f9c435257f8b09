"""The records, as rows. Rows hold and check; computing is done in the core rooms, changing in `web/catalogue`."""

from trod.web.models.camera import Camera, CameraModel
from trod.web.models.card import Card, Intake, KeptFile
from trod.web.models.changed import LastChange
from trod.web.models.deployment import Deployment, NotVisited, Visit, WalkTest, WatchCorrection
from trod.web.models.door import LoginTries
from trod.web.models.event import Event, Hunch, Mark, Sighting, Word
from trod.web.models.job import Job
from trod.web.models.keeping import Booking, CostYear, Lock, LockSeal, Mishap, StockItem
from trod.web.models.picture import Picture
from trod.web.models.placement import Placement
from trod.web.models.question import Finding, Question, Round, RoundStop
from trod.web.models.reserve import Reserve, Sign, Site, Species
from trod.web.models.standing import Catalogue, Deletion, Paper
from trod.web.models.sums import DaySum, DeploymentSum

__all__ = [
    "Booking",
    "Camera",
    "CameraModel",
    "Card",
    "Catalogue",
    "CostYear",
    "DaySum",
    "Deletion",
    "Deployment",
    "DeploymentSum",
    "Event",
    "Finding",
    "Hunch",
    "Intake",
    "Job",
    "KeptFile",
    "LastChange",
    "Lock",
    "LockSeal",
    "LoginTries",
    "Mark",
    "Mishap",
    "NotVisited",
    "Paper",
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
    "StockItem",
    "Visit",
    "WalkTest",
    "WatchCorrection",
    "Word",
]
