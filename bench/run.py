"""Measure what Offing costs, beside a floor in the same run: `make bench`, or `make bench ARGS="--only fan-out"`.

Quote ratios: absolute figures belong to the machine and the moment.
"""

import argparse
from pathlib import Path
from statistics import median

from advising import compared
from audit import MOST_MIB, MOST_S, audit_costs
from decoding import rates
from exporting import MOST_S as MOST_EXPORT_S
from exporting import exports
from fanout import FLOOR, Cost, compile_tools, costs
from journal_rows import journal_rate
from link import HOURS, carried
from page_in_browser import SLOWER, in_browser
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from stop_everything import FOLLOWERS, RATE_HZ, stops

BUILD = Path(__file__).resolve().parents[1] / "build" / "bench"
NOISE = 1.12
VIEWERS = (1_000, 5_000, 10_000)
DELIVERIES = 10_000
WIDTH = 120


def main() -> None:
    """Run the parts asked for and print a table for each."""
    options = _options()
    console = Console(width=WIDTH)
    if options.only in (None, "decoding"):
        console.print(_decoding())
    if options.only in (None, "journal"):
        console.print(_journal())
    if options.only in (None, "page"):
        console.print(_page())
    if options.only in (None, "stop"):
        console.print(_stop())
    if options.only in (None, "audit"):
        console.print(_audit())
    if options.only in (None, "link"):
        console.print(_link())
    if options.only in (None, "export"):
        console.print(_export(console))
    if options.only == "advise":  # an hour or so, so only where it is asked for
        console.print(_advising())
    if options.only in (None, "fan-out"):
        compile_tools(BUILD)
        for viewers in options.viewers or VIEWERS:
            console.print(_fanout(options, viewers))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--only",
        choices=("decoding", "journal", "page", "stop", "audit", "link", "fan-out", "advise", "export"),
        help="run one part",
    )
    parser.add_argument("--viewers", type=int, nargs="+", help="open websockets (default 1000, 5000 and 10000)")
    parser.add_argument("--rate", type=float, help="messages a second to each (default: 10000 a second to all)")
    parser.add_argument("--seconds", type=float, default=1.0, help="length of a turn (default 1)")
    parser.add_argument("--turns", type=int, default=15, help="turns of each server (default 15)")
    parser.add_argument("--servers", default="", help="those whose names are in this text alone (default all)")
    return parser.parse_args()


def _advising() -> Table:
    table = _table("advise: more detail than a preset at the promise that it keeps")
    heads = ("chart, preset", "promise km2", "its detail", "advised detail", "kept at unseen places", "seconds")
    for head in heads:
        table.add_column(head)
    for one in compared():
        choice = one.advice.choice
        told = ("none", "-") if choice is None else (f"{choice.detail:.1f}", f"{one.share:.0%}")
        numbers = f"{one.promise_km2:.3g}", f"{one.detail:.1f}", *told, f"{one.seconds:.0f}"
        table.add_row(f"{one.chart}, {one.preset}", *numbers)
    return table


def _table(title: str, *, show_header: bool = True) -> Table:
    return Table(title=title, title_justify="left", box=SIMPLE_HEAD, show_header=show_header)


def _decoding() -> Table:
    table = _table("Decoding")
    for heading in ("format", "messages", "accepted", "ours /s", "baseline /s", "times the baseline", "baseline"):
        table.add_column(heading, justify="left" if heading in ("format", "baseline") else "right")
    for rate in rates():
        table.add_row(
            rate.name,
            f"{rate.messages:,}",
            f"{rate.accepted:,}",
            f"{rate.ours_per_s:,.0f}",
            f"{rate.baseline_per_s:,.0f}",
            f"{rate.ratio:.2f}",
            rate.baseline,
        )
    return table


def _journal() -> Table:
    rate = journal_rate(BUILD)
    table = _table("Journal", show_header=False)
    table.add_row("rows made durable, in a burst", f"{rate.rows_per_s:,.0f} /s")
    table.add_row("bare SQLite, same safety and groups", f"{rate.sqlite_rows_per_s:,.0f} /s")
    table.add_row("times the bare one", f"{rate.sqlite_rows_per_s / rate.rows_per_s:.2f}")
    table.add_row("wait of a row that comes alone", f"{rate.single_p50_ms:.2f} ms, p99 {rate.single_p99_ms:.2f} ms")
    return table


def _page() -> Table:
    seen = in_browser()
    table = _table(f"The followers' page, processor {SLOWER} times slower", show_header=False)
    for first, what in ((seen.first, "at the public tick"), (seen.first_dense, "a record a second")):
        times = (
            f"{first.words_ms:,.0f} ms, at most {first.words_most_ms:,.0f}; the page at work {first.drawn_ms:,.0f} ms"
        )
        table.add_row(f"words and picture of a dive of 6 h joined late, {what}", times)
    table.add_row("first script, compressed", f"{seen.script_octets / 1_024:.1f} KiB")
    for what, frames in (("dragging through 8 h, 28,800 records", seen.scrub), ("an empty page", seen.floor)):
        rare = f"{frames.p95_ms:.1f} ms at the 95th percentile, {frames.most_ms:.0f} ms at most"
        table.add_row(what, f"{frames.median_ms:.1f} ms a frame at the median, {rare}")
    table.add_row("dragging, times the empty page at the median", f"{seen.scrub.median_ms / seen.floor.median_ms:.2f}")
    heap = ", ".join(f"{octets / 2**20:.2f}" for octets in seen.heap_octets)
    table.add_row("heap by the quarters of an hour followed, full speed", f"{heap} MiB")
    return table


