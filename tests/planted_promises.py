"""Leaks to plant: what a promise keeps in, and what is worked out ahead, and the tests that must then fail."""

from planting import leak

_PROMISES, _FORESIGHT = "shell/ship/promises.py", "shell/ship/foresight.py"

PROMISES = (
    leak(
        "what no round of the audit has seen, while rounds fail",
        "test_promises::test_nothing_leaves_that_no_round_has_seen",
        (_PROMISES, "return tick_us <= self._standings[channel.policy.audience].kept_us", "return True"),
    ),
    leak(
        "what was judged before a place was hidden, until a round has seen that",
        "test_promise_changes::test_what_was_judged_before_a_change_stays_in_until_a_round_has_ended[zone]",
        (_PROMISES, "(0, -1), min(standing.kept_us, from_us - 1)", "(0, -1), standing.kept_us"),
    ),
    leak(
        "that something still hidden would break a promise, by a hold before its moment",
        "test_promises::test_hold_comes_when_the_tick_is_due_and_no_sooner",
        (_PROMISES, "return breaks_us is not None and now_us >= breaks_us", "return breaks_us is not None"),
    ),
    leak(
        "what breaks a promise, once somebody resumes an audience that was held",
        "test_foresight::test_hold_hides_nothing_of_what_a_resume_would_let_out",
        (_FORESIGHT, "(moment_us := _lifted(channel).next_us())", "(moment_us := channel.next_us())"),
    ),
    leak(
        "what breaks a promise, where what comes in later mends it",
        "test_foresight::test_area_that_dips_and_grows_again_is_broken_where_it_dips",
        (_FORESIGHT, "measure.km2(end) < promise_km2:", "max(measure.km2(end), ahead_km2) < promise_km2:"),
    ),
    leak(
        "that something still hidden makes rounds fail, by what is older staying in",
        "test_promise_rounds::test_what_came_in_lately_changes_neither_what_leaves_nor_when[takes2-True-False]",
        (_PROMISES, "upto_us = min(upto_us, self._base_us() + self._step_us)", "pass"),
    ),
    leak(
        "what is about to leave, as a file in the folder that is published",
        "test_foresight_run::test_ship_is_told_what_is_left_by_the_real_process",
        (
            "shell/ship/foresight_run.py",
            "    found = foresee(pipeline, rows, job.upto_us)\n",
            (
                "    found = foresee(pipeline, rows, job.upto_us)\n    job.released.mkdir(exist_ok=True)\n"
                '    (job.released / "ahead").write_bytes(b"".join(one.record.data for one in found["public"]))\n'
            ),
        ),
    ),
    leak(
        "what a policy gives away that was changed after its audit",
        "test_audit_result::test_changed_file_shuts_the_gate",
        (
            "shell/ship/audit_result.py",
            "if kept.policy != policy_digest(",
            "if False and kept.policy != policy_digest(",
        ),
    ),
)
