"""Expeditions with a promise for tests: an invented slope as chart, and audits that have passed or not."""

from dataclasses import replace
from pathlib import Path

from audit_settings import AREA, CHARTS, promised
from expeditions import changed
from relay.core.policy import MICROSECONDS, Policy
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.ship.audit_result import Audited, digests_of, write_passed

PASSED = Audited(
    audience="public", low_km2=120.0, level=0.97, covered=0.95, sites=200, turns=72, seed=1,
    dive="the invented dive", dive_sha256="", seabed="chart.csv, every second node of it",
)  # fmt: skip
FIELDS = 'fields = ["track", "depth", "heading", "mode", "notes"]'
TELLING = FIELDS.replace('"track",', '"track", "altitude", "leg",')


def slope(path: Path) -> None:
    """Write a chart about 41 south, 17.5 east: 40 x 40 nodes some 550 m apart, from 100 m in the west down to 490 m."""
    lines = ["lon_deg,lat_deg,depth_m"]
    lines += [
        f"{17.4 + 0.0065 * column:.4f},{-41.1 + 0.005 * row:.4f},{100 + 10 * column + 0.1 * row:.1f}"
        for row in range(40)
        for column in range(40)
    ]
    path.write_text("\n".join(lines) + "\n")


def promising(folder: Path, promise: str = "87 km2", more: str = "") -> Expedition:
    """Return an expedition below a folder whose first audience has a promise, with its chart; nothing is audited."""
    slope(folder / "chart.csv")
    text = changed(*promised(f'promise = "{promise}"', CHARTS + AREA + more)).replace(FIELDS, TELLING)
    return parse_expedition(text, folder / "EXPEDITION.toml")


def quick(expedition: Expedition, name: str = "public") -> Expedition:
    """Return it with a delay for one audience, and none for the others, that a test can wait for."""

    def hurried(policy: Policy) -> Policy:
        delay_us = MICROSECONDS if policy.audience == name else 0
        return replace(policy, delay_us=delay_us, extra_us=0, tick_us=MICROSECONDS)

    plan = expedition.plan
    policies = tuple(map(hurried, plan.policies))
    return replace(expedition, plan=replace(plan, policies=policies))


def audited(expedition: Expedition, found: Audited = PASSED) -> Expedition:
    """Return the expedition after an audit that found this."""
    write_passed(expedition, [found], audited=digests_of(expedition), who="Ines", wall_s=1_900_000_000.0)
    return expedition
