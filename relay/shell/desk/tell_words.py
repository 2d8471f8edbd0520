"""What `offing tell` answers, in words: what a decision does, and how a site stands.

The answers themselves are those of `relay.shell.desk.standing`; `--json` prints them as they are.
"""

from typing import Any

from relay.shell.plan.quantities import say_duration

_LATER = "It goes out as late as everything else."


def say_taken(message: dict[str, Any], answer: dict[str, Any], now_us: int | None) -> str:
    """Return what a decision that was taken does; `now_us` is the moment that its times were counted back from."""
    words = _WORDS[message["do"]](message, answer, now_us or 0)
    return f"{words}\nBUT {answer['but']}." if "but" in answer else words


def _to(message: dict[str, Any]) -> str:
    return str(message.get("audience") or "everybody")


def _hold(message: dict[str, Any], _answer: dict[str, Any], _now_us: int) -> str:
    to = message.get("audience") or "anybody"
    return (
        f"Held: nothing more goes to {to}. What falls due meanwhile is kept: `resume` sends it all at once, "
        "and `cut` before that removes what must never go out."
    )


def _resume(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    said = f"Resumed: what fell due meanwhile goes to {_to(message)} now, and then what follows."
    stays = [
        f"NOT to {audience}: {vehicle} was outside the declared area. `resume {audience}` resumes it all the same."
        for audience, vehicle in answer.get("stays_stopped", {}).items()
    ]
    return "\n  ".join([said, *stays])


def _cut(message: dict[str, Any], answer: dict[str, Any], now_us: int) -> str:
    begun, ended = (say_duration(now_us - message[key]) for key in ("from_us", "to_us"))
    lines = [f"Cut: what was received and told from {begun} to {ended} ago, where it is not out yet."]
    lines += [_out(audience, much) for audience, much in answer["already_out"].items()]
    return "\n  ".join(lines)


def _out(audience: str, much: str) -> str:
    if much == "none of it":
        return f"{audience}: none of it was out"
    return f"{audience} ALREADY HAS {much}, which can't be taken back"


def _early(message: dict[str, Any], answer: dict[str, Any], now_us: int) -> str:
    who, ago = message["audience"], say_duration(now_us - message["upto_us"])
    if answer["already_out"]:
        return f"{who} has already what was received until {ago} ago."
    if answer["held"]:
        return f"{who} is HELD: what was received until {ago} ago goes out when you resume it."
    return f"Released early: {who} gets what was received until {ago} ago with its next update."


def _leg(message: dict[str, Any], _answer: dict[str, Any], _now_us: int) -> str:
    if message["leg"] is None:
        return f"From now on {message['vehicle']}'s leg is judged by depth and height again. {_LATER}"
    return f"From now on {message['vehicle']} counts as in the leg: {message['leg']}. {_LATER}"


def _say(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    who = ", ".join(message["audiences"]) or "all who get annotations"
    if message.get("wait"):
        with_still = ", with its still" if "still" in answer else ""
        return f"Kept for approval{with_still}: told to nobody. `status` says its row; `approve ROW` tells it to {who}."
    if "still" not in answer:
        return f"Said, to {who}. {_LATER}"
    still = answer["still"]
    size = f"{still['width']} × {still['height']} pixels, {still['octets']:,} bytes"
    return f"Said, to {who}, with a still ({size}) for {', '.join(answer['still_for'])}. {_LATER}"


def _target(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    told = f'Target "{message["name"]}": {message["verdict"]}. {_LATER}'
    if "place" not in answer:
        return told
    place = answer["place"]
    doubt = "" if place["first_order"] else " That circle is too small: the uncertainties are too large for it."
    return (
        f"{told}\n  It lies at {place['latitude_deg']:.6f}, {place['longitude_deg']:.6f}, with 95 % within "
        f"{place['radius_95_m']:.3g} m.{doubt} That stays on the ship."
    )


def _zone(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    whom = ", ".join(answer["hidden_from"]) or "nobody"
    exact = f" NOT from {', '.join(answer['exact_to'])}, who are told the exact place." if answer["exact_to"] else ""
    out = "What has left can't be taken back."
    return f'Zone "{message["name"]}": hidden at once, in all that hasn\'t left, from {whom}.{exact} {out}'


def _unzone(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    whom = ", ".join(answer["lifted_for"])
    return f'Zone "{message["name"]}" lifted for {whom}: from now on a vehicle is shown there again. {_LATER}'


def _expect(message: dict[str, Any], _answer: dict[str, Any], _now_us: int) -> str:
    back = say_duration(round(message["return_in_s"] * 1e6))
    return f"Expected: {message['vehicle']} back in {back}. Nobody ashore is told of it."


def _programme(message: dict[str, Any], answer: dict[str, Any], _now_us: int) -> str:
    if message["pinned"] is None and not message["schedule"] and message["next_dive_in_s"] is None:
        return f"Followers are no longer told what is to come. {_LATER}"
    lines = [f"Programme told, in the place of the one before. {_LATER}"]
    lines += [f"{audience}: {_until(left_s)}" for audience, left_s in answer["told_as"].items()]
    return "\n  ".join(lines)


def _until(left_s: int | None) -> str:
    if left_s is None:
        return "nothing is said of the next dive"
    return (
        f"the next dive in about {say_duration(left_s * 1_000_000)}, counted down" if left_s else "the next dive soon"
    )


_WORDS = {
    "hold": _hold,
    "resume": _resume,
    "cut": _cut,
    "early": _early,
    "leg": _leg,
    "say": _say,
    "target": _target,
    "approve": lambda *_: f"Approved. {_LATER}",
    "dismiss": lambda *_: "Dismissed: it is told to nobody.",
    "zone": _zone,
    "unzone": _unzone,
    "expect": _expect,
    "back": lambda message, *_: f"{message['vehicle']} is back: nothing is awaited of it any more.",
    "programme": _programme,
    "begin": lambda *_: f"A dive begins now, for every audience. {_LATER}",
    "end": lambda *_: f"The dive ends now, for every audience. {_LATER}",
}


def say_status(status: dict[str, Any]) -> str:
    """Return how a site stands: alarms first, then audiences, feeds, and what was kept back."""
    now_us = status["now_us"]
    return "\n".join([
        *(f"ALARM: {alarm}" for alarm in status["alarms"]),
        "A dive is under way." if status["dive_under_way"] else "No dive is under way now.",
        *(f"{name}: {_audience(audience, now_us)}" for name, audience in status["audiences"].items()),
        *_link(status.get("uplink")),
        *(f"feed {name}: {_feed(feed)}" for name, feed in status["feeds"].items()),
        *(_kept_back(item, now_us) for item in status["kept_back"]),
        *(_waits(item, now_us) for item in status["waiting"]),
        *(_known(item) for item in status["targets"]),
        *(_found(item) for item in status["finds"]),
        *(f'zone "{zone["name"]}" of the {zone["of"]}' for zone in status["zones"]),
        *(_awaited(item, now_us) for item in status["expected"]),
    ])  # fmt: skip


def _audience(audience: dict[str, Any], now_us: int) -> str:
    edge_us, state = audience["edge_us"], audience["state"]
    out = (
        f"out is what was received until {say_duration(now_us - edge_us)} ago" if edge_us > 0 else "nothing is out yet"
    )
    return f"{_STATES.get(state, state)}; {out}"


def _link(uplink: dict[str, Any] | None) -> list[str]:
    """Return how the link to the shore stands, nothing where the expedition file has none."""
    if uplink is None:
        return []
    behind = [_behind(name, held) for name, held in uplink["audiences"].items() if held["behind_records"] != 0]
    ashore = "; ".join(behind) or "all ashore"
    if uplink["state"] != "up":
        since = say_duration(round(uplink["down_since_s"] * 1e6))
        return [f"link to the shore: NONE for {since}: {uplink['words']}; {ashore}"]
    return [f"link to the shore: up for {say_duration(round(uplink['up_since_s'] * 1e6))}; {ashore}"]


def _behind(name: str, held: dict[str, Any]) -> str:
    if held["behind_records"] is None:
        return f"what of {name} is ashore isn't known"
    records, since = held["behind_records"], say_duration(round(held["behind_s"] * 1e6))
    return f"of {name} {records} {'record is' if records == 1 else 'records are'} not ashore, the oldest for {since}"


_STATES = {"held": "HELD", "releasing": "a dive is being shown", "between dives": "no dive is being shown"}


def _feed(feed: dict[str, Any]) -> str:
    if not feed["bytes"]:
        return "nothing received yet"
    why = ", ".join(f"{count} {reason}" for reason, count in feed["rejected"].items())
    passed = f", and {feed['passed_over']} that hold nothing that is used" if feed["passed_over"] else ""
    return f"{feed['accepted']} messages taken{passed}; rejected: {why or 'none'}"


def _kept_back(item: dict[str, Any], now_us: int) -> str:
    ago = say_duration(now_us - item["at_us"])
    return f'kept from {", ".join(item["from"])}, {ago} ago: "{item["text"]}": {" ".join(item["why"])}'


def _waits(item: dict[str, Any], now_us: int) -> str:
    ago = say_duration(now_us - item["at_us"])
    return f'waits for approval: row {item["say"]}, by {item["who"]}, {ago} ago: "{item["text"]}"'


def _known(item: dict[str, Any]) -> str:
    place = "place unknown"
    if item["latitude_deg"] is not None:
        place = f"{item['latitude_deg']:.6f}, {item['longitude_deg']:.6f}, 95 % within {item['radius_95_m']:.3g} m"
    return f'target "{item["name"]}": {item["verdict"]}; {place}'


def _found(item: dict[str, Any]) -> str:
    place = "place not recorded"
    if item["latitude_deg"] is not None:
        radius_m = item["radius_95_m"]
        known = "" if radius_m is None else f", 95 % within {radius_m:.3g} m"
        place = f"{item['latitude_deg']:.6f}, {item['longitude_deg']:.6f}{known}"
    first = item["as_found"]
    which = "as found" if item["records"] == 1 else f"as found in row {first['row']}: {first['what']}; now"
    return f'find "{item["name"]}", row {item["row"]}, {which}: {item["what"]}; {place}'


def _awaited(item: dict[str, Any], now_us: int) -> str:
    if item["back_us"] is not None:
        return f"{item['vehicle']} is back, since {say_duration(now_us - item['back_us'])}"
    left_us = item["return_us"] - now_us
    when = f"in {say_duration(left_us)}" if left_us >= 0 else f"{say_duration(-left_us)} AGO"
    return f"{item['vehicle']} is to be back {when}"
