"""The drawings against the recording: read back from the screen's pixels, at every size and zoom.

Where the sheet's squares lie is read from the picture itself, and how many metres a square has from the words below it;
so neither the page's own scale nor its code says where the track should be.
"""

import re
from collections import Counter
from collections.abc import AsyncIterator
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from math import hypot

import numpy as np
import pytest
import pytest_asyncio
from PIL import Image
from playwright.async_api import Browser

from followers_page import BUILT, Follower, follower
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.wire import encode
from relay.shell.released.outlet import Frame
from relay.shell.site.site import Site
from released import EXPEDITION

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
HAIR, INK, ACCENT = (0xC3, 0xCE, 0xD0), (0x15, 0x24, 0x2E), (0x9C, 0x14, 0x58)
TICK_US = 10_000_000
# Corners on crossings of every grid the page may choose; no two stretches have the same length and direction.
CORNERS_M = [(0, 0), (0, 600), (400, 600), (400, 200), (1000, 200), (1000, -200)]
DEPTHS_M = [0, 500, 1000, 500, 1000, 0]
SIZES = [(360, 720, 1.0), (360, 720, 3.0), (768, 1024, 2.0), (1280, 800, 1.0), (1280, 800, 1.5), (1920, 1080, 1.0)]
Pixel = tuple[int, int]


def known_dive() -> list[ReleasedRecord]:
    """Return a dive along the corners, 20 m a tick, with a depth of its own on each stretch, and its end."""
    policy = Policy(audience="public", delay_us=0, extra_us=0, tick_us=TICK_US, fields=frozenset(Disclosed),
                    cell_m=20.0, depth_step_m=10.0)  # fmt: skip
    log = ReleaseLog(policy, Plan(expedition=EXPEDITION, vehicles=("Lantern",), sources=(), policies=(policy,)), 1, 0)
    records, at_us = [log.open(0)], 0
    for (start, end), depth_m in zip(pairwise(CORNERS_M), DEPTHS_M, strict=False):
        steps = round(hypot(end[0] - start[0], end[1] - start[1]) / 20)
        for step in range(steps):
            east, north = (a + (b - a) * step / steps for a, b in zip(start, end, strict=True))
            report = Report(heard=True, east_m=east, north_m=north, depth_m=depth_m, leg="bottom")
            records.append(log.tick(at_us, [report]))
            at_us += TICK_US
    last = Report(heard=True, east_m=CORNERS_M[-1][0], north_m=CORNERS_M[-1][1], depth_m=0, leg="bottom")
    return [*records, log.tick(at_us, [last]), log.end(at_us)]


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def address() -> AsyncIterator[str]:
    """A site that has the known dive."""
    site = Site(EXPEDITION, folder=BUILT)
    for record in known_dive():
        site.publish(Frame("public", 1, record.seq, False, 0, encode(record)))
    await site.start("127.0.0.1")
    yield "http://{}:{}/".format(*site.address)
    await site.close()


async def drawn(someone: Follower, figure: str) -> Image.Image:
    """Return the pixels of a drawing as they are on the screen."""
    await someone.says(someone.headline, "The dive is over")
    picture = await someone.page.locator(f"#{figure} canvas[role=img]").screenshot(animations="disabled")
    return Image.open(BytesIO(picture)).convert("RGB")


@dataclass(frozen=True)
class Sheet:
    """What one who opened the page at a size saw: pixels to a CSS pixel, both drawings, the words below the plan."""

    ratio: float
    plan: Image.Image
    depth: Image.Image
    words: str


@pytest_asyncio.fixture(
    scope="module",
    loop_scope="session",
    params=SIZES,
    ids=[f"{width}x{height}@{ratio}" for width, height, ratio in SIZES],
)
async def sheet(request: pytest.FixtureRequest, browser: Browser, address: str) -> Sheet:
    """The page, opened once at each size."""
    width, height, ratio = request.param
    async with follower(browser, address, (width, height), device_scale_factor=ratio) as someone:
        plan, depth = [await drawn(someone, figure) for figure in ("plan", "depth")]
        return Sheet(ratio, plan, depth, await someone.page.locator("#plan .foot").inner_text())


def of_colour(picture: Image.Image, colour: tuple[int, int, int], by: int) -> set[Pixel]:
    """Return where a colour is."""
    apart = np.abs(np.asarray(picture).astype(np.int16) - np.array(colour, np.int16)).max(axis=2)
    rows, columns = np.nonzero(apart <= by)
    return set(zip(columns.tolist(), rows.tolist(), strict=True))


def centres(counts: Counter[int], least: int) -> list[float]:
    """Return the middles of runs of columns or rows in which a colour stands often."""
    runs: list[list[int]] = []
    for at in sorted(at for at, count in counts.items() if count >= least):
        if runs and at <= runs[-1][-1] + 4:
            runs[-1].append(at)
        else:
            runs.append([at])
    return [(run[0] + run[-1]) / 2 for run in runs]


