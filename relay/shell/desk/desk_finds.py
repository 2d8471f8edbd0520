"""The finds for the operator: as found, and as known now.

Rules: exact and private; bounded, for it goes to every desk twice a second: the finds that were recorded last, without
their descriptions, points and files, of which there are the numbers; and what they are in few words.
"""

from typing import Any

from relay.core.find import FindPlace
from relay.core.finds import FindRecord, Finds, KnownFind

FINDS = 100
WORDS = 160


def find_parts(finds: Finds, now_us: int) -> list[dict[str, Any]]:
    """Return the finds that were recorded last, in the order in which they were first."""
    newest = sorted((known.current.row for known in finds), reverse=True)[:FINDS]
    return [_find(known, now_us) for known in finds if newest and known.current.row >= newest[-1]]


def place_parts(place: FindPlace | None) -> dict[str, Any]:
    """Return where a find lies, and how well that is known."""
    return {
        "latitude_deg": None if place is None else place.latitude_deg,
        "longitude_deg": None if place is None else place.longitude_deg,
        "radius_95_m": None if place is None else place.radius_95_m,
        "target": None if place is None else place.target,
    }


def _find(known: KnownFind, now_us: int) -> dict[str, Any]:
    find = known.current.find
    return {
        "name": known.name,
        **_record(known.current, now_us),
        "vehicle": find.vehicle,
        "photographs": len(find.photographs or ()),
        "drawings": len(find.drawings or ()),
        "records": len(known.records),
        "as_found": _record(known.as_found, now_us),
    }


def _record(record: FindRecord, now_us: int) -> dict[str, Any]:
    return {
        "row": record.row,
        "at_us": record.at_us,
        "ago_s": round((now_us - record.at_us) / 1e6, 3),
        "who": record.who,
        "what": _short(record.find.what or ""),
        **place_parts(record.find.place),
        "depth_m": record.find.depth_m,
    }


def _short(text: str) -> str:
    return text if len(text) <= WORDS else f"{text[: WORDS - 1]}…"
