"""Feeds: what brings the bytes of the control stations to the journal, and never a byte back (R6)."""

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence

from relay.shell.feeds.feed_datagram import DatagramFeed
from relay.shell.feeds.feed_intake import Counters, Feed, FeedLimits, FeedSetting, Sink
from relay.shell.feeds.feed_serial import SerialFeed
from relay.shell.feeds.feed_stream import DialledFeed, FileFeed, ListeningFeed
from relay.shell.feeds.feed_websocket import WebsocketDialledFeed, WebsocketListeningFeed
from relay.shell.plan.feed_url import FeedUrl, Transport, parse_feed_url, refuse_clashes

__all__ = ["Counters", "Feed", "FeedLimits", "FeedUrl", "Sink", "open_feed", "open_feeds", "parse_feed_url"]

_FEEDS: dict[Transport, type[Feed]] = {
    Transport.UDP: DatagramFeed,
    Transport.TCP: DialledFeed,
    Transport.TCP_LISTEN: ListeningFeed,
    Transport.SERIAL: SerialFeed,
    Transport.WS: WebsocketDialledFeed,
    Transport.WS_LISTEN: WebsocketListeningFeed,
    Transport.FILE: FileFeed,
}


def open_feed(
    name: str,
    url: FeedUrl,
    sink: Sink,
    *,
    limits: FeedLimits | None = None,
    sleep: Callable[[float], Awaitable[object]] = asyncio.sleep,
    now_s: Callable[[], float] = time.monotonic,
    changed: Callable[[], None] = lambda: None,
) -> Feed:
    """Return the feed of a URL, not yet running: `await feed.run()` on the loop of the sink.

    `sleep` paces dialling, `now_s` (seconds) stamps `counters.last_receipt_s`, `changed` is called when the
    feed's state does.
    """
    setting = FeedSetting(limits=limits or FeedLimits(), sleep=sleep, now_s=now_s, changed=changed)
    return _FEEDS[url.transport](name, url, sink, setting)


def open_feeds(
    feeds: Sequence[tuple[str, FeedUrl]],
    sink: Sink,
    *,
    limits: FeedLimits | None = None,
    changed: Callable[[], None] = lambda: None,
) -> tuple[Feed, ...]:
    """Return all feeds (name, URL) of a relay; OperatorError if two would take each other's bytes."""
    refuse_clashes(feeds)
    return tuple(open_feed(name, url, sink, limits=limits, changed=changed) for name, url in feeds)
