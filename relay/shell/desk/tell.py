"""`offing tell`: one decision from the operator's hand to the running relay."""

import argparse
import asyncio
import getpass
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from relay.core.errors import OperatorError, RefusedError
from relay.core.still import write_still
from relay.shell.desk.control import ask_control
from relay.shell.desk.tell_words import say_status, say_taken
from relay.shell.plan.expedition import expedition_file, read_expedition
from relay.shell.plan.quantities import duration_us, length_m, say_duration
from relay.shell.record.still_file import CAUTION, Picture, keep_original, made_still, read_picture

Number = TypeVar("Number", int, float)


def tell(options: argparse.Namespace) -> int:
    """Take the decision in `options` to the relay and print what it does."""
    return asyncio.run(_tell(options, read_expedition(expedition_file(options.expedition)).private))


async def _tell(options: argparse.Namespace, folder: Path) -> int:
    if options.word == "status":
        status = await ask_control(folder, {"do": "status"})
        print(_json(status) if options.json else say_status(status))
        return 0
    if options.word == "say" and options.still is not None:
        return await _show(options, folder)
    now_us = int((await ask_control(folder, {"do": "status"}))["now_us"]) if options.word in ("cut", "early") else None
    message = _message(options, now_us)
    answer = await _decided(options, folder, {**message, "who": options.who or getpass.getuser()})
    print(_json(answer) if options.json else say_taken(message, answer, now_us))
    return 0


async def _decided(options: argparse.Namespace, folder: Path, message: dict[str, Any]) -> dict[str, Any]:
    """Take a decision to the relay, a second time where that asks back."""
    answer = await ask_control(folder, message)
    if "confirm" not in answer:
        return answer
    if not _agreed(options.audience, str(answer["question"])):
        raise OperatorError("nothing was released early")
    return await ask_control(folder, {**message, "code": answer["confirm"]})


async def _show(options: argparse.Namespace, folder: Path) -> int:
    """Say something with a still: its original is kept on the disk before the decision is in the journal."""
    picture = read_picture(options.still)
    still = made_still(options.still, picture)
    if not options.looked:
        raise OperatorError(f"{CAUTION}\nLook at {options.still}; if nothing in it tells a place, add --looked.")
    await ask_control(folder, {"do": "status"})
    message = _message(options, None)
    answer = await _sent(options, folder, picture, {**message, "still": write_still(still)})
    width, height = still.size
    told = {"width": width, "height": height, "octets": len(still.jpeg), "original": still.original}
    print(_json({**answer, "still": told}) if options.json else say_taken(message, {**answer, "still": told}, None))
    print(CAUTION, file=sys.stderr)
    return 0


async def _sent(options: argparse.Namespace, folder: Path, picture: Picture, message: dict[str, Any]) -> dict[str, Any]:
    """Keep the original, send the decision, and let the original go again if that is refused."""
    kept, is_new = keep_original(folder, picture)
    try:
        return await ask_control(folder, {**message, "who": options.who or getpass.getuser()})
    except RefusedError:
        if is_new:
            kept.unlink(missing_ok=True)
        raise


def _message(options: argparse.Namespace, now_us: int | None) -> dict[str, Any]:
    """Return the decision in its journal form, times ago turned into moments of the embargo clock."""
    word = options.word
    if word == "stop":
        return {"do": "hold"}
    if word in ("begin", "end"):
        return {"do": word}
    if word == "hold":
        return {"do": "hold", "audience": options.audience}
    if word == "resume":
        return {"do": "resume", "audience": options.audience, "outside": options.outside}
    if word == "leg":
        return {"do": "leg", "vehicle": options.vehicle, "leg": None if options.leg == "auto" else options.leg}
    if word == "say":
        said = {"do": "say", "text": options.text, "vehicle": options.vehicle, "audiences": options.audience}
        return {**said, "wait": True} if options.wait else said
    if word == "target":
        named = {"do": "target", "name": options.name, "verdict": options.verdict, "vehicle": options.vehicle}
        return {**named, **_sighting(options)}
    if word in _DESK:
        return {"do": word, **_DESK[word](options)}
    assert now_us is not None
    if word == "early":
        return {"do": "early", "audience": options.audience, "upto_us": max(0, now_us - _ago_us(options.since))}
    return _cut(_ago_us(options.since), _ago_us(options.until), now_us)


