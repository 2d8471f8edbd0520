"""The expedition file: read, checked whole, and every fault told with its line, what is wrong and what to do.

Rules (R4): a key that isn't known, a value that isn't sense, or an audience that can't keep its word stops the
start. The file holds no secret unless it names zones or forbidden words: then it is as private as the journal.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Any

from pydantic import ValidationError

from relay.core.errors import ExpeditionError, OperatorError
from relay.core.policy import DiveLimits, LegLimits, Plan, Policy, SourcePlan
from relay.core.survey_plan import NO_SURVEY, SurveyPlan
from relay.shell.plan.audit_plan import NO_AUDIT, AuditPlan, audit_of
from relay.shell.plan.desk_address import near_address
from relay.shell.plan.expedition_faults import Faults, syntax_fault
from relay.shell.plan.expedition_form import PRESETS, AudiencePart, FeedPart, File, listen_address
from relay.shell.plan.expedition_sense import area_of, ashore, below, faults_together, survey_of, zone_of
from relay.shell.plan.feed_url import FeedUrl
from relay.shell.plan.toml_lines import read_toml
from relay.shell.plan.uplink_plan import UplinkPlan


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """A feed and where it comes from."""

    name: str
    url: FeedUrl


@dataclass(frozen=True, slots=True)
class Expedition:
    """A checked expedition file: the core's plan, and what the shell alone needs.

    `secrets_key`: not of the file, but given to a command: what opens the secrets where they are encrypted.
    """

    path: Path
    ship: str
    plan: Plan
    feeds: tuple[FeedPlan, ...]
    open_audiences: frozenset[str]
    private: Path
    released: Path
    listen: tuple[str, int]
    desk: tuple[str, int] | None = None
    language: str = "en"
    address: str = ""
    questions_to: str = ""
    survey: SurveyPlan = NO_SURVEY
    uplink: UplinkPlan | None = None
    invited_audiences: frozenset[str] = frozenset()
    audit: AuditPlan = NO_AUDIT
    secrets_key: Path | None = None


def expedition_file(path: Path) -> Path:
    """Return the expedition file: the path itself, or the one file in the folder that ends in .toml.

    OperatorError where a folder holds none, or several.
    """
    if not path.is_dir():
        return path
    found = sorted(path.glob("*.toml"))
    if len(found) != 1:
        raise OperatorError(f"{path} holds {len(found)} files that end in .toml: name the expedition file itself")
    return found[0]


def read_expedition(path: Path, secrets_key: Path | None = None) -> Expedition:
    """Read and check an expedition file; ExpeditionError names every fault with its line."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ExpeditionError(
            f"{path} can't be read: {error.strerror}. Give the path of an expedition file."
        ) from error
    except UnicodeDecodeError as error:
        raise ExpeditionError(f"{path} can't be read: {error}. Save it as text in UTF-8.") from error
    expedition = parse_expedition(text, path)
    return expedition if secrets_key is None else replace(expedition, secrets_key=secrets_key)


def parse_expedition(text: str, path: Path) -> Expedition:
    """Check the text of an expedition file that lies at `path`."""
    try:
        values = read_toml(text)
    except TOMLDecodeError as error:
        raise ExpeditionError(syntax_fault(path, text, error)) from error
    if "shore" in values and values.keys().isdisjoint(("audience", "feed", "vehicle", "expedition")):
        raise ExpeditionError(
            f"{path} looks like a shore's file, which `offing shore` runs: give the ship's expedition file"
        )
    faults = Faults(path, text, values)
    try:
        file = File.model_validate(_with_presets(values))
    except ValidationError as error:
        raise ExpeditionError("\n".join(faults.checked(item) for item in _own_faults(error))) from error
    if together := faults_together(file, path, values):
        raise ExpeditionError("\n".join(faults.line(fault) for fault in together))
    return _expedition(file, path)


def _own_faults(error: ValidationError) -> list[Any]:
    """Return the faults without those that come of an audience's preset not being known."""
    items = error.errors()
    without = [item["loc"][:2] for item in items if item["loc"][2:] == ("preset",)]
    return [item for item in items if not (item["type"] == "missing" and item["loc"][:2] in without)]


