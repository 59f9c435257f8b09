"""The records, as rows. Rows hold and check; computing is done in the core rooms, changing in the rooms beside."""

from trod.catalogue.models.camera import Camera, CameraModel
from trod.catalogue.models.card import Card, Import, KeptFile
from trod.catalogue.models.changed import LastChange
from trod.catalogue.models.deployment import (
    ClockCorrection,
    Deployment,
    NotVisited,
    Silence,
    Visit,
    WalkTest,
)
from trod.catalogue.models.door import LoginTries
from trod.catalogue.models.job import Job
from trod.catalogue.models.maintenance import Booking, CostYear, Incident, Lock, LockSeal, StockItem
from trod.catalogue.models.picture import Picture
from trod.catalogue.models.placement import Placement
from trod.catalogue.models.question import Finding, Question, Round, RoundStop
from trod.catalogue.models.records import RecordImport
from trod.catalogue.models.reserve import Reserve, Sign, Site, Species
from trod.catalogue.models.sequence import Identification, Mark, Observation, Sequence, Suggestion
from trod.catalogue.models.standing import Catalogue, Deletion, Paper
from trod.catalogue.models.sums import DaySum, DeploymentSum

__all__ = [
    "Booking",
    "Camera",
    "CameraModel",
    "Card",
    "Catalogue",
    "ClockCorrection",
    "CostYear",
    "DaySum",
    "Deletion",
    "Deployment",
    "DeploymentSum",
    "Finding",
    "Identification",
    "Import",
    "Incident",
    "Job",
    "KeptFile",
    "LastChange",
    "Lock",
    "LockSeal",
    "LoginTries",
    "Mark",
    "NotVisited",
    "Observation",
    "Paper",
    "Picture",
    "Placement",
    "Question",
    "RecordImport",
    "Reserve",
    "Round",
    "RoundStop",
    "Sequence",
    "Sign",
    "Silence",
    "Site",
    "Species",
    "StockItem",
    "Suggestion",
    "Visit",
    "WalkTest",
]
