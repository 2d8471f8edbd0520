"""Leaks to plant: each a defence taken out of a copy of `relay/`, and the test that must then fail."""

from planted_desk import DESK
from planted_guests import GUESTS
from planted_heads import HEADS
from planted_links import LINKS
from planted_programmes import PROGRAMMES
from planted_promises import PROMISES
from planted_seals import SEALS
from planted_served import SERVED
from planted_shores import SHORES
from planted_stills import STILLS
from planted_streams import STREAMS
from planting import Leak, leak

_DISCLOSURE, _CHANNEL, _RELEASE = "core/disclosure.py", "core/channel.py", "core/release.py"
_ROW_END = ("        report.roll_deg,\n    ]", "        report.roll_deg,\n        report.total,\n    ]")
_TOTAL = (
    (_DISCLOSURE, "    heard: bool\n", "    heard: bool\n    total: float = 0.0\n"),
    (_RELEASE, *_ROW_END),
)

LATE = (
    leak(
        "input received after the embargo's edge, instead of before it",
        "test_embargo::test_embargo_gives_each_audience_everything_once_in_order_and_nothing_early",
        ("core/embargo.py", "self._held[position].embargo_us <= upto_us", "self._held[position].embargo_us >= upto_us"),
    ),
    leak(
        "whatever the vehicle's own clock calls old",
        "test_pipeline::test_own_clock_of_the_vehicle_changes_nothing",
        (
            "core/pipeline.py",
            "stamped = Stamped(row.embargo_us, row.seq,",
            "stamped = Stamped(min(row.embargo_us, round(event.observation.clock_s or 1e9)), row.seq,",
        ),
    ),
    leak(
        "which of two reports is newer by the vehicle's own clock, instead of the one that came last",
        "test_pipeline::test_own_clock_of_the_vehicle_changes_nothing",
        (_CHANNEL, "Fuse(len(self._plan.vehicles))", "Fuse(len(self._plan.vehicles), by_own_clock=True)"),
    ),
    leak(
        "everything, once the ship's wall clock is set forward",
        "test_clock::test_clock_never_goes_back_or_ahead_of_the_time_that_passed",
        (
            "shell/record/clock.py",
            "self._source.boot_us() + self.mark.offset_us)",
            "round(self._source.wall_s() * 1e6))",
        ),
    ),
    leak(
        "the downtime of a reboot, which nobody can prove",
        "test_clock::test_clock_counts_downtime_across_a_reboot_as_zero",
        ("shell/record/clock.py", "if mark is not None and mark.boot_id == source.boot_id():", "if mark is not None:"),
    ),
    leak(
        "that a dive begins, when it begins",
        "test_channel::test_lag_is_the_delay_and_a_secret_whole_number_of_ticks",
        (
            _CHANNEL,
            "(0 if tick_us <= self._early_us else self._lag_us)",
            "(0 if tick_us <= self._early_us or self._dive is None else self._lag_us)",
        ),
    ),
    leak(
        "the exact delay: the secret addition left out",
        "test_channel::test_secret_addition_is_in_the_lag_of_every_dive",
        (_CHANNEL, "self._grid(self.policy.delay_us) + extra * tick", "self._grid(self.policy.delay_us)"),
    ),
    leak(
        "when a report came, within the tick: sent as soon as it may, off the grid",
        "test_channel::test_records_leave_on_a_fixed_grid_whatever_arrives",
        (_CHANNEL, "return -(-moment_us // tick) * tick", "return moment_us"),
    ),
    leak(
        "that nothing is being received: no record where there was no report",
        "test_channel::test_silence_within_a_dive_is_a_record_that_says_so",
        (_CHANNEL, "for disclosure, state in pairs])]", "for disclosure, state in pairs])] if arrived else []"),
    ),
    leak(
        "how many reports are held back: a count in dives.json",
        "test_pages::test_dive_list_is_that_of_the_contract",
        ("core/embargo.py", "class Embargo:\n", "HELD = [0]\n\n\nclass Embargo:\n"),
        (
            "core/embargo.py",
            "        self._held.append(stamped)\n",
            "        self._held.append(stamped)\n        HELD[0] += 1\n",
        ),
        (
            "shell/site/public_files.py",
            "from relay.core.history import Dive, History\n",
            "from relay.core.embargo import HELD\nfrom relay.core.history import Dive, History\n",
        ),
        ("shell/site/public_files.py", 'listed = {"format": 1,', 'listed = {"format": 1, "held": HELD[0],'),
    ),
    leak(
        "the moment the dive began, in its first record",
        "test_pipeline::test_when_a_dive_is_changes_nothing_but_the_moments",
        (
            _RELEASE,
            '"format": FORMAT,',
            '"format": FORMAT,\n            "begun_us": self._begun_us,',
        ),
    ),
    leak(
        "a wall clock on every answer: the Date header",
        "test_answers::test_every_answer_carries_the_same_headers_and_no_clock",
        ("shell/site/conversation.py", 'for name in ("Date", "Server"):', 'for name in ("Server",):'),
    ),
)

