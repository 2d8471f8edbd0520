"""The pages that the server makes of released records: an expedition, each dive, and the first words of the live page.

Rules: made of summaries of released records alone (R7), so no page knows more than a recording; no date, no script;
every text is escaped by the template; links are relative, so that a folder of them works below any path.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from relay.core.programme_told import ProgrammeTold
from relay.core.summary import Summary, VehicleNow
from relay.shell.site.page_words import PageWords, area, depth, duration, length, number
from relay.shell.site.track_picture import is_dashed, shared_png, track_svg

FIRST_PLACE = '<div id="first"></div>'
_HEAD_END = "</head>"
_PLAIN_STYLE = '<noscript><link rel="stylesheet" href="./pages.css" /></noscript>'
_TEMPLATES = Environment(
    loader=PackageLoader("relay.shell", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True, slots=True)
class Shelf:
    """The dives of one audience, oldest first, and how they are told.

    `address`: where the site is known to be, ending in a slash; empty where that isn't known (links stay relative).
    `programme`, `questions_to`, `counts`: what is to come, where to write, and whether the next dive is counted down.
    """

    expedition: str
    audience: str
    dives: tuple[Summary, ...]
    words: PageWords
    address: str = ""
    programme: ProgrammeTold | None = None
    questions_to: str = ""
    counts: bool = True

    @property
    def newest(self) -> Summary | None:
        """The newest dive."""
        return self.dives[-1] if self.dives else None


def dive_page(dive: int) -> str:
    """Return the name of a dive's page."""
    return f"dive-{dive:03d}.html"


def picture_name(dive: int | None, ending: str) -> str:
    """Return the name of a dive's picture, or of the expedition's, without a leading slash."""
    return f"pictures/{'expedition' if dive is None else f'dive-{dive:03d}'}.{ending}"


def expedition_html(shelf: Shelf) -> bytes:
    """Return the page of an expedition: its dives, newest first, and what they come to together."""
    words = shelf.words
    return _page(
        "expedition.html",
        shelf,
        title=shelf.expedition,
        whole=True,
        honest=_honest(shelf, shelf.newest),
        figures=_totals(shelf),
        programme=_programme(shelf),
        dives=[_dive(summary, words) for summary in reversed(shelf.dives)],
        preview=_preview(shelf, shelf.expedition, _expedition_line(shelf), picture_name(None, "png")),
    )


def dive_html(shelf: Shelf, summary: Summary) -> bytes:
    """Return the page of one dive."""
    words = shelf.words
    dive = _dive(summary, words)
    title = f"{shelf.expedition}: {dive['title']}"
    targets = summary.figures.targets.items()
    return _page(
        "dive.html",
        shelf,
        title=title,
        whole=False,
        honest=_honest(shelf, summary),
        dive=dive,
        state=_state(summary, words),
        figures=_figures([summary], words),
        targets=[(name, words.verdicts.get(verdict, verdict)) for name, verdict in targets],
        preview=_preview(shelf, title, f"{dive['line']}.", picture_name(summary.dive, "png")),
    )


def with_first_words(index: bytes, shelf: Shelf) -> bytes:
    """Return the live page with the state in words and the newest dive's picture, and what a link to it shows.

    The page's script takes the words away when it draws. An index without a place for them stays as it is there.
    """
    words, newest = shelf.words, shelf.newest
    state, honest = _state(newest, words), _honest(shelf, newest)
    dive = None if newest is None else _dive(newest, words)
    first = _fragment(
        "first.html",
        words=words,
        title=shelf.expedition,
        honest=honest,
        state=state,
        dive=dive,
        programme=_programme(shelf),
    )
    name = picture_name(None, "png")
    preview = _fragment("preview.html", preview=_preview(shelf, shelf.expedition, _expedition_line(shelf), name))
    text = index.decode().replace(_own_description(index.decode()), "")
    head = f"  {preview}\n    {_PLAIN_STYLE}\n  {_HEAD_END}"
    return text.replace(FIRST_PLACE, first).replace(_HEAD_END, head, 1).encode()


