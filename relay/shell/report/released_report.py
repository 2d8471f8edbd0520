"""The report of a released dive, from a recording alone (R7): what followers could have had, and what they could not.

Rules: it says on every page that it is the released version, for whom and how late; what wasn't told is said to be
withheld, never filled in; times are dive time, for no record tells a date.
"""

from collections.abc import Iterator
from hashlib import sha256

from relay.core.figures import Figures, figures
from relay.core.release import Kind
from relay.core.wire import Recording
from relay.shell.report.dive_report import Report, Section, Table, jpeg_picture, plan_of, profile_of
from relay.shell.report.released_dive import DiveTold, Said, Span, VehicleTold, dive_told
from relay.shell.report.report_drawing import Drawn, Mark, clock, metres
from relay.shell.site.page_words import EN, area, duration, length, number

_FIELDS = {
    "track": "positions",
    "depth": "depths",
    "altitude": "the height above the seabed",
    "heading": "headings",
    "pitch": "pitch",
    "roll": "roll",
    "mode": "how a vehicle was run",
    "leg": "legs of the dive",
    "notes": "annotations and targets",
    "stills": "stills",
}


def released_report(recording: Recording, signed: bool) -> Report:
    """Return the report. `signed`: every record's signature was checked with the key that the recording names."""
    dive = dive_told(recording)
    header, number_ = dive.header, recording.records[0].dive
    audience = header["audience"]
    exact = header["place"] == "exact"
    mark = f"RELEASED to {audience}, {_late(dive)} late"
    if exact:
        mark += ": HOLDS EXACT POSITIONS"
    sections = [
        Section("The dive", facts=tuple(_facts(dive))),
        Section("What isn't shown", says=tuple(_withheld(dive))),
        *_profile(dive),
        *_plan(dive),
        *_vehicles(dive, figures(recording.records)),
        *_legs(dive),
        *_targets(dive),
        Section("Whose it is", facts=tuple(_seals(dive, signed))),
        *_log(dive),
        *_stills(dive),
    ]
    made_of = f"Made of the recording alone, of {len(recording.records)} released records; nothing exact went into it."
    return Report(f"{header['expedition']}: dive {number_}", mark, exact, tuple(_meaning(dive)), sections, made_of)


def _late(dive: DiveTold) -> str:
    least_s, most_s = dive.header["delay_s"]
    if most_s == 0:
        return "not"
    low, high = duration(least_s, EN), duration(most_s, EN)
    return low if low == high else f"{low} to {high}"


def _meaning(dive: DiveTold) -> Iterator[str]:
    """Yield what a reader has to know first."""
    if dive.header["place"] == "exact":
        yield "This audience is told exact positions: hand this page to those alone who may know the place."
    else:
        yield "The released version: what this audience was given, late, coarse and without a place, on purpose."
    yield "Times are dive time, from the first record on. The exact record is kept on the ship."
    if not dive.recording.closed:
        yield "The dive goes on, or the end of the recording is missing: this is what there is so far."


def _facts(dive: DiveTold) -> Iterator[tuple[str, str]]:
    header, recording = dive.header, dive.recording
    yield "Expedition", header["expedition"]
    yield "Dive", str(recording.records[0].dive)
    yield "Released to", header["audience"]
    yield "Length", clock(dive.length_s)
    yield "Its end", "recorded" if recording.records[-1].kind == Kind.END else "not in this recording"
    yield "Vehicles", ", ".join(header["vehicles"])
    yield "Delay", _late(dive)
    yield "One record each", duration(header["tick_s"], EN)
    if header.get("area"):
        yield "Declared area", header["area"]
    for name, key in (("Positions in cells of", "cell_m"), ("Depths in steps of", "depth_step_m")):
        if header.get(key) is not None:
            yield name, metres(header[key])
    if header.get("heading_step_deg") is not None:
        yield "Headings in steps of", f"{header['heading_step_deg']}°"
    if header.get("swath_m") is not None:
        yield "Width seen along a track", metres(header["swath_m"])