def squares(picture: Image.Image, ratio: float) -> tuple[list[float], list[float]]:
    """Return where the sheet's upright and level lines are, read off its margins, where no track is."""
    first, last = round(4 * ratio), round(24 * ratio)
    top, left = picture.crop((0, first, picture.width, last)), picture.crop((first, 0, last, picture.height))
    columns = Counter(x for x, _ in of_colour(top, HAIR, 30))
    rows = Counter(y for _, y in of_colour(left, HAIR, 30))
    return centres(columns, top.height * 3 // 4), centres(rows, left.width * 3 // 4)


def spacing(lines: list[float]) -> float:
    """Return how far apart lines are, over all that keep the step; one that something is drawn over may be missing."""
    gaps = sorted(later - sooner for sooner, later in pairwise(lines))
    step = gaps[len(gaps) // 2]
    steps = [(at - lines[0]) / step for at in lines]
    last = max(at for at, count in zip(lines, steps, strict=True) if abs(count - round(count)) < 0.04)
    return (last - lines[0]) / round((last - lines[0]) / step)


def lattice(lines: list[float], step: float, size: int) -> list[float]:
    """Return where lines are, or would be if nothing were drawn over them, in a picture of a size."""
    return [lines[0] + step * count for count in range(-20, 21) if 0 <= lines[0] + step * count < size]


async def test_plan_has_the_track_where_the_records_say(sheet: Sheet) -> None:
    """Along all of the recorded way there is ink within a pixel, and away from it there is no line."""
    picture, ratio = sheet.plan, sheet.ratio
    told = re.search(r"Grid ([\d,]+)\sm", sheet.words)
    assert told
    uprights, levels = squares(picture, ratio)
    assert min(len(uprights), len(levels)) >= 3
    step = spacing(uprights)
    assert spacing(levels) == pytest.approx(step, abs=max(0.5, 0.3 * ratio))
    pixels = step / float(told[1].replace(",", ""))
    ink = of_colour(picture, INK, 110)
    tolerance = max(1.0, ratio)
    crossings = [(x, y) for x in lattice(uprights, step, picture.width) for y in lattice(levels, step, picture.height)]
    fits = [crossing for crossing in crossings if share(ink, *crossing, pixels, tolerance) > 0.97]
    assert len(fits) == 1, "the track begins at one crossing of the squares, and at no other"
    edge = round(3 * ratio)
    inside = {(x, y) for x, y in ink if edge < x < picture.width - edge and edge < y}
    away = off_the_way(inside, *fits[0], pixels)
    assert len(away) < 0.05 * len(ink)


def way(x: float, y: float, pixels: float) -> list[tuple[float, float]]:
    """Return the recorded way on the screen, point by point, if it begins at (x, y); the mark at its end left out."""
    out = []
    for (east, north), (to_east, to_north) in pairwise(CORNERS_M):
        length = hypot(to_east - east, to_north - north) * pixels
        for step in range(round(length)):
            part = step / length
            out.append(
                (x + (east + (to_east - east) * part) * pixels, y - (north + (to_north - north) * part) * pixels)
            )
    return out[: -round(60 * pixels) - 20]


def share(ink: set[Pixel], x: float, y: float, pixels: float, tolerance: float) -> float:
    """Return which part of the way has ink within the tolerance."""
    points = way(x, y, pixels)
    return sum(touches(ink, point, tolerance) for point in points) / len(points)


def touches(ink: set[Pixel], point: tuple[float, float], tolerance: float) -> bool:
    """Return whether ink is within the tolerance of a point."""
    x, y, reach = round(point[0]), round(point[1]), round(tolerance)
    return any((x + dx, y + dy) in ink for dx in range(-reach, reach + 1) for dy in range(-reach, reach + 1))


def off_the_way(ink: set[Pixel], x: float, y: float, pixels: float) -> set[Pixel]:
    """Return the ink within the drawing that isn't of the way: not counting the scale, the frame and the end's mark."""
    points = way(x, y, pixels)
    lowest = max(point[1] for point in points)
    cells = {(round(px) + dx, round(py) + dy) for px, py in points for dx in range(-4, 5) for dy in range(-4, 5)}
    end = (x + CORNERS_M[-1][0] * pixels, y - CORNERS_M[-1][1] * pixels)
    return {
        pixel for pixel in ink - cells
        if pixel[1] < lowest - 2 and hypot(pixel[0] - end[0], pixel[1] - end[1]) > 60 * pixels + 40
    }  # fmt: skip


async def test_depth_over_time_has_the_depths_of_the_recording(sheet: Sheet) -> None:
    """Each stretch's depth is a level line at its place between the surface and the lines of the scale."""
    picture, ratio = sheet.depth, sheet.ratio
    hair, ink = of_colour(picture, HAIR, 14), of_colour(picture, INK, 110)
    left = min(centres(Counter(x for x, _ in hair), picture.height // 3))
    inside = {pixel for pixel in ink if pixel[0] > left + 3 * ratio}
    rows = Counter(y for _, y in inside)
    surface, *_ = centres(rows, picture.width // 2)
    levels = centres(Counter(y for _, y in hair), picture.width // 3)
    step = spacing([surface, *levels])
    drawn_at = [at for at in centres(rows, picture.width // 12) if at > surface + 4]
    assert len(drawn_at) == 2
    middle, deep = (at - surface for at in drawn_at)
    assert deep / middle == pytest.approx(2.0, abs=2 * ratio / middle)
    assert min(abs(deep - step * count) for count in range(1, 12)) <= 1.5 * ratio


async def test_table_has_the_depths_and_places_of_the_recording(browser: Browser, address: str) -> None:
    """What the drawings are made of can be read as a table, row by row what the recording has."""
    ticks = [record for record in known_dive() if record.kind == 1]
    async with follower(browser, address) as someone:
        await someone.says(someone.headline, "The dive is over")
        await someone.page.locator("#figures summary").click()
        rows = await someone.page.locator("#figures tbody tr").all_inner_texts()
    assert len(rows) >= 40
    for row, record in zip(rows, reversed(ticks), strict=False):
        numbers = [float(text.replace("−", "-").replace(",", "")) for text in row.split("\t")[2:5]]
        told = record.body[0]
        assert numbers == [told[3], told[1], told[2]], row
