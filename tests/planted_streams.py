"""Leaks to plant where relays are several: on the stream between machines, and among the processes of one."""

from planting import leak

STREAMS = (
    leak(
        "whatever anybody who reaches the stream says was released: signatures not looked at",
        "test_stream_in::test_stream_that_lies_is_not_believed",
        ("core/stream_order.py", "    if not _is_sealed(key, history.audience, data):", "    if False:"),
    ),
    leak(
        "what was released to one audience, under the name of another on the stream",
        "test_stream_order::test_frame_for_another_audience_is_not_taken",
        ("core/stream_order.py", "    if not _is_sealed(key, history.audience, data):", "    if False:"),
    ),
    leak(
        "how many guests follow, counted among the public's followers by the workers",
        "test_workers::test_public_count_leaves_out_who_is_invited",
        (
            "shell/shore/workers.py",
            "for viewers in others for name in self._file.open)",
            "for viewers in others for name in viewers)",
        ),
    ),
)