def _with_presets(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values with each audience's preset under what the file says itself."""
    audiences = values.get("audience")
    if not isinstance(audiences, list):
        return values
    return {**values, "audience": [_filled(item) if isinstance(item, dict) else item for item in audiences]}


def _filled(audience: dict[str, Any]) -> dict[str, Any]:
    preset = PRESETS.get(str(audience.get("preset")), {})
    if audience.get("depth") == "relative":  # goes with no descent_step, and whoever asks for it can't unset a preset's
        preset = {key: value for key, value in preset.items() if key != "descent_step"}
    return {**preset, **audience}


def _expedition(file: File, path: Path) -> Expedition:
    return Expedition(
        path=path,
        ship=file.expedition.ship,
        plan=Plan(
            expedition=file.expedition.name,
            vehicles=tuple(vehicle.name for vehicle in file.vehicle),
            sources=tuple(_source(feed) for feed in file.feed),
            policies=tuple(_policy(audience) for audience in file.audience),
            dive=DiveLimits(
                begin_depth_m=file.dive.begin_depth if file.dive.begins == "depth" else None,
                quiet_us=file.dive.quiet_ends_after,
                surfaced_us=file.dive.surfaced_ends_after,
            ),
            legs=LegLimits(),
            area=area_of(file.area),
            zones=tuple(zone_of(zone) for zone in file.zone),
            forbidden_words=tuple(file.text.forbidden),
            scene_names=_scene(file),
            swath_m=file.expedition.swath,
            contradict_m=file.stations.contradict,
        ),
        feeds=tuple(FeedPlan(feed.name, feed.source) for feed in file.feed),
        open_audiences=frozenset(audience.name for audience in file.audience if audience.open),
        private=below(path, file.storage.private),
        released=below(path, file.storage.released),
        listen=listen_address(file.public.listen),
        desk=None if file.desk is None else near_address(*listen_address(file.desk.listen)),
        language=file.expedition.language,
        address=file.public.address or "",
        questions_to=file.public.questions_to or "",
        survey=survey_of(file),
        uplink=_uplink(file),
        invited_audiences=frozenset(audience.name for audience in file.audience if audience.invited),
        audit=audit_of(file, path),
    )


def _uplink(file: File) -> UplinkPlan | None:
    part = file.uplink
    invited = frozenset(audience.name for audience in file.audience if audience.invited)
    return None if part is None else UplinkPlan(*part.to, part.pin, ashore(file), part.limit, invited)


def _scene(file: File) -> tuple[str, ...]:
    """Return names that ranges and bearings in annotations may be given from: they have no published place."""
    named = [file.expedition.ship, *(vehicle.name for vehicle in file.vehicle)]
    return tuple(named if file.expedition.wreck is None else [*named, file.expedition.wreck])


def _source(feed: FeedPart) -> SourcePlan:
    return SourcePlan(
        name=feed.name,
        format=feed.format,
        vehicle=feed.vehicle,
        sounder=feed.sounder,
        sounder_sentence=feed.sounder_sentence,
        variation_deg=feed.variation_deg,
        system=feed.system,
        component=feed.component,
        depth_from=feed.depth_from,
        standby_for=feed.standby_for,
        of_ship=feed.of == "ship",
    )


def _policy(audience: AudiencePart) -> Policy:
    return Policy(
        audience=audience.name,
        delay_us=audience.delay,
        extra_us=audience.extra,
        tick_us=audience.tick,
        fields=frozenset(audience.fields),
        cell_m=audience.cell,
        depth_step_m=audience.depth_step,
        heading_step_deg=audience.heading_step,
        tilt_step_deg=audience.tilt_step,
        stale_us=audience.stale_after,
        place=audience.place,
        track_legs=frozenset(audience.track_legs),
        track_start_m=audience.track_start,
        track_start_us=audience.track_start_after,
        radius_m=audience.radius,
        descent_step_m=audience.descent_step,
        depth_relative=audience.depth == "relative",
        check_text=audience.text == "checked",
    )


def preset_policy(preset: str, audience: str) -> Policy:
    """Return the policy that a preset alone gives an audience."""
    return _policy(AudiencePart.model_validate({"name": audience, **PRESETS[preset]}))
