"""What `offing journal import` says: counts and times by the vehicle's clock, never a position."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

REASONS = 3
SAME = "It was imported already, by {who} on {when}, as {name}: nothing was changed."
UNCHANGED = "Nothing that was released, or will be, is changed by it."
NONE_BETWEEN = (
    "CAUTION: no live report of {vehicle} lies between these times. Is it the log of this expedition, and was the "
    "vehicle's clock right?"
)


def say_import(vehicle: str, log: Mapping[str, Any]) -> Iterator[str]:
    """Yield lines about a log that was imported."""
    if log["new"]:
        yield f"{log['name']} is kept as {vehicle}'s own log: {log['octets']:,} bytes, SHA-256 {log['sha256']}"
    else:
        yield SAME.format(who=log["who"], when=_when(log["imported_s"]), name=log["name"])
    yield from _covers(log)
    for name, words in (("passed_over", "passed over"), ("rejected", "rejected"), ("others", "of other vehicles")):
        if log[name]:
            yield _row(words, _counted(log[name]))
    if not log["live_between"]:
        yield NONE_BETWEEN.format(vehicle=vehicle)
    yield UNCHANGED


def say_record(told: Mapping[str, Any]) -> Iterator[str]:
    """Yield lines about the exact record as it stands."""
    record = told["record"]
    yield f"The exact record of {told['vehicle']}, live reports and own logs:"
    if "reports" not in record:
        yield _row("reports", "none")
        return
    yield from _covers(record)
    both, differing = record["both"], record["differing"]
    same = f", {both:,} of an instant that a log tells, too" if both else ""
    otherwise = f" ({differing:,} of them otherwise: the log counts)" if differing else ""
    yield _row("live reports", f"{record['live_reports']:,}{same}{otherwise}")


def _covers(covered: Mapping[str, Any]) -> Iterator[str]:
    yield _row("vehicle's time", f"{_when(covered['first_s'])} to {_when(covered['last_s'])}")
    yield _row("reports", f"{covered['reports']:,}, {covered['positions']:,} of them with a position")
    minutes = covered["minutes_gained"]
    yield _row(
        "gaps filled", f"in {minutes:,} minute{'s' * (minutes != 1)} of the clock, where live reports had no position"
    )


def _counted(counts: Mapping[str, int]) -> str:
    """Return the most frequent reasons, and how many frames the others are."""
    most = list(counts.items())[:REASONS]
    told = [f"{count:,} {reason}" for reason, count in most]
    rest = sum(counts.values()) - sum(count for _, count in most)
    return ", ".join([*told, f"{rest:,} others"] if rest else told)


def _row(name: str, words: str) -> str:
    return f"  {name:<18}{words}"


def _when(t_s: float) -> str:
    return datetime.fromtimestamp(t_s, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
