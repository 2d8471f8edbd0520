"""The attack on what was written: annotations, captions, names of targets, and the header's own words.

Rules: the finders of places and times that hold texts back aboard are turned on what was released, with no list of
forbidden names, which an outsider doesn't have. A position is read in whatever notation it is in (`told_places`); a
time of day, a date, sun, moon or tide is counted and shown, for it is no place by itself: beside a ship's track or a
tide table it becomes one. The name of the declared area was admitted by the operator, and is no leak. The finest
reading on the chart is taken for the place.
"""

from typing import NamedTuple

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.audit.attacks.told_places import Reading, places_in
from relay.audit.attacks.told_texts import clock, texts_of
from relay.core.place_in_text import find_places
from relay.core.time_in_text import find_times

SITE_M = 1_000.0  # how far from the place of a dive somebody may mean: a site's size; common practice, no source
_SHOWN = 5


class _Text(NamedTuple):
    where: str
    text: str


class FreeText:
    """Reads every text of every recording for places and times."""

    name = "free text"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the place that a text tells, and what else texts give away."""
        texts = list(_texts(case))
        if not texts:
            return Finding(self.name, "Nothing was written: there are no annotations to read.", worked=False)
        admitted = " ".join(str(dive.header.get("area")) for dive in case.dives).lower()
        leaks: list[str] = []
        times: list[str] = []
        readings: list[Reading] = []
        for at, (where, text) in enumerate(texts):
            here = places_in(text, case.chart)
            found_here = [found for found in find_places(text) if found.excerpt.lower() not in admitted]
            leaks += [f"{where}: “{found.excerpt}” ({found.notation})" for found in found_here]
            leaks += [f"{where}: “{text}” reads as a place on the chart"] if here and not found_here else []
            times += [f"{where}: “{found.excerpt}” ({found.notation})" for found in find_times(text)]
            readings += here
            progress("reading what was written", (at + 1) / len(texts))
        best = min(readings, key=lambda reading: reading.within_m, default=None)
        return Finding(
            self.name,
            _words(len(texts), leaks, times, best),
            log_likelihood=None if best is None else at_spot(case.chart, *best[:2], max(SITE_M, best.within_m)),
            place=None if best is None else (best.latitude_deg, best.longitude_deg),
            outright=best is not None and bool(leaks) and within_a_cell(case.chart, best.within_m),
            leaks=tuple(leaks),
            facts={
                "texts": len(texts),
                "texts_that_tell_a_place": len(leaks),
                "texts_that_tell_when": len(times),
                **({} if best is None else {"place_within_m": best.within_m}),
            },
        )


def _texts(case: Case) -> list[_Text]:
    """Return each text once, with the recording and the dive time at which it first stands there."""
    seen: dict[str, _Text] = {}
    for dive in case.dives:
        for elapsed_s, what, text in texts_of(dive):
            if text.strip():
                seen.setdefault(text, _Text(f"{dive.name}, {what} at {clock(elapsed_s)}", text))
    return list(seen.values())


def _words(count: int, leaks: list[str], times: list[str], best: Reading | None) -> str:
    said = [f"{count} texts were read."]
    if best is not None:
        said.append(f"One tells a position to about {best.within_m:.3g} m: {leaks[0]}.")
    elif leaks:
        said.append(f"{len(leaks)} tell a place in words or figures that no chart was needed to doubt: {leaks[0]}.")
    else:
        said.append("None tells a place.")
    if times:
        shown = "; ".join(times[:_SHOWN])
        said.append(
            f"{len(times)} tell when it was at the ship, which is no place by itself but becomes one beside the ship's "
            f"track, the sun or a tide table: {shown}."
        )
    return " ".join(said)
