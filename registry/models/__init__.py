"""What is stored, a module per subject; nothing here decides or writes.

Rules of the field that need no database live in ``registry.science``; every change of these rows
goes
through ``registry.desk``.
"""

from registry.models.announcements import Announcement
from registry.models.breeding import (
    BreedingRun,
    Reliabilities,
    RunColumn,
    RunState,
    TraitRun,
    VariancesFrom,
)
from registry.models.certificates import Certificate
from registry.models.distributions import (
    CountedValue,
    DistributionCell,
    PublicState,
    StoredHistogram,
)
from registry.models.dogs import Breed, Dog, DogAlias, Sex
from registry.models.evaluations import (
    Draft,
    Evaluation,
    Evidence,
    Flag,
    FlagLevel,
    Reading,
    Side,
    State,
)
from registry.models.forecasts import ForecastCheck, KeptForecast
from registry.models.ledger import (
    LedgerEntry,
    LedgerHead,
    LedgerText,
    LedgerTile,
    LogCheckpoint,
)
from registry.models.mail import OutboxMail
from registry.models.pedigree_files import PedigreeFile
from registry.models.people import ApiToken, Clinic, Membership, Owner, Role, User
from registry.models.replay import ReplayKey
from registry.models.second_looks import SecondDeed, SecondLook
from registry.models.traits import Better, Kind, Trait
from registry.models.upkeep import Upkeep

__all__ = [
    "Announcement",
    "ApiToken",
    "Better",
    "Breed",
    "BreedingRun",
    "Certificate",
    "Clinic",
    "CountedValue",
    "DistributionCell",
    "Dog",
    "DogAlias",
    "Draft",
    "Evaluation",
    "Evidence",
    "Flag",
    "FlagLevel",
    "ForecastCheck",
    "KeptForecast",
    "Kind",
    "LedgerEntry",
    "LedgerHead",
    "LedgerText",
    "LedgerTile",
    "LogCheckpoint",
    "Membership",
    "OutboxMail",
    "Owner",
    "PedigreeFile",
    "PublicState",
    "Reading",
    "Reliabilities",
    "ReplayKey",
    "Role",
    "RunColumn",
    "RunState",
    "SecondDeed",
    "SecondLook",
    "Sex",
    "Side",
    "State",
    "StoredHistogram",
    "Trait",
    "TraitRun",
    "Upkeep",
    "User",
    "VariancesFrom",
]
