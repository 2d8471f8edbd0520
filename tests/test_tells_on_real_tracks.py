"""Published tracks of real vehicles, released by Offing: what is told besides the track gives nothing away.

The tracks are those of the shared data: a tethered vehicle's day of seafloor transects (2022-10-20, Salish Sea) and a
glider's mission in an inlet (2022-06, British Columbia); their sources are in the READMEs beside them.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from audited import case_of
from dives import SECRETS, run
from placed_dives import plan_at, published
from relay.audit.attacks.attack import Attack
from relay.audit.attacks.differencing import Differencing
from relay.audit.attacks.environment import Environment
from relay.audit.attacks.free_text import FreeText
from relay.audit.attacks.known_wrecks import KnownWrecks
from relay.audit.attacks.leak_scan import LeakScan, spelled
from relay.audit.attacks.send_times import SendTimes
from relay.audit.charts.chart_files import read_chart
from relay.core.pipeline import Pipeline
from told_besides import taken
from translation import laid, station_rows

ATTACKS: tuple[Attack, ...] = (Differencing(), Environment(), FreeText(), KnownWrecks(), LeakScan(), SendTimes())


@pytest.mark.parametrize("name", ["rov-transects/transects-2022-10-20", "glider-inlet/track"])
def test_real_tracks_tell_nothing_besides(name: str, shared_data: Path) -> None:
    """Counter-test: no attack finds a leak or a place in what two audiences get of a real track, nor its fixes."""
    dive, site = published(shared_data, name)
    expedition = replace(plan_at(replace(dive, hidden=False), site), area=None)
    got = taken(run(Pipeline(expedition, SECRETS), station_rows(dive.reports, site)))
    chart = read_chart(shared_data / "chart-strait-multires/chart-2min.csv.gz")
    case = case_of(*got.values(), chart=chart)
    assert sum(len(recording.records) for recording in got.values()) > 60
    for attack in ATTACKS:
        finding = attack.play(case)
        assert (finding.leaks, finding.place, finding.log_likelihood) == ((), None, None), finding.words
    fixes = [(there.latitude_deg, there.longitude_deg) for there in laid(dive.reports, site) if there.latitude_deg]
    assert spelled(case.dives, fixes[:: max(1, len(fixes) // 20)]) == ()  # type: ignore[arg-type]
