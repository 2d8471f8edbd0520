"""The chart match as an attack: recordings in, a likelihood out, or why not."""

from pathlib import Path

import numpy as np

from match_cases import STRAIT
from relay.audit.attack import Case
from relay.audit.chart import Chart
from relay.audit.chart_files import read_chart
from relay.audit.chart_match import ChartMatch, soundings_for
from told_dives import told_dive