def _own_description(index: str) -> str:
    """Return the page's own description, which the preview's takes the place of; nothing if there is none."""
    start = index.find('<meta name="description"')
    return "" if start < 0 else index[start : index.index(">", start) + 1]


def expedition_png(shelf: Shelf) -> bytes:
    """Return the picture that a link to the expedition shows."""
    lines = [_expedition_line(shelf), shelf.words.followed]
    return shared_png(shelf.expedition, lines, shelf.dives, shelf.words)


def dive_png(shelf: Shelf, summary: Summary) -> bytes:
    """Return the picture that a link to one dive shows."""
    dive = _dive(summary, shelf.words)
    return shared_png(
        shelf.expedition, [f"{dive['title']}: {dive['line']}", shelf.words.followed], [summary], shelf.words
    )


def dive_svg(shelf: Shelf, summary: Summary) -> bytes:
    """Return the small picture of a dive's track."""
    return track_svg(summary, shelf.words)


def _page(template: str, shelf: Shelf, **values: Any) -> bytes:
    return (_TEMPLATES.get_template(template).render(words=shelf.words, **values) + "\n").encode()


def _fragment(template: str, **values: Any) -> str:
    return _TEMPLATES.get_template(template).render(**values).strip()


def _preview(shelf: Shelf, title: str, text: str, picture: str) -> dict[str, str]:
    followed = shelf.words.followed
    return {"title": title, "text": f"{text} {followed}", "picture": f"{shelf.address or './'}{picture}"}


def _expedition_line(shelf: Shelf) -> str:
    """Return one line on where the expedition stands."""
    newest, words = shelf.newest, shelf.words
    if newest is None:
        return f"{words.no_dive}."
    about = words.is_over if newest.closed else words.under_way
    return f"{about.format(n=newest.dive)}: {_dive_line(newest, words)}."


def _honest(shelf: Shelf, summary: Summary | None) -> str:
    words = shelf.words
    if summary is None:
        return words.followed
    least_s, most_s = summary.header["delay_s"]
    late = duration(least_s, words)
    if duration(most_s, words) != late:
        late = words.to.format(n=late, m=duration(most_s, words))
    when = (words.recorded if summary.closed else words.late).format(n=late)
    return f"{words.prompt if most_s == 0 else when} {_where(summary, words)}"


def _where(summary: Summary, words: PageWords) -> str:
    header = summary.header
    if header["place"] == "area" and header.get("area"):
        return words.area.format(n=header["area"])
    return words.local if "track" in header["fields"] and header["place"] == "local" else words.untold


def _state(summary: Summary | None, words: PageWords) -> dict[str, Any]:
    """Return the state of the newest dive in words."""
    if summary is None:
        return {"title": words.no_dive, "more": words.no_dive_more, "vehicles": [], "note": None}
    title = words.is_over if summary.closed else words.under_way
    lines = [] if summary.closed else [_vehicle(vehicle, summary, words) for vehicle in summary.vehicles]
    return {
        "title": title.format(n=summary.dive),
        "more": _dive_line(summary, words),
        "vehicles": lines,
        "note": summary.note,
    }


def _programme(shelf: Shelf) -> dict[str, Any] | None:
    """Return what is to come in words; None where there is nothing to say."""
    told, words = shelf.programme, shelf.words
    left_s = None
    if told is not None and shelf.counts:
        left_s = told.until_next_s(0 if shelf.newest is None else shelf.newest.dive)
    pinned, lines = (None, ()) if told is None else (told.pinned, told.schedule)
    if pinned is None and not lines and left_s is None and not shelf.questions_to:
        return None
    return {
        "pinned": pinned,
        "lines": lines,
        "next": None if left_s is None else _until(left_s, words),
        "questions_to": shelf.questions_to,
    }