def _withheld(dive: DiveTold) -> Iterator[str]:
    """Yield what this audience wasn't given."""
    header = dive.header
    if header["place"] != "exact":
        yield (
            "Where on Earth this was: positions are metres right and up in a frame that is shifted and turned by a "
            "secret of the ship. Up is not north; headings are turned with it."
        )
    yield "Date and time of day."
    left = [words for name, words in _FIELDS.items() if name not in header["fields"]]
    if left:
        yield f"Not told at all: {', '.join(left)}."
    if header["depth"] == "relative":
        yield "How deep the seabed is: depths are told at the bottom alone, from where it was first reached."
    yield "Whatever the ship cut, hid or kept back before it left: nothing here tells that she did."


def _span_m(dive: DiveTold) -> str:
    return "Metres from where the bottom was first reached." if dive.header["depth"] == "relative" else ""


def _profile(dive: DiveTold) -> Iterator[Section]:
    drawn = _drawn(dive)
    if any(vehicle.depths for vehicle in drawn):
        deepest = max(vehicle.deepest_m or 0.0 for vehicle in dive.vehicles)
        said = f"Depth over {clock(dive.length_s)} of dive time, down to {metres(deepest)}; the tables below tell it."
        more = f"The numbers are those of the log. {_span_m(dive)}"
        yield Section("Depth profile", drawings=[profile_of(drawn, _marks(dive), dive.length_s, said, more)])


def _plan(dive: DiveTold) -> Iterator[Section]:
    said = "Tracks on a plan in metres; up is not north. The log tells where each annotation was made."
    if (
        plan := plan_of(_drawn(dive), _marks(dive), said, "Up is not north. The numbers are those of the log.")
    ) is None:
        yield Section("Plan", says=[EN.no_track])
    else:
        yield Section("Plan", drawings=[plan])


def _drawn(dive: DiveTold) -> list[Drawn]:
    return [Drawn(vehicle.name, vehicle.depths, vehicle.track) for vehicle in dive.vehicles]


def _marks(dive: DiveTold) -> list[Mark]:
    return [Mark(at, said.at_s, said.place) for at, said in enumerate(dive.said, 1)]


def _vehicles(dive: DiveTold, told: Figures) -> Iterator[Section]:
    columns = ("Vehicle", "At the bottom", "Way on the plan", "Deepest", "Ticks heard", "Ticks with a position")
    rows = [
        (
            vehicle.name,
            "" if of.bottom_s is None else clock(of.bottom_s),
            "" if of.distance_m is None else length(of.distance_m, EN),
            "" if vehicle.deepest_m is None else metres(vehicle.deepest_m),
            _share(vehicle.heard, vehicle.ticks),
            _share(vehicle.placed, vehicle.ticks),
        )
        for vehicle, of in zip(dive.vehicles, told.vehicles, strict=True)
    ]
    says = ["Worked out from what was released alone, so as coarse as that."]
    if told.area_m2 is not None:
        says.append(f"Ground covered, all vehicles together: {area(told.area_m2, EN)}.")
    yield Section("Vehicles", says, table=Table(columns, rows, frozenset(range(1, 6))))


def _share(part: int, whole: int) -> str:
    return f"{number(part, EN)} of {number(whole, EN)}"


def _legs(dive: DiveTold) -> Iterator[Section]:
    rows = [
        (vehicle.name, EN.legs.get(leg.what, leg.what), *_times(leg), "" if leg.most_m is None else metres(leg.most_m))
        for vehicle in dive.vehicles
        for leg in vehicle.legs
    ]
    if rows:
        columns = ("Vehicle", "Leg", "From", "To", "Lasted", "Deepest")
        yield Section("Legs", table=Table(columns, rows, frozenset(range(2, 6))))


def _times(span: Span) -> tuple[str, str, str]:
    return clock(span.from_s), clock(span.to_s), clock(span.to_s - span.from_s)


def _targets(dive: DiveTold) -> Iterator[Section]:
    """Yield the targets with their last verdict, in the order in which they were first told."""
    first: dict[str, Said] = {}
    last: dict[str, Said] = {}
    for said in dive.said:
        if said.kind == Kind.TARGET:
            first.setdefault(said.text, said)
            last[said.text] = said
    rows = [
        (name, _verdict(last[name]), said.vehicle or "", clock(said.at_s), clock(last[name].at_s), _place(said))
        for name, said in first.items()
    ]
    if rows:
        columns = ("Target", "Verdict", "Vehicle", "First told", "Last told", "Where first told")
        says = ["Where the vehicle was shown when the target was first told: not where the target lies."]
        yield Section("Targets", says, table=Table(columns, rows, frozenset((3, 4))))


