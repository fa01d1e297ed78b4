"""What is stored. Raw traces are the truth; measurements and summaries can be made again from them."""

from registry.models.alerts import (
    Alert,
    AlertNote,
    AlertState,
    DismissReason,
    Judgement,
    RuleStage,
    RuleVersion,
)
from registry.models.bench import (
    BenchSession,
    Gauge,
    GaugeCalibration,
    GaugeReading,
    Power,
    RevisionBasis,
    Rig,
    Unit,
)
from registry.models.catalogue import (
    Claim,
    Maker,
    PumpModel,
    Revision,
    SerialScheme,
    SerialSpan,
    SpanBasis,
)
from registry.models.delivery import Announcement, Channel, Delivery, DeliveryState, Subscription
from registry.models.editions import RunEdition
from registry.models.elevation import Elevation
from registry.models.history import RunWas, UnitWas
from registry.models.kept import ChangeCount, KeptAnswer, KeptPart
from registry.models.people import Clinic, Operator
from registry.models.proposals import Proposal, ProposalState
from registry.models.runs import (
    Edition,
    Finding,
    Measurement,
    Mode,
    Run,
    RunDetails,
    RunState,
    Side,
    Trace,
    UnitSummary,
)

__all__ = [
    "Alert",
    "AlertNote",
    "AlertState",
    "Announcement",
    "BenchSession",
    "ChangeCount",
    "Channel",
    "Claim",
    "Clinic",
    "Delivery",
    "DeliveryState",
    "DismissReason",
    "Edition",
    "Elevation",
    "Finding",
    "Gauge",
    "GaugeCalibration",
    "GaugeReading",
    "Judgement",
    "KeptAnswer",
    "KeptPart",
    "Maker",
    "Measurement",
    "Mode",
    "Operator",
    "Power",
    "Proposal",
    "ProposalState",
    "PumpModel",
    "Revision",
    "RevisionBasis",
    "Rig",
    "RuleStage",
    "RuleVersion",
    "Run",
    "RunDetails",
    "RunEdition",
    "RunState",
    "RunWas",
    "SerialScheme",
    "SerialSpan",
    "Side",
    "SpanBasis",
    "Subscription",
    "Trace",
    "Unit",
    "UnitSummary",
    "UnitWas",
]