def _until(left_s: int, words: PageWords) -> str:
    """Return about how long until the next dive, as coarse as it was told: days from two on."""
    if left_s == 0:
        return words.next_dive_soon
    days = words.days.format(n=number(left_s / 86_400, words)) if left_s >= 2 * 86_400 else duration(left_s, words)
    return words.next_dive.format(n=days)


def _vehicle(vehicle: VehicleNow, summary: Summary, words: PageWords) -> str:
    if not vehicle.heard:
        return f"{vehicle.name}: {words.silent}"
    said = [words.legs.get(vehicle.leg or ""), words.altitudes.get(vehicle.altitude or "")]
    if vehicle.depth_m is not None:
        relative = summary.header.get("depth") == "relative"
        deep = words.relative_deep if relative else words.about_deep
        said.append(deep.format(n=depth(abs(vehicle.depth_m) if relative else vehicle.depth_m, words)))
    said.append(words.modes.get(vehicle.mode or ""))
    known = [text for text in said if text]
    return f"{vehicle.name}: {', '.join(known)}" if known else vehicle.name


def _dive_line(summary: Summary, words: PageWords) -> str:
    deepest = _deepest(summary, words)
    text = words.line if deepest is None else words.line_deep
    return text.format(n=duration(summary.length_s, words), m=deepest)


def _deepest(summary: Summary, words: PageWords) -> str | None:
    if summary.deepest_m is None or summary.header.get("depth") == "relative":
        return None
    return depth(summary.deepest_m, words)


def _dive(summary: Summary, words: PageWords) -> dict[str, Any]:
    drawn = any(summary.tracks)
    return {
        "number": summary.dive,
        "title": words.dive.format(n=summary.dive),
        "state": words.over if summary.closed else words.going_on,
        "line": _dive_line(summary, words),
        "page": dive_page(summary.dive),
        "svg": picture_name(summary.dive, "svg"),
        "alt": words.track_of.format(n=summary.dive) if drawn else words.no_track,
        "legend": _legend(summary, words),
        "invitation": words.watch if summary.closed else words.follow,
    }


def _legend(summary: Summary, words: PageWords) -> str:
    """Return what the picture of a track shows in which way; nothing where there is no track."""
    said = [
        (words.drawn_dashed if is_dashed(at) else words.drawn_whole).format(n=vehicle.name)
        for at, (vehicle, track) in enumerate(zip(summary.vehicles, summary.tracks, strict=True))
        if track
    ]
    return " ".join([words.not_north, *said, words.dot]) if said else ""


def _totals(shelf: Shelf) -> list[tuple[str, str]]:
    return [(shelf.words.dives, str(len(shelf.dives))), *_figures(shelf.dives, shelf.words)]


def _figures(dives: Sequence[Summary], words: PageWords) -> list[tuple[str, str]]:
    """Return the numbers of some dives together: what no record tells isn't listed."""
    rows = [(words.lasted, duration(sum(dive.length_s for dive in dives), words))]
    deepest = [dive for dive in dives if _deepest(dive, words) is not None]
    if deepest:
        rows.append((words.deepest, depth(max(dive.deepest_m or 0.0 for dive in deepest), words)))
    vehicles = [vehicle for dive in dives for vehicle in dive.figures.vehicles]
    of_all = words.together if any(len(dive.vehicles) > 1 for dive in dives) else "{n}"
    if any(vehicle.bottom_s is not None for vehicle in vehicles):
        rows.append((of_all.format(n=words.bottom), duration(sum(dive.bottom_s for dive in dives), words)))
    if any(vehicle.distance_m is not None for vehicle in vehicles):
        rows.append((of_all.format(n=words.distance), length(sum(dive.distance_m for dive in dives), words)))
    areas = [dive.figures.area_m2 for dive in dives if dive.figures.area_m2 is not None]
    if areas:
        rows.append((words.covered_each if len(dives) > 1 else words.covered, area(sum(areas), words)))
    if any(dive.figures.targets for dive in dives):
        rows.append((words.checked, str(sum(dive.figures.targets_checked for dive in dives))))
    return rows
