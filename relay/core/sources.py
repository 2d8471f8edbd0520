"""Each feed: its decoder, by its format, and the counts of what became of its frames."""

from collections import Counter
from dataclasses import dataclass, field

from relay.core.errors import ExpeditionError
from relay.core.mavlink import DepthFrom, MavlinkDecoder
from relay.core.model import Accepted, Decoder, Event, PassedOver, Row, RowKind
from relay.core.nmea0183 import NmeaDecoder, Sounder, SounderSentence
from relay.core.policy import SourcePlan
from relay.core.station_message import JsonLinesDecoder, MessagePackDecoder

FORMATS = ("nmea0183", "mavlink", "station-json", "station-msgpack")


def decoder_for(plan: SourcePlan, vehicle: str | None = None) -> Decoder:
    """Return a fresh decoder for a feed; ExpeditionError for a format that isn't in `FORMATS`.

    `vehicle`: of which vehicle the observations of NMEA 0183 are said to be, which names none; None leaves that open.
    For other formats it changes nothing.
    """
    if plan.format == "nmea0183":
        return NmeaDecoder(
            sounder=None if plan.sounder is None else Sounder(plan.sounder),
            sounder_sentence=SounderSentence(plan.sounder_sentence),
            variation_deg=plan.variation_deg,
            vehicle=vehicle,
        )
    if plan.format == "mavlink":
        return MavlinkDecoder(system=plan.system, component=plan.component, depth_from=DepthFrom(plan.depth_from))
    if plan.format == "station-json":
        return JsonLinesDecoder()
    if plan.format == "station-msgpack":
        return MessagePackDecoder()
    raise ExpeditionError(f"feed {plan.name}: unknown format {plan.format!r}; one of {', '.join(FORMATS)}")


@dataclass(slots=True)
class Tally:
    """What became of a feed's frames: counts, and reasons by how often they came."""

    accepted: Counter[str] = field(default_factory=Counter)
    passed_over: Counter[str] = field(default_factory=Counter)
    rejected: Counter[str] = field(default_factory=Counter)
    bytes: int = 0

    def count(self, event: Event) -> None:
        """Count one event of a decoder."""
        if isinstance(event, Accepted):
            self.accepted[event.kind] += 1
        elif isinstance(event, PassedOver):
            self.passed_over[f"{event.kind}: {event.why}"] += 1
        else:
            self.rejected[event.reason] += 1


class Source:
    """One feed: its decoder and its tally."""

    def __init__(self, number: int, plan: SourcePlan) -> None:
        self.number, self.plan = number, plan
        self.decoder: Decoder = decoder_for(plan)
        self.tally = Tally()

    def read(self, row: Row) -> list[Event]:
        """Return the events of a row."""
        self.tally.bytes += len(row.data)
        events = self.decoder.receive(row.data)
        if row.kind is RowKind.WHOLE:
            events += self.decoder.end()
        return events
