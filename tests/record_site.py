"""A site with an expedition file, a journal of what is told at which second, and recovered logs: for exact records."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from expeditions import RIGHT
from relay.core.decision import Decision, write_decision
from relay.core.model import Row, RowKind
from relay.core.policy import SourcePlan
from relay.shell.exact.exact_dives import ExactDives, exact_dives
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.record.journal import LAST, JournalFile
from relay.shell.record.recovered import RecoveredLog, keep_log

SECOND = 1_000_000
WALL_S = 5_000.0
FIX = {"latitude_deg": -38.61472, "longitude_deg": -21.93306}
Told = dict[str, Any] | Decision | bytes | tuple[str, bytes]


class Site:
    """A folder with an expedition file and a journal of what is told at so many seconds."""

    def __init__(self, folder: Path, *told: tuple[float, Told], text: str = RIGHT) -> None:
        (folder / "EXPEDITION.toml").write_text(text, encoding="utf-8")
        self.expedition: Expedition = parse_expedition(text, folder / "EXPEDITION.toml")
        self.private = self.expedition.private
        self.rows = [self._row(seq, at_s, what) for seq, (at_s, what) in enumerate(told, 1)]
        file = JournalFile(self.private)
        file.commit(self.rows, {})
        file.close()

    def _row(self, seq: int, at_s: float, told: Told) -> Row:
        moment = seq, round(at_s * SECOND), WALL_S + at_s
        if isinstance(told, bytes):
            return Row(*moment, "", RowKind.DECISION, told)
        if isinstance(told, tuple):
            return Row(*moment, told[0], RowKind.WHOLE, told[1])
        if isinstance(told, dict):
            return Row(*moment, "station", RowKind.WHOLE, json.dumps(told).encode() + b"\n")
        return Row(*moment, "", RowKind.DECISION, write_decision(told, "the lead"))

    def clock(self, at_s: float) -> None:
        """Let the journal's last beat be of so many seconds."""
        file = JournalFile(self.private)
        file.commit([], {LAST: str(round(at_s * SECOND))})
        file.close()

    def log(self, *messages: dict[str, Any], vehicle: str = "Moth") -> None:
        """Import a log of a vehicle's."""
        data = b"".join(json.dumps(message).encode() + b"\n" for message in messages)
        times = [message["t"] for message in messages]
        source = SourcePlan(name="log", format="station-json")
        known = {"source": source, "date_s": None, "first_s": min(times), "last_s": max(times), "data": data}
        keep_log(self.private, RecoveredLog(vehicle=vehicle, name="l.jsonl", who="Ines", wall_s=9e3, **known))

    @contextmanager
    def read(self) -> Iterator[ExactDives]:
        """Read its exact record."""
        with exact_dives(self.expedition) as dives:
            yield dives


def moth(depth_m: float, **told: Any) -> dict[str, Any]:
    """Return a message of Moth's."""
    return {"vehicle": "Moth", "depth_m": depth_m, **told}
