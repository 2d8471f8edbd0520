"""The attacks, in the order in which they are played."""

from relay.audit.attacks.attack import Attack
from relay.audit.attacks.averaging import Averaging
from relay.audit.attacks.cell_edges import CellEdges
from relay.audit.attacks.chart_match import ChartMatch
from relay.audit.attacks.dead_reckoning import DeadReckoning
from relay.audit.attacks.differencing import Differencing
from relay.audit.attacks.environment import Environment
from relay.audit.attacks.free_text import FreeText
from relay.audit.attacks.known_wrecks import KnownWrecks
from relay.audit.attacks.leak_scan import LeakScan
from relay.audit.attacks.send_times import SendTimes
from relay.audit.attacks.ship_alignment import ShipAlignment
from relay.audit.attacks.totals import Totals
from relay.audit.attacks.zone_edges import ZoneEdges

ATTACKS: tuple[Attack, ...] = (
    ChartMatch(),
    ShipAlignment(),
    DeadReckoning(),
    LeakScan(),
    FreeText(),
    Averaging(),
    CellEdges(),
    ZoneEdges(),
    Totals(),
    Differencing(),
    Environment(),
    SendTimes(),
    KnownWrecks(),
)