def _sighting(options: argparse.Namespace) -> dict[str, Any]:
    """Return how the vehicle sees a target, if that is said: both range and bearing."""
    if options.bearing is None and options.range is None and options.depression is None:
        return {}
    if options.bearing is None or options.range is None:
        raise OperatorError("a target is placed by --bearing and --range: give both, or neither")
    seen = {
        "bearing_deg": options.bearing,
        "range_m": _read(length_m, options.range),
        "range_is": options.range_is,
        "bearing_sigma_deg": options.bearing_sigma,
        "range_sigma_m": options.range_sigma,
        "heading_sigma_deg": options.heading_sigma,
        "place_sigma_m": options.place_sigma,
    }
    if options.depression is not None:
        seen |= {"depression_deg": options.depression, "depression_sigma_deg": options.depression_sigma}
    return {"sighting": seen}


def _zone(options: argparse.Namespace) -> dict[str, Any]:
    return {
        "name": options.name,
        "centre": options.centre,
        "radius_m": _read(length_m, options.radius),
        "margin_m": _read(length_m, options.margin),
        "action": "freeze" if options.freeze else "withhold",
    }


def _expect(options: argparse.Namespace) -> dict[str, Any]:
    every = options.reports_every
    return {
        "vehicle": options.vehicle,
        "return_in_s": _ago_us(options.returns_in) / 1e6,
        "return_grace_s": _ago_us(options.grace) / 1e6,
        "report_every_s": None if every is None else _ago_us(every) / 1e6,
        "report_grace_s": _ago_us(options.reports_grace) / 1e6,
    }


def _programme(options: argparse.Namespace) -> dict[str, Any]:
    """Return the programme; one of nothing only where that is asked for."""
    told = options.pinned is not None or options.schedule or options.next_dive is not None
    if told == options.none:
        raise OperatorError("say what is to come (--pinned, --schedule, --next-dive), or --none to take it away")
    in_s = None if options.next_dive is None else _ago_us(options.next_dive) // 1_000_000
    return {"pinned": options.pinned, "schedule": options.schedule, "next_dive_in_s": in_s}


_DESK: dict[str, Callable[[argparse.Namespace], dict[str, Any]]] = {
    "approve": lambda options: {"say": options.say},
    "dismiss": lambda options: {"say": options.say},
    "zone": _zone,
    "unzone": lambda options: {"name": options.name},
    "expect": _expect,
    "back": lambda options: {"vehicle": options.vehicle},
    "programme": _programme,
}


def _cut(since_us: int, until_us: int, now_us: int) -> dict[str, Any]:
    """Return the cut from so long ago to so long ago, both on the embargo clock."""
    if since_us <= until_us:
        raise OperatorError('a cut goes from longer ago to less long ago, such as: cut "12 min" "3 min"')
    if until_us >= now_us:
        ago = say_duration(now_us)
        raise OperatorError(
            f"nothing was recorded that long ago: the record begins {ago} ago, so there is nothing to cut"
        )
    return {"do": "cut", "from_us": max(0, now_us - since_us), "to_us": now_us - until_us}


def _ago_us(text: str) -> int:
    return 0 if text == "now" else _read(duration_us, text)


def _read(read: Callable[[object], Number], text: str) -> Number:
    """Return a quantity; OperatorError says how it is written."""
    try:
        return read(text)
    except ValueError as error:
        raise OperatorError(str(error)) from error


def _agreed(audience: str, question: str) -> bool:
    """Ask on the terminal; only the audience's name, typed, is a yes."""
    print(question.replace("Send it again with this code.", "It can't be taken back."), file=sys.stderr)
    print(f"Type the audience's name ({audience}) to release early: ", file=sys.stderr, end="", flush=True)
    return sys.stdin.readline().strip() == audience


def _json(answer: dict[str, Any]) -> str:
    return json.dumps(answer, indent=2, ensure_ascii=False)