def _verdict(said: Said) -> str:
    verdict: str = said.record.body[2]
    return EN.verdicts.get(verdict, verdict)


def _place(said: Said) -> str:
    if said.exact is not None:
        return f"{said.exact[0]:.7f}°, {said.exact[1]:.7f}°"
    if said.place is None:
        return ""
    return f"{said.place[0]:,g} m right, {said.place[1]:,g} m up".replace("-", "−")


def _log(dive: DiveTold) -> Iterator[Section]:
    """Yield everything that happened, in the order of time; what was said is numbered as on the drawings."""
    lines = [(said.at_s, _spoken(at, said)) for at, said in enumerate(dive.said, 1)]
    lines += [(at_s, ("", clock(at_s), who, what, "")) for at_s, who, what in _happened(dive)]
    rows = [row for _, row in sorted(lines, key=lambda line: line[0])]
    if rows:
        columns = ("No.", "Dive time", "Vehicle", "What", "Where it was shown")
        yield Section("Log", table=Table(columns, rows, frozenset((0, 1)), labelled=False))


def _spoken(at: int, said: Said) -> tuple[str, ...]:
    what = said.text
    if said.kind == Kind.TARGET:
        what = f"Target {said.text}: {_verdict(said)}"
    elif said.kind == Kind.STILL:
        what = f"{said.text} (with a still)"
    return str(at), clock(said.at_s), said.vehicle or "", what, _place(said)


def _happened(dive: DiveTold) -> Iterator[tuple[float, str, str]]:
    """Yield moment, vehicle and words of what the records show without saying it."""
    yield 0.0, "", "The dive begins."
    for vehicle in dive.vehicles:
        yield from _of_vehicle(vehicle)
    for span in dive.left_out:
        yield span.from_s, "", f"Nothing is shown until {clock(span.to_s)}."
    if dive.recording.records[-1].kind == Kind.END:
        yield dive.length_s, "", "The dive ends."


def _of_vehicle(vehicle: VehicleTold) -> Iterator[tuple[float, str, str]]:
    for leg in vehicle.legs:
        yield leg.from_s, vehicle.name, f"{_capital(EN.legs.get(leg.what, leg.what))}."
    for mode in vehicle.modes[1:]:
        yield mode.from_s, vehicle.name, f"{_capital(EN.modes.get(mode.what, mode.what))}."
    for silence in vehicle.silences:
        yield silence.from_s, vehicle.name, f"No report until {clock(silence.to_s)}."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _stills(dive: DiveTold) -> Iterator[Section]:
    pictures = [
        jpeg_picture(said.record.body[4], said.record.body[2], said.record.body[3], f"{at}: {said.text}")
        for at, said in enumerate(dive.said, 1)
        if said.kind == Kind.STILL
    ]
    if pictures:
        yield Section("Stills", says=["The numbers are those of the log."], pictures=pictures)


def _seals(dive: DiveTold, signed: bool) -> Iterator[tuple[str, str]]:
    recording = dive.recording
    if signed:
        yield "Signed with the key", dive.header["key"]
        yield "Checked", "every record, with the key that the recording names itself"
        yield "Is that the ship's key?", "ask: offing verify RECORDING --key KEY, with the key that she gave you"
    else:
        yield "Signed", "no: nobody can check that it is the ship's"
    digest = sha256()
    for record in recording.records:
        digest.update(record.data)
    yield "SHA-256 of its records", digest.hexdigest()
    if dive.heads_s:
        said = f"{_seal_count(len(dive.heads_s))}, from {clock(dive.heads_s[0])} to {clock(dive.heads_s[-1])}"
        yield "Seals of her exact record", said


def _seal_count(count: int) -> str:
    return "1 seal" if count == 1 else f"{number(count, EN)} seals"
