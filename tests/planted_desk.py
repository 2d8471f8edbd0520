"""Leaks to plant: what is told from the desk for the ship alone, or hides, and the tests that must then fail."""

from planting import leak

_PIPELINE = "core/pipeline.py"
_STAYS, _ZONES = "test_what_stays_on_the_ship", "test_zones_of_the_desk"

DESK = (
    leak(
        "what a hold kept in, when another desk resumes that had not seen it",
        "test_desk_sense::test_resume_that_has_not_seen_the_newest_hold_is_refused",
        ("shell/desk/desk_sense.py", "if each.held_row > decision.seen]", "if each.held_row < 0]"),
    ),
    leak(
        "what a hold keeps in that isn't on the disk yet, when another desk resumes that had not seen it",
        "test_desk_sense::test_resume_that_has_not_seen_a_hold_on_its_way_to_the_disk_is_refused",
        (
            "core/channel.py",
            "        self._halts[row] = from_us, number\n        self.held_row = max(self.held_row, row)\n",
            "        self._halts[row] = from_us, number\n",
        ),
    ),
    leak(
        "that, and where, a vehicle left the declared area, by a resume that was meant for a hold",
        "test_declared_area_in_channel::test_resume_of_all_that_means_no_excursion_leaves_it_stopped",
        (_PIPELINE, "outside=decision.means_outside)", "outside=True)"),
    ),
    leak(
        "what a zone of the desk hid, as soon as it is lifted",
        f"{_ZONES}::test_lifted_zone_still_hides_what_was_received_before",
        (
            _PIPELINE,
            "self.embargo.hold(Stamped(row.embargo_us, row.seq, None, decision))",
            "[channel.hiding.lift(row.seq, decision.name) for channel in self.channels]",
        ),
    ),
    leak(
        "what lies in a zone of the desk, as if it had never been told",
        f"{_ZONES}::test_zone_hides_at_once_in_all_that_has_not_left",
        (
            "core/hiding.py",
            "            zones = (*self._of_file, *self._of_desk.values())\n",
            "            zones = self._of_file\n",
        ),
    ),
    leak(
        "what lies in a zone that was hidden anew, when an earlier one of its name is lifted",
        f"{_ZONES}::test_zone_told_again_is_not_lifted_by_what_was_told_before",
        ("core/hiding.py", "if at > row or zone.name != name", "if zone.name != name"),
    ),
    leak(
        "a place in a zone of the desk that freezes: the cell that was shown before it was laid",
        "test_zones_of_the_desk::test_freezing_zone_laid_where_the_vehicle_is_shown_tells_no_cell_in_it",
        ("core/track.py", "                self._held = None  # a", "                pass  # a"),
    ),
    leak(
        "the centre of a zone, by two margins under one name: its holes lie on a line with it",
        "test_desk_sense::test_zone_told_again_under_its_name_keeps_its_margin",
        (
            "shell/desk/desk_sense.py",
            "if told is not None and told.margin_m != decision.margin_m:",
            "if told is None is not None:",
        ),
    ),
    leak(
        "what lies in a zone of the desk, after a restart",
        "test_run_again::test_restart_that_is_not_told_of_what_still_counts_releases_nothing",
        (_PIPELINE, "tuple(sorted(hiding.union(self.desk.kept(row))))", "()"),
    ),
    leak(
        "an annotation that waits for approval",
        f"{_STAYS}::test_dismissed_say_is_never_told_even_if_it_is_approved_afterwards",
        (
            _PIPELINE,
            "elif not isinstance(decision, Private) and not (isinstance(decision, Say) and decision.wait):",
            "elif not isinstance(decision, Private):",
        ),
    ),
    leak(
        "an annotation that was approved, before its delay has passed",
        f"{_STAYS}::test_approved_say_leaves_as_if_it_had_been_said_then",
        (
            _PIPELINE,
            "self._tell(row, replace(approved, wait=False))",
            "self._tell(replace(row, embargo_us=row.embargo_us - 9_000_000), replace(approved, wait=False))",
        ),
    ),
    leak(
        "that an autonomous vehicle is back, by the end of its dive",
        f"{_STAYS}::test_expected_vehicle_comes_back_unseen",
        (_PIPELINE, "from relay.core.decision import (\n", "from relay.core.decision import (\n    Back,\n    End,\n"),
        (
            _PIPELINE,
            "        elif approved is not None:\n",
            (
                "        elif isinstance(decision, Back):\n            self._tell(row, End())\n"
                "        elif approved is not None:\n"
            ),
        ),
    ),
    leak(
        "range and bearing of a target, behind its name",
        f"{_STAYS}::test_sighting_changes_no_byte",
        (
            _PIPELINE,
            "decision = replace(decision, sighting=None)",
            'decision = replace(decision, sighting=None, name=f"{decision.name} {decision.sighting or str()}")',
        ),
    ),
    leak(
        "a find, by the name it has on board",
        f"{_STAYS}::test_find_changes_no_byte",
        (
            _PIPELINE,
            "        elif approved is not None:\n",
            (
                "        elif isinstance(decision, Find):\n"
                '            self._tell(row, Target(name=decision.name, verdict="unchecked"))\n'
                "        elif approved is not None:\n"
            ),
        ),
    ),
    leak(
        "where the ship is: her own feed among a vehicle's reports",
        f"{_STAYS}::test_ships_own_feed_is_known_to_the_desk_and_to_nothing_that_releases",
        (
            _PIPELINE,
            "self.ship.take(Stamped(row.embargo_us, row.seq, 0, event.observation, source.number))",
            "self.embargo.hold(Stamped(row.embargo_us, row.seq, 0, event.observation, source.number))",
        ),
    ),
)
