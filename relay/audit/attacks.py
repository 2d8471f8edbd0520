"""The attacks, in the order in which they are played."""

from relay.audit.attack import Attack
from relay.audit.averaging import Averaging
from relay.audit.cell_edges import CellEdges
from relay.audit.chart_match import ChartMatch
from relay.audit.dead_reckoning import DeadReckoning
from relay.audit.differencing import Differencing
from relay.audit.environment import Environment
from relay.audit.free_text import FreeText
from relay.audit.known_wrecks import KnownWrecks
from relay.audit.leak_scan import LeakScan
from relay.audit.send_times import SendTimes
from relay.audit.ship_alignment import ShipAlignment
from relay.audit.totals import Totals
from relay.audit.zone_edges import ZoneEdges

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
