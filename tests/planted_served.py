"""Leaks to plant about what is served: the desk for others, a stop that isn't one, frames past their connection."""

from planting import leak

SERVED = (
    leak(
        "the desk, on the public port: its routes answered there, too",
        "test_desk_apart::test_no_route_of_the_desk_is_on_the_public_port",
        (
            "shell/ship/ship.py",
            "        await self.desk.start(self.deciding)\n",
            "        await self.desk.start(self.deciding)\n        self.site._pages.desk = self.desk.server\n",
        ),
        (
            "shell/site/pages.py",
            '        if request.method not in ("GET", "HEAD"):\n            return error_response',
            (
                '        if path in ("/state", "/stop"):\n            return await self.desk.answer(request)\n'
                '        if request.method not in ("GET", "HEAD"):\n            return error_response'
            ),
        ),
    ),
    leak(
        "everything exact, without the token: the desk doesn't ask for it",
        "test_desk::test_route_is_answered_to_the_token_alone",
        ("shell/desk/desk.py", 'if not self._doorkeeper.knows(request.headers.get("Authorization")):', "if False:"),
    ),
    leak(
        "everything exact, by a name that was made to point at the ship: the desk answers under any",
        "test_desk::test_host_must_be_the_desks_own_name",
        ("shell/desk/desk.py", "raise Refused(HTTPStatus.MISDIRECTED_REQUEST)", "pass"),
    ),
    leak(
        "decisions of another site's page, whose browser is on the ship's network",
        "test_desk::test_other_sites_page_is_refused_even_with_the_token",
        ("shell/desk/desk.py", "raise Refused(HTTPStatus.FORBIDDEN)", "pass"),
    ),
    leak(
        "a desk that listens to the world",
        "test_desk_address::test_any_other_address_stops_the_start",
        ("shell/plan/desk_address.py", "if not any(address.version", "if not address and any(address.version"),
    ),
    leak(
        "what was due before a stop but waited for the disk, after it",
        "test_stop_at_once::test_stop_acts_while_the_disk_is_stuck_and_when_it_comes_back",
        ("shell/desk/taking.py", "        self._pipeline.halt(self._journal.rows + 1, hold)\n", ""),
    ),
    leak(
        "what was kept in by a stop, after a restart",
        "test_stop_at_once::test_stop_acts_while_the_disk_is_stuck_and_when_it_comes_back",
        ("shell/ship/ship.py", "                self.pipeline.halt(row.seq, decision)\n", "                pass\n"),
    ),
    leak(
        "a guest's records in the clear, past the encryption of the guest's connection",
        "test_crowd::test_frames_of_a_secured_viewer_are_encrypted",
        ("shell/site/viewer.py", 'NO_LINE if transport.get_extra_info("sslcontext") is not None else raw', "raw"),
    ),
    leak(
        "records to whoever is given the number of a viewer's socket next",
        "test_viewer::test_number_of_a_socket_that_is_gone_is_written_to_no_more",
        (
            "shell/site/viewer.py",
            "        self.viewers -= 1\n        self.straight.pop(viewer.line, None)\n",
            "        self.viewers -= 1\n",
        ),
    ),
)