PLACED = (
    leak(
        "metres from the first fix: a frame without its secret move",
        "test_geodesy::test_site_frame_is_turned_and_moved_by_its_secrets",
        ("core/geodesy.py", "self._shift = secrets.shift_m", "self._shift = (0.0, 0.0)"),
    ),
    leak(
        "which way is north: a frame without its secret turn",
        "test_geodesy::test_site_frame_is_turned_and_moved_by_its_secrets",
        ("core/geodesy.py", "self._turn_deg = secrets.turn_deg", "self._turn_deg = 0.0"),
    ),
    leak(
        "metres from a point anyone can guess: the nearest whole degrees",
        "test_pipeline::test_nothing_placed_wherever_the_dive_is",
        (
            "core/geodesy.py",
            "return Anchor(before[0], before[1], embargo_us)",
            "return Anchor(round(before[0]), round(before[1]), embargo_us)",
        ),
    ),
    leak(
        "which way is north: heading from true north beside a turned track",
        "test_disclosure::test_report_is_coarse_and_in_the_turned_frame",
        (_DISCLOSURE, "turned = (heading_deg + placed.heading_turn_deg) % 360.0", "turned = heading_deg"),
    ),
    leak(
        "how far it is from the pole: heading turned by one angle everywhere, as no meridian is",
        "test_geodesy::test_site_frame_is_the_same_wherever_the_site_lies",
        ("core/geodesy.py", "(convergence + self._turn_deg) % 360.0", "self._turn_deg"),
    ),
    leak(
        "a place another audience's input made, before this one may know it",
        "test_channel::test_anchor_is_not_used_before_the_audience_may_know_it",
        (
            _CHANNEL,
            "class Channel:\n",
            (
                "_SHARED = []\n_shared = lambda anchor: "
                "_SHARED.append(anchor) or next(filter(None, _SHARED), None)\n\n\nclass Channel:\n"
            ),
        ),
        (_CHANNEL, "self._anchor = self._seeker.offer(", "self._anchor = _shared(self._seeker.offer("),
        (_CHANNEL, "fix.longitude_deg, stamped.embargo_us)", "fix.longitude_deg, stamped.embargo_us))"),
        (
            _CHANNEL,
            "        if self._frame is None:\n",
            "        self._anchor = _shared(self._anchor)\n        if self._frame is None:\n",
        ),
    ),
    leak(
        "exact positions, behind every row",
        "test_pipeline::test_nothing_placed_wherever_the_dive_is",
        (_RELEASE, "exact = self._policy.place is Place.EXACT", "exact = True"),
        (_DISCLOSURE, "if self._policy.place is not Place.EXACT or not", "if not"),
    ),
    leak(
        "a place in an annotation: nobody reads them first",
        "test_channel::test_annotations_that_tell_a_place_never_leave",
        ("core/sayable.py", "if not policy.check_text:", "if policy:"),
    ),
    leak(
        "the centre of a hidden zone: a circle about the hole is the zone's",
        "test_area::test_hidden_disc_does_not_point_at_its_zone",
        ("core/area.py", 'reach = zone.margin_m * sqrt(secrets.unit(f"zone reach {zone.name}"))', "reach = 0.0"),
    ),
    leak(
        "where within its cell a vehicle crosses the edge of a zone",
        "test_track::test_zone_is_judged_on_the_published_cell",
        ("core/track.py", "if zone.covers(*cell)]", "if zone.covers(east_m, north_m)]"),
    ),
    leak(
        "that, and where, a vehicle is outside the declared area",
        "test_channel::test_outside_the_declared_area_nothing_leaves_until_resumed",
        ("core/area.py", "position) <= self.radius_m", "position) <= 9 * self.radius_m"),
    ),
    leak(
        "a place of which two stations tell two things",
        "test_stations::test_contradicting_stations_stop_the_place_from_being_released",
        ("core/fuse.py", 'None if self.in_doubt and name == "position" else self', "self"),
    ),
    leak(
        "which station counts, as what is still under the embargo will decide it",
        "test_stations::test_which_station_counts_is_decided_by_what_has_been_let_through",
        (
            "core/channel.py",
            "counts = self._stations.sift(arrived[:end])",
            "counts = self._stations.sift([*arrived[:end], *list(self._embargo._held)[-1:]])",
        ),
    ),
)

