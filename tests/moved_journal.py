"""A ship's journal as if all of its dives had been somewhere else on the Earth: by geographiclib (`translation.py`).

What is moved: the places in station messages, and the headings by what the meridians turn. Everything else stays byte
for byte, and so does every row's moment. A line that came in pieces is moved in the row that completes it.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from relay.core.model import Row, RowKind
from relay.core.policy import Plan
from translation import WGS84, Site

_PLACE = ("latitude_deg", "longitude_deg")


def why_fixed(plan: Plan) -> str | None:
    """Return why a journal of this plan can't be moved, None if it can."""
    for source in plan.sources:
        if source.format != "station-json":
            return f"feed {source.name} is {source.format}, and only station-json is moved in full precision"
    return "the plan has an area or zones, which lie where they lie" if plan.area or plan.zones else None


class Moved:
    """Moves a journal so that its first fix lies at a site."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._first: Site | None = None
        self._turns: dict[tuple[str, object], float] = {}
        self._pending: dict[str, bytes] = {}

    def rows(self, rows: Iterable[Row]) -> Iterator[Row]:
        """Yield the rows, moved; decisions stay as they are."""
        for row in rows:
            yield row if row.kind is RowKind.DECISION else replace(row, data=self._data(row))

    def _data(self, row: Row) -> bytes:
        *lines, rest = (self._pending.pop(row.source, b"") + row.data).split(b"\n")
        moved = b"".join(self._line(row.source, line) + b"\n" for line in lines)
        if row.kind is RowKind.WHOLE:
            return moved + self._line(row.source, rest)
        self._pending[row.source] = rest
        return moved

    def _line(self, source: str, line: bytes) -> bytes:
        try:
            told = json.loads(line)
        except ValueError:
            return line
        if not isinstance(told, dict) or not {*_PLACE, "heading_deg"} & told.keys():
            return line
        return json.dumps(self._told(source, told)).encode()

    def _told(self, source: str, told: dict[str, Any]) -> dict[str, Any]:
        key = source, told.get("vehicle")
        out = dict(told)
        if all(isinstance(told.get(name), float) for name in _PLACE):
            fix = told["latitude_deg"], told["longitude_deg"]
            self._first = self._first or fix
            was = WGS84.Inverse(*self._first, *fix)
            way = WGS84.Direct(*self._site, was["azi1"], was["s12"])
            out.update(zip(_PLACE, (way["lat2"], way["lon2"]), strict=True))
            self._turns[key] = (way["azi2"] - way["azi1"]) - (was["azi2"] - was["azi1"])
        if isinstance(told.get("heading_deg"), float):
            out["heading_deg"] = (told["heading_deg"] + self._turns.get(key, 0.0)) % 360.0
        return out
