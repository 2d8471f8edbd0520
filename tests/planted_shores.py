"""Leaks to plant ashore: what was never released, what nobody signed, who follows."""

from planting import leak

_SHORE, _LOGS, _SITE = "shell/shore/shore.py", "shell/shore/shore_logs.py", "shell/shore/shore_site.py"

SHORES = (
    leak(
        "an audience of the invited, on the shore's open page",
        "test_shore::test_audience_that_is_not_open_is_kept_and_is_nowhere_on_the_page",
        (_SITE, "        file.open,\n        site_folder(),", "        file.audiences,\n        site_folder(),"),
        (_SITE, "        invited=file.invited,\n", ""),
    ),
    leak(
        "whatever anybody who reaches the shore says was released: signatures not looked at",
        "test_shore::test_nothing_unsigned_is_kept_or_shown",
        (_LOGS, "if not is_sealed(self._key, self.audience, record.data):", "if False:"),
    ),
    leak(
        "records that the shore couldn't keep, and may have to take back",
        "test_shore::test_full_disk_shows_nothing_until_there_is_room",
        (
            _SHORE,
            "                self._say_fault(str(error))\n",
            "                [self.publish(audience, frame) for frame in frames]\n",
        ),
    ),
    leak(
        "where a follower comes from: an address in the shore's log",
        "test_shore::test_log_tells_nothing_of_a_follower",
        ("shell/site/gate.py", "import asyncio\n", "import asyncio\nimport logging\n"),
        (
            "shell/site/gate.py",
            '        """Count a new connection; False, and nothing counted, where there is no room."""\n',
            '        """Count a new connection."""\n        logging.getLogger("offing.site").info("%s", address)\n',
        ),
    ),
    leak(
        "what a peer sent, in the words of an exception in the log",
        "test_log_lines::test_exception_is_told_by_kind_and_place_alone",
        (
            "shell/shore/log_lines.py",
            'line["raised"] = type(record.exc_info[1]).__name__',
            'line["raised"] = repr(record.exc_info[1])',
        ),
    ),
    leak(
        "an answer to anything on the port that is there to ask how a shore is",
        "test_watch::test_watch_tells_that_it_lives_and_when_it_is_ready",
        (
            "shell/shore/watch.py",
            "        return error_response(HTTPStatus.NOT_FOUND)\n",
            "        return _said(HTTPStatus.OK, path)\n",
        ),
    ),
)