FINE = (
    leak(
        "positions finer than a cell: no hysteresis",
        "test_quantise::test_step_at_its_edge_and_past_it",
        ("core/quantise.py", "> (0.5 + SLACK) * self._size", "> 0.5 * self._size"),
    ),
    leak(
        "the altitude in metres instead of words",
        "test_coarseness::test_nothing_finer_than_the_steps_is_released",
        (_DISCLOSURE, "altitude=word if", "altitude=altitude_m if"),
    ),
    leak(
        "the altitude, though the policy doesn't name it",
        "test_disclosure::test_report_discloses_only_what_the_policy_names",
        (_DISCLOSURE, "altitude=word if self._names(Disclosed.ALTITUDE) else None,", "altitude=word,"),
    ),
    leak(
        "the depth in centimetres instead of steps",
        "test_coarseness::test_nothing_finer_than_the_steps_is_released",
        (_DISCLOSURE, "depth_m=depth_shown_m if", "depth_m=depth_m if"),
    ),
    leak(
        "an odometer of the exact way, in every row",
        "test_coarseness::test_nothing_finer_than_the_steps_is_released",
        *_TOTAL,
        (
            _DISCLOSURE,
            "        self.legs = LegWatch(plan.legs)\n",
            "        self.legs = LegWatch(plan.legs)\n        self._ran, self._at = 0.0, None\n",
        ),
        (
            _DISCLOSURE,
            "        placed = ground.frame.place(*position)\n",
            (
                "        placed = ground.frame.place(*position)\n        at = complex(placed.east_m, placed.north_m)\n"
                "        self._ran, self._at = self._ran + abs(at - (self._at or at)), at\n"
            ),
        ),
        (_DISCLOSURE, "            heard=True,\n", "            heard=True,\n            total=self._ran,\n"),
    ),
    leak(
        "how far it went where no track is shown: cells counted on every leg",
        "test_coarseness::test_hidden_legs_leave_nothing_in_what_is_released",
        *_TOTAL,
        (
            "core/track.py",
            "        self._started = False\n",
            "        self._started = False\n        self.cells: list[object] = [None]\n",
        ),
        (
            "core/track.py",
            "self._north.quantise(north_m)\n",
            "self._north.quantise(north_m)\n        self.cells += [cell] if cell != self.cells[-1] else []\n",
        ),
        (
            _DISCLOSURE,
            "            heard=True,\n",
            "            heard=True,\n            total=len(self._track.cells),\n",
        ),
    ),
    leak(
        "the way through what is withheld: a heading without a track",
        "test_coarseness::test_hidden_legs_leave_nothing_in_what_is_released",
        (_DISCLOSURE, "if heading_deg is None or not shown.moving:", "if heading_deg is None:"),
    ),
    leak(
        "what was true long ago: stale values",
        "test_disclosure::test_report_leaves_out_what_is_stale_or_not_placed",
        (
            _DISCLOSURE,
            "heard = state.heard_us is not None and at_us - state.heard_us <= self._policy.stale_us",
            "heard = state.heard_us is not None",
        ),
    ),
    leak(
        "which values are there, by the length of a record",
        "test_wire::test_encoder_still_gives_the_pinned_vectors",
        (
            "core/wire.py",
            "    pad = _blocks(max(least, len(bare) + 2) + SIGNATURE_OCTETS) - len(bare) - 2\n",
            "    pad = SIGNATURE_OCTETS\n",
        ),
    ),
)

