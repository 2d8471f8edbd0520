"""The decoder of each feed, by its format."""

from relay.core.errors import ExpeditionError
from relay.core.mavlink import DepthFrom, MavlinkDecoder
from relay.core.model import Decoder
from relay.core.nmea0183 import NmeaDecoder, Sounder, SounderSentence
from relay.core.policy import SourcePlan
from relay.core.station_message import JsonLinesDecoder, MessagePackDecoder

FORMATS = ("nmea0183", "mavlink", "station-json", "station-msgpack")


def decoder_for(plan: SourcePlan) -> Decoder:
    """Return a fresh decoder for a feed; ExpeditionError for a format that isn't in `FORMATS`."""
    if plan.format == "nmea0183":
        return NmeaDecoder(
            sounder=None if plan.sounder is None else Sounder(plan.sounder),
            sounder_sentence=SounderSentence(plan.sounder_sentence),
            variation_deg=plan.variation_deg,
        )
    if plan.format == "mavlink":
        return MavlinkDecoder(system=plan.system, component=plan.component, depth_from=DepthFrom(plan.depth_from))
    if plan.format == "station-json":
        return JsonLinesDecoder()
    if plan.format == "station-msgpack":
        return MessagePackDecoder()
    raise ExpeditionError(f"feed {plan.name}: unknown format {plan.format!r}; one of {', '.join(FORMATS)}")
