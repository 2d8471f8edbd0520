"""Leaks to plant on the way of a still, from the camera's file to the audience that may have it."""

from planting import leak

_CHANNEL, _RELEASE, _STILL, _FILE = "core/channel.py", "core/release.py", "core/still.py", "shell/record/still_file.py"

STILLS = (
    leak(
        "a photograph as the camera wrote it, place and all",
        "test_still_file::test_each_carrier_of_a_place_is_found_before_and_gone_after",
        (_FILE, "return Still(_encoded(path, pixels), picture.digest)", "return Still(picture.data, picture.digest)"),
        (_STILL, "        jpeg_size(self.jpeg)\n        if not", "        if not"),
    ),
    leak(
        "metadata in a still that something else than `offing tell` made",
        "test_still::test_anything_but_plain_pixels_is_refused",
        (_STILL, "elif marker not in _TABLES and (marker != _SCAN or size is None):", "elif marker == 0xD9:"),
    ),
    leak(
        "what a sender hung behind a picture's end",
        "test_still::test_anything_but_plain_pixels_is_refused",
        (_STILL, "    if at + 2 != len(data):\n", "    if at + 2 > len(data):\n"),
    ),
    leak(
        "a still when it is told, not when it is due",
        "test_still::test_still_changes_nothing_before_its_delay",
        (
            _CHANNEL,
            "        for stamped in arrived:\n            said, vehicle",
            (
                "        early = [one for one in self._embargo.waiting() if getattr(one.said, 'still', None)]\n"
                "        for stamped in [*arrived, *early]:\n            said, vehicle"
            ),
        ),
    ),
    leak(
        "a still, though the audience's fields don't name stills",
        "test_still::test_still_is_released_where_it_is_named_and_its_words_alone_elsewhere",
        (_CHANNEL, "said.still is None or Disclosed.STILLS not in self.policy.fields or", "said.still is None or"),
    ),
    leak(
        "which original a still was made of: its digest, which whoever has that file can look for",
        "test_still::test_still_is_released_where_it_is_named_and_its_words_alone_elsewhere",
        (
            _RELEASE,
            "[vehicle, text, *still.size, still.jpeg]",
            "[vehicle, text, *still.size, still.jpeg, still.original]",
        ),
    ),
)
