"""An audit from its files to its words: the case, the attacks, the report, what is kept for the gate.

Rules: randomness from `--seed` alone, so that the same files give the same result; the truth is read last and used for
nothing but to say whether it would have been found.
"""

import argparse
import json
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from relay.audit.attacks.attack import Attack, Case, Progress
from relay.audit.attacks.attacks import ATTACKS
from relay.audit.attacks.chart_match import ChartMatch, parts_for, soundings_for
from relay.audit.matching.calibration import Calibration, calibrate
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.known_seabed import KnownSeabed
from relay.audit.played import Outsider, Place, Played, play
from relay.core.errors import OperatorError
from relay.shell.audit.audit_case import Given, read_case
from relay.shell.audit.audit_promises import audit_promises, with_files_of
from relay.shell.audit.audit_words import attack_lines, field_lines, meaning, numbers, say_distance
from relay.shell.audit.report_page import report_html, report_path, write_report
from relay.shell.audit.true_place import true_place
from relay.shell.audit.true_spellings import spelled_in
from relay.shell.plan.expedition import read_expedition
from relay.shell.released.printable import printable

_WIDTH = 100


@dataclass(frozen=True, slots=True)
class Said:
    """What is printed, what is remarked, and whether something isn't as it must be: a leak, or a promise not kept."""

    text: str
    notes: tuple[str, ...]
    fault: bool


def run_audit(options: argparse.Namespace, progress: Progress) -> Said:
    """Try the promises and play the audit that `options` asks for, and write what it asks to be written."""
    if options.expedition is None:
        return _played(options, progress)
    expedition = read_expedition(options.expedition)
    options = with_files_of(options, expedition)
    kept = audit_promises(options, expedition, progress)
    said = Said("\n".join(kept), (), any("NOT passed" in words for words in kept))
    if not options.recordings:
        return said
    played = _played(options, progress)
    text = played.text if options.json else f"{said.text}\n\n{played.text}"
    return Said(text, (*(kept if options.json else ()), *played.notes), said.fault or played.fault)


def _played(options: argparse.Namespace, progress: Progress) -> Said:
    report = _report(options)
    given = read_case(options)
    case = given.case
    truth = _truth(options, given)
    player = outsider(given.seabed, options.turns, options.trials, options.seed)
    played = play(player, case, truth=truth, progress=progress)
    lines = _lines(options, given)
    if report is not None:
        name = str(case.dives[0].header["expedition"])
        write_report(report_html(played, name, lines, truth), report, options.force)
    stands = _stands_there(options, given)
    text = (
        json.dumps(as_values(played), indent=2)
        if options.json
        else "\n".join([in_text(played, lines), *map(printable, stands)])
    )
    notes = (
        *given.notes,
        *(stands if options.json else ()),
        *(() if report is None else (f"The report is {report}: keep it private.",)),
    )
    return Said(text, notes, bool(played.leaks or stands))


def _report(options: argparse.Namespace) -> Path | None:
    """Return where the report goes, if one is asked for; OperatorError where it may not lie, or one lies already."""
    if options.html is None:
        return None
    file = options.expedition or options.area
    expedition = None if file is None else read_expedition(file)
    private, released = (None, None) if expedition is None else (expedition.private, expedition.released)
    report = report_path(options.html, private, released)
    if report.exists() and not options.force:
        raise OperatorError(f"{report} is there already: name another file, or add --force")
    return report


def outsider(seabed: KnownSeabed, turns: int, trials: int, seed: int) -> Outsider:
    """Return the strongest outsider there is: every attack, the chart match tried on a known seabed."""
    attacks: list[Attack] = [ChartMatch(turns) if isinstance(each, ChartMatch) else each for each in ATTACKS]

    def try_on_known(case: Case, soundings: tuple[Soundings, ...], progress: Progress) -> Calibration:
        draw, where = np.random.default_rng(seed), seabed.where(case.prior)
        return calibrate(
            seabed.tried, soundings, seabed.truth, draw, trials=trials, turns=turns, where=where, progress=progress
        )

    return Outsider(attacks, parts_for, try_on_known)