DOORS = (
    leak(
        "the records of a closed audience",
        "test_running::test_site_has_the_open_audiences_alone",
        ("shell/ship/running.py", "[name for name in names if name in expedition.open_audiences]", "names"),
    ),
    leak(
        "how much another audience is sent: numbers counted over all of them",
        "test_channel::test_audiences_number_their_dives_and_records_apart",
        (_RELEASE, "_KEY = object()\n", "_KEY = object()\n_NUMBERS = iter(range(10**9))\n"),
        (_RELEASE, "seq, self._seq = self._seq, self._seq + 1", "seq = next(_NUMBERS)"),
    ),
    leak(
        "an error page that says the request back",
        "test_pages::test_anything_else_is_not_there",
        (
            "shell/site/pages.py",
            "return error_response(HTTPStatus.NOT_FOUND) if found is None",
            "return web.Response(status=404, text=path) if found is None",
        ),
    ),
    leak(
        "an error page that quotes the fault",
        "test_conversation::test_fault_of_ours_is_a_constant_answer",
        (
            "shell/site/conversation.py",
            "            return error_response(HTTPStatus.INTERNAL_SERVER_ERROR)\n",
            "            return web.Response(status=500, text=str(exc))\n",
        ),
    ),
    leak(
        "the bytes of a rejected report, as the reason it is counted under",
        "test_pipeline::test_tallies_count_every_frame_once",
        (
            "core/pipeline.py",
            'Rejected(event.raw, "vehicle not in the expedition file")',
            "Rejected(event.raw, repr(event.raw))",
        ),
    ),
    leak(
        "the words of a fault, positions and all, in the log",
        "test_ship::test_fault_that_quotes_a_position_is_told_by_its_kind_alone",
        (
            "shell/ship/ship.py",
            """self._stop(f"a fault of Offing's own ({type(error).__name__})")""",
            "self._stop(str(error))",
        ),
    ),
    leak(
        "where a vehicle is outside the declared area, in an alarm and so in the log",
        "test_ship::test_alarms_name_vehicles_and_no_place",
        (
            "core/pipeline.py",
            "return [name for name, fix in pairs",
            'return [f"{name} at {fix}" for name, fix in pairs',
        ),
    ),
    leak(
        "the key, wherever its holder is printed",
        "test_secrets::test_key_has_32_bytes_and_is_not_in_the_repr",
        (
            "core/secrets.py",
            "@dataclass(frozen=True, slots=True, repr=False)\nclass Secrets:",
            "@dataclass(frozen=True, slots=True)\nclass Secrets:",
        ),
    ),
    leak(
        "what a vehicle's own log tells, once it is imported: logs read as input when the relay starts again",
        "test_import_changes_nothing::test_ship_that_is_killed_and_started_sends_the_same_with_and_without_imports",
        (
            "shell/ship/ship.py",
            "class _Sink:\n",
            (
                "def _with_logs(file, first):\n    from relay.shell.record.recovered import recovered_logs\n\n"
                "    rows = list(file.rows(first))\n    yield from rows\n"
                "    for log in recovered_logs(file.path.parent) if rows else ():\n"
                "        yield Row(rows[-1].seq, rows[-1].embargo_us, 0.0, log.source.name, RowKind.WHOLE, log.data)\n"
                "\n\nclass _Sink:\n"
            ),
        ),
        (
            "shell/ship/ship.py",
            "in self._file.rows(self.pipeline.record_row):",
            "in _with_logs(self._file, self.pipeline.record_row):",
        ),
    ),
    leak(
        "anything at all: the wire takes what the release log didn't make",
        "test_wire::test_released_record_can_not_be_made_elsewhere",
        (_RELEASE, "if self.minted is not _KEY:", "if self.minted is None and self.seq < 0:"),
    ),
)

LEAKS = (
    *LATE, *PLACED, *FINE, *DOORS, *STILLS, *DESK, *SERVED, *PROGRAMMES, *SEALS, *LINKS, *SHORES, *GUESTS, *STREAMS,
    *PROMISES, *HEADS,
)  # fmt: skip


def table(leaks: tuple[Leak, ...] = LEAKS) -> str:
    """Return the list as a table of Markdown."""
    rows = [f"| {each.name} | `{each.test.removeprefix('tests/')}` |" for each in leaks]
    return "\n".join(["| planted leak: an outsider would get | caught by |", "| --- | --- |", *rows])
