"""Vehicles, feeds, area, zones and forbidden words of an expedition file in words that need no engineer."""

from relay.core.area import Zone
from relay.core.policy import Plan, SourcePlan
from relay.shell.feed_url import FeedUrl, Transport
from relay.shell.plain_words import join_words
from relay.shell.quantities import say_number


def describe_vehicles(plan: Plan) -> str:
    """Return a line on whose tracks followers see."""
    return f"{'Vehicle' if len(plan.vehicles) == 1 else 'Vehicles'}: {join_words(plan.vehicles)}."


def describe_feed(source: SourcePlan, url: FeedUrl) -> str:
    """Return a line on one feed: format, where from, whose, and what its sounder means."""
    whose = f" for {source.vehicle}" if source.vehicle else ""
    standby = f"; it is used only while {source.standby_for} says nothing or stands still" if source.standby_for else ""
    return f"Feed {source.name}: {source.format}{whose} from {url}{_comes(url)}{_sounder(source)}{standby}."


def _comes(url: FeedUrl) -> str:
    words = {
        Transport.UDP: f"anything sent to port {url.port} of this machine",
        Transport.TCP_LISTEN: f"whoever connects to port {url.port} of this machine",
        Transport.WS_LISTEN: f"whoever connects to port {url.port} of this machine",
    }
    return f" ({words[url.transport]})" if url.transport in words and not url.multicast else ""


def _sounder(source: SourcePlan) -> str:
    if source.format != "nmea0183":
        return ""
    if source.sounder is not None:
        meaning = {"altitude": "height above the seabed", "depth": "depth"}[source.sounder]
        return f"; its sounder ({source.sounder_sentence}) gives the vehicle's {meaning}"
    return (
        "; its sounder is ignored, so no height or depth comes from it "
        '(sounder = "altitude" or "depth" would say what it measures)'
    )


def describe_ground(plan: Plan) -> list[str]:
    """Return lines on the declared area, zones and forbidden words: what stops or hides, for all audiences."""
    lines = [
        f'Declared area: "{plan.area.name}". When a vehicle is outside it the release stops, until you resume it.'
        if plan.area
        else "Declared area: none, so nothing stops the release if a vehicle is somewhere else than you think.",
        f"No track is shown more than {say_number(plan.site_radius_m / 1000)} km from the first position received.",
    ]
    lines += [_zone(zone) for zone in plan.zones]
    if plan.forbidden_words:
        lines.append(f"Forbidden words: {', '.join(plan.forbidden_words)}.")
    return lines


def _zone(zone: Zone) -> str:
    least, most = say_number(zone.margin_m), say_number(2 * zone.margin_m)
    about = f"{say_number(zone.radius_m)} m about its centre"
    return f'Zone "{zone.name}": {about}; a secret moves it, and widens it by {least} to {most} m.'
