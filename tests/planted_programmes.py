"""Leaks to plant about the programme for followers: see `planted_leaks.py`."""

from planting import leak

_CHANNEL, _BOARD = "core/channel.py", "core/programme_board.py"

PROGRAMMES = (
    leak(
        "a step of the countdown when it comes on the ship, without the delay",
        "test_programme_board::test_countdown_goes_by_steps_to_soon",
        (
            _CHANNEL,
            "return None if halted or step_us is None or self._waits_behind(step_us) else step_us",
            "return None if halted or step_us is None else step_us - self._lag_us",
        ),
    ),
    leak(
        "how much two secret additions differ: steps with that of the dive that runs, not that of their programme",
        "test_programme_board::test_steps_of_a_countdown_tell_no_secret_addition",
        (
            _CHANNEL,
            "return None if halted or step_us is None or self._waits_behind(step_us) else step_us",
            "return None if halted or step_us is None else step_us + self._lag_us - self.LAGS",
        ),
        (
            _CHANNEL,
            "        self._lag_us = self._lag()\n        self._held = False\n",
            "        self._lag_us = self.LAGS = self._lag()\n        self._held = False\n",
        ),
    ),
    leak(
        "the secret addition, by the steps of a programme that was released early",
        "test_programme_board::test_steps_of_a_programme_that_was_released_early_tell_no_secret_addition",
        (_CHANNEL, "(self._longest_lag() if at_us", "(self._lag_us if at_us"),
    ),
    leak(
        "a step of the countdown that a hold kept in, after a restart",
        "test_programme_board::test_hold_keeps_the_steps_in_that_had_not_left_when_it_was_taken",
        (
            _CHANNEL,
            "return None if halted or step_us is None or self._waits_behind(step_us) else step_us",
            "return step_us",
        ),
    ),
    leak(
        "how long it is until the next dive, to the second",
        "test_programme_board::test_countdown_tells_nothing_that_its_first_step_did_not",
        (
            _BOARD,
            "about_s = None if in_s is None else coarse_s(in_s, self._policy.extra_us)",
            "about_s = in_s",
        ),
    ),
    leak(
        "that a dive begins, when it begins: the countdown stops at once",
        "test_programme_board::test_nothing_of_the_programme_depends_on_what_came_within_the_delay",
        (
            "core/pipeline.py",
            "        self.present.take(told)\n",
            "        self.present.take(told)\n        [each.board.begun(10**9) for each in self.channels]\n",
        ),
    ),
    leak(
        "when it is at the ship: a programme's words not looked through for times, dates, sun and tide",
        "test_programme_board::test_words_that_tell_a_place_or_a_time_leave_for_nobody_checked",
        ("core/sayable.py", "times = policy.check_text and any(map(find_times, programme.texts))", "times = False"),
    ),
    leak(
        "when it is at the ship, as a schedule aboard is written: four figures",
        "test_time_in_text::test_what_tells_when_it_is_at_the_ship_is_found",
        (
            "core/time_in_text.py",
            "for pattern, but in ((_FIGURES, _YEAR), (_HOURS, _HOW_LONG)):",
            "for pattern, but in ():",
        ),
    ),
    leak(
        "what is to come, though the policy doesn't name annotations",
        "test_programme_board::test_audience_without_annotations_is_told_no_programme",
        (_CHANNEL, "told = [NO_PROGRAMME for _ in told]", "told = list(told)"),
    ),
    leak(
        "what is to come, again after a start whose policy no longer names annotations",
        "test_programme_board::test_programme_is_not_put_up_again_where_annotations_were_taken_away",
        (_BOARD, "self.may_be_told = Disclosed.NOTES in policy.fields", "self.may_be_told = True"),
    ),
    leak(
        "what is to come of another audience, under one's own path",
        "test_public_files::test_programme_is_each_audiences_own_and_there_before_anything_was_told",
        (
            "shell/site/public_files.py",
            "        if name == PROGRAMME:\n",
            "        if name == PROGRAMME:\n            history = list(self._histories.values())[-1]\n",
        ),
    ),
)