def _truth(options: argparse.Namespace, given: Given) -> Place | None:
    if options.truth is None or given.expedition is None:
        return None
    soundings = soundings_for(given.case)
    reference = None if soundings is None else (float(soundings.east_m[0]), float(soundings.north_m[0]))
    return true_place(options.truth, given.expedition.plan, given.case.dives, reference)


def _stands_there(options: argparse.Namespace, given: Given) -> tuple[str, ...]:
    """Return where true places stand in the recordings, with the journal in hand."""
    if options.truth is None or given.expedition is None:
        return ()
    return spelled_in(options.truth, given.expedition.plan, given.case.dives)


def _lines(options: argparse.Namespace, given: Given) -> list[str]:
    """Return what was played, a line each, without a place."""
    case, north_m, east_m = given.case, *given.case.chart.spacing_m
    lines = [f"Recording: {dive.name}, for {dive.audience}, {len(dive.records)} records" for dive in case.dives]
    rows, columns = case.chart.shape
    lines.append(
        f"Chart: {case.chart.name}, {rows:,} by {columns:,} cells of {say_distance(north_m)} by {say_distance(east_m)}"
    )
    area = None if given.expedition is None else given.expedition.plan.area
    lines.append("Declared area: all of the chart" if area is None else f"Declared area: {area.name}")
    lines.append(f"Ship's track: {_count(None if case.ship is None else len(case.ship.t_s), 'fixes')}")
    lines.append(f"Known wrecks: {_count(len(case.wrecks) or None, 'places')}")
    lines.append(f"Turns tried: {options.turns}; trials on known places: {options.trials}; seed {options.seed}")
    return lines


def _count(count: int | None, what: str) -> str:
    return "not given" if count is None else f"{count:,} {what}"


def in_text(played: Played, lines: Sequence[str]) -> str:
    """Return the result as a page of text."""
    out = [*textwrap.wrap(meaning(played), _WIDTH), ""]
    out += [f"{name + ':':<46} {value}" for name, value in numbers(played)]
    if played.leaks:
        out += ["", "SHOULD NEVER HAVE BEEN RELEASED", *(f"  {leak}" for leak in played.leaks)]
    out += ["", "Attack by attack:"]
    for attack in attack_lines(played):
        out.append(f"  {attack.name}: {attack.left}")
        out += textwrap.wrap(attack.words, _WIDTH, initial_indent="    ", subsequent_indent="    ")
    if fields := field_lines(played):
        out += [
            "",
            "Left to search if a field were withheld (at the same level, not tried anew):",
            *(f"  {name}: {left}" for name, left in fields),
        ]
    return "\n".join(map(printable, [*out, "", *lines]))


def as_values(played: Played) -> dict[str, Any]:
    """Return the result as plain values, areas in km2, without a place."""
    joint, trial = played.joint, played.trial
    return {
        "left_km2": played.left_km2,
        "rsa95_km2": None if joint is None else joint.area_km2,
        "half_km2": played.half_km2,
        "outright": played.outright,
        "misled": played.misled,
        "refused": played.refused,
        "declared_km2": played.prior_km2,
        "floor_km2": played.floor_km2,
        "lost_bits": None if joint is None else joint.posterior.lost_bits,
        "near_500m": None if joint is None else joint.near,
        "trials": None if trial is None else {"count": trial.trials, "covered": trial.covered, "level": trial.level},
        "truth": None
        if joint is None or joint.truth_inside is None
        else {"inside": joint.truth_inside, "error_m": joint.error_m},
        "leaks": list(played.leaks),
        "attacks": [
            {
                "name": finding.attack,
                "worked": finding.worked,
                "rsa95_km2": played.each[finding.attack].area_km2 if finding.attack in played.each else None,
                "words": finding.words,
                "leaks": list(finding.leaks),
                "facts": dict(finding.facts),
            }
            for finding in played.findings
        ],
        "without": {str(item.field): item.area_km2 for item in played.withheld},
    }
