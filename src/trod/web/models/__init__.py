"""The records, as rows. Rows hold and check; computing is done in the core rooms, changing in `web/catalogue`."""

from trod.web.models.camera import Camera, CameraModel
from trod.web.models.card import Card, Import, KeptFile
from trod.web.models.changed import LastChange
from trod.web.models.deployment import Deployment, NotVisited, Visit, WalkTest, ClockCorrection
from trod.web.models.door import LoginTries
from trod.web.models.sequence import Sequence, Suggestion, Mark, Observation, Identification
from trod.web.models.job import Job
from trod.web.models.maintenance import Booking, CostYear, Lock, LockSeal, Incident, StockItem
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
    "Sequence",
    "Finding",
    "Suggestion",
    "Import",
    "Job",
    "KeptFile",
    "LastChange",
    "Lock",
    "LockSeal",
    "LoginTries",
    "Mark",
    "Incident",
    "NotVisited",
    "Paper",
    "Picture",
    "Placement",
    "Question",
    "Reserve",
    "Round",
    "RoundStop",
    "Observation",
    "Sign",
    "Site",
    "Species",
    "StockItem",
    "Visit",
    "WalkTest",
    "ClockCorrection",
    "Identification",
]