def _audit() -> Table:
    table = _table(f"The chart match on two cores (to take {MOST_S:.0f} s and {MOST_MIB:,.0f} MiB at most)")
    for heading in ("dive", "soundings", "nodes", "turns", "by the clock", "of processor", "times a look-up", "memory"):
        table.add_column(heading, justify="left" if heading == "dive" else "right")
    for cost in audit_costs():
        table.add_row(
            cost.kind,
            f"{cost.soundings}",
            f"{cost.nodes:,}",
            f"{cost.turns}",
            f"{cost.match_s:.1f} s",
            f"{cost.match_cpu_s:.1f} s",
            f"{cost.match_cpu_s / cost.floor_cpu_s:.1f}",
            f"{cost.most_mib:,.0f} MiB",
        )
    return table


def _export(console: Console) -> Table:
    table = _table(f"A day's journal exported (to take {MOST_EXPORT_S:.0f} s at most)")
    for heading in ("journal", "format", "reports", "by the clock", "of processor", "memory", "file"):
        table.add_column(heading, justify="left" if heading in ("journal", "format") else "right")
    for one in exports():
        console.print(
            f"{one.kind} as {one.form}: {one.seconds:.1f} s by the clock"
        )  # the whole takes a quarter of an hour
        table.add_row(
            one.kind,
            one.form,
            f"{one.reports:,}",
            f"{one.seconds:.1f} s",
            f"{one.cpu_s:.1f} s",
            f"{one.most_mib:,.0f} MiB",
            f"{one.size_mib:,.0f} MiB",
        )
    return table


def _stop() -> Table:
    told = stops()
    times = f"{len(told.last_ms)} times, reports at {RATE_HZ:g} Hz, {FOLLOWERS} followers"
    table = _table(f"Stop everything: {times}", show_header=False)
    answered = f"{median(told.answered_ms):.1f} ms, at most {max(told.answered_ms):.1f}"
    table.add_row("last public byte after POST /stop, at most", f"{max(told.last_ms):.1f} ms (to be within 100)")
    table.add_row("stops after which a byte still came", f"{sum(last_ms > 0 for last_ms in told.last_ms)}")
    table.add_row("the answer, once it is on the disk", answered)
    table.add_row("records that a follower got meanwhile", f"{told.frames:,}")
    return table


def _link() -> Table | str:
    told = carried()
    if isinstance(told, str):
        return f"The link: not measured, for {told}."
    table = _table(f"The link: 600 ms, 2 % loss, 256 kbit/s, {told.congestion}", show_header=False)
    over = f"{told.records_measured} records of the default public audience, {told.minutes_measured:.0f} min of dive"
    table.add_row(f"all that it carries, from IP up: {over}", f"{told.bits_per_s:,.0f} bit/s (at most 1,500)")
    for outage_s, missed, current_s in told.current_s:
        table.add_row(f"up to date after an outage of {outage_s:g} s, {missed} records missed", f"{current_s:.1f} s")
    table.add_row(f"a follower ashore of {HOURS} h had each record once and in order", str(told.whole))
    table.add_row("records, and octets that the link carried for them", f"{told.records:,}, {told.octets:,}")
    return table


def _fanout(options: argparse.Namespace, viewers: int) -> Table:
    rate = options.rate or DELIVERIES / viewers
    measured = costs(BUILD, viewers, rate, options.seconds, options.turns, options.servers)
    floor = next(cost for cost in measured if cost.name == FLOOR)
    table = _table(f"Fan-out to {viewers:,} viewers, {rate:g} messages a second to each")
    for heading in ("server", "CPU us", "times the floor", "middle half", "KiB a viewer", "delivered", "missing"):
        table.add_column(heading, justify="left" if heading == "server" else "right")
    for cost in measured:
        ratios = cost.times(floor)
        table.add_row(
            cost.name,
            f"{median(cost.turns_us):.2f}",
            f"{median(ratios):.2f}",
            f"{ratios[len(ratios) // 4]:.2f} to {ratios[-1 - len(ratios) // 4]:.2f}",
            f"{cost.octets_a_viewer / 1_024:.2f}",
            f"{cost.delivered:,}",
            f"{cost.missing:,}",
        )
    table.caption = _judged(measured)
    return table


def _judged(measured: list[Cost]) -> str:
    """Return in words how the site compares with the others, turn by turn of the same rounds."""
    site, floor = measured[0], next(cost for cost in measured if cost.name == FLOOR)
    lines = [f"site: {median(site.times(other)):.2f} times {other.name}" for other in measured[1:] if other != floor]
    again = [median(cost.times(floor)) for cost in measured if cost.name == "floor again"]
    if any(not 1 / NOISE < ratio < NOISE for ratio in again):
        lines.append("The two floors differ by more than 12 %: the machine was too busy for these figures to count.")
    return "\n".join(lines)


if __name__ == "__main__":
    main()
