"""What an audience may see, how coarse and how late: plain values, checked where they are read from the file.

Rules: deny by default (`fields` names what is disclosed, nothing else is); lengths in metres, angles in
degrees, times in microseconds of the embargo clock.
"""

from dataclasses import dataclass
from enum import StrEnum

from relay.core.area import Area, Zone

MICROSECONDS = 1_000_000


class Disclosed(StrEnum):
    """The fields a policy can name."""

    TRACK = "track"
    DEPTH = "depth"
    ALTITUDE = "altitude"
    HEADING = "heading"
    PITCH = "pitch"
    ROLL = "roll"
    MODE = "mode"
    LEG = "leg"
    NOTES = "notes"
    STILLS = "stills"


class Leg(StrEnum):
    """The part of a dive a vehicle is in."""

    DECK = "deck"
    DESCENT = "descent"
    BOTTOM = "bottom"
    ASCENT = "ascent"


@dataclass(frozen=True, slots=True, kw_only=True)
class LegLimits:
    """Where one leg ends and the next begins, each with two limits so that it does not flutter.

    Common practice, no source: a vehicle within 15 m of the seabed is working it. Without an altitude, the
    bottom is taken to be reached when the depth has stayed within `level_m` for `level_us`.
    """

    deck_leave_m: float = 3.0
    deck_enter_m: float = 1.5
    bottom_enter_m: float = 15.0
    bottom_leave_m: float = 40.0
    level_m: float = 5.0
    level_us: int = 180 * MICROSECONDS


class Place(StrEnum):
    """Where an audience is told the vehicle is."""

    LOCAL = "local"
    AREA = "area"
    EXACT = "exact"


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """One audience's policy.

    `extra_us`: the greatest secret addition to `delay_us`, drawn per dive. `tick_us`: one record per tick.
    `stale_us`: a value older than this is not shown. A track is shown on `track_legs`, once the vehicle has been
    at the bottom for `track_start_us` and moved `track_start_m` from where it reached it, and within `radius_m` of
    there. `depth_step_m` holds on the bottom, `descent_step_m` (None: the same) elsewhere; `depth_relative` shows
    depth on the bottom alone, relative to where it was first reached. `check_text`: annotations that tell a place
    are blocked.
    """

    audience: str
    delay_us: int
    extra_us: int
    tick_us: int
    fields: frozenset[Disclosed]
    cell_m: float
    depth_step_m: float
    heading_step_deg: float = 22.5
    tilt_step_deg: float = 5.0
    stale_us: int = 30 * MICROSECONDS
    place: Place = Place.LOCAL
    track_legs: frozenset[Leg] = frozenset(Leg)
    track_start_m: float = 0.0
    track_start_us: int = 0
    radius_m: float | None = None
    descent_step_m: float | None = None
    depth_relative: bool = False
    check_text: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DiveLimits:
    """When a dive begins and ends by itself.

    `begin_depth_m` None: the first report begins it. It ends when nothing is reported for `quiet_us`, or, if
    it began by depth, when every vehicle has been above half that depth for `surfaced_us`.
    """

    begin_depth_m: float | None = None
    quiet_us: int = 600 * MICROSECONDS
    surfaced_us: int = 600 * MICROSECONDS


@dataclass(frozen=True, slots=True, kw_only=True)
class SourcePlan:
    """How the bytes of one feed are read.

    `standby_for` names the feed that this one takes the place of; `of_ship`: it tells where the ship herself is, which
    stays on the ship.
    """

    name: str
    format: str
    vehicle: str | None = None
    sounder: str | None = None
    sounder_sentence: str = "DPT"
    variation_deg: float | None = None
    system: int = 1
    component: int = 1
    depth_from: str = "relative_alt"
    standby_for: str | None = None
    of_ship: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything of an expedition that the core needs: no addresses, no files.

    `contradict_m`: beyond it two stations' positions of one vehicle contradict each other.
    """

    expedition: str
    vehicles: tuple[str, ...]
    sources: tuple[SourcePlan, ...]
    policies: tuple[Policy, ...]
    dive: DiveLimits = DiveLimits()
    legs: LegLimits = LegLimits()
    site_radius_m: float = 20_000.0
    area: Area | None = None
    zones: tuple[Zone, ...] = ()
    forbidden_words: tuple[str, ...] = ()
    scene_names: tuple[str, ...] = ()
    swath_m: float | None = None
    contradict_m: float = 50.0
