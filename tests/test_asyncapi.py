"""The AsyncAPI document against what a running site really sends, judged by jsonschema and msgpack alone."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgpack
import pytest
import yaml

import relay
from make_wire_vectors import hexed
from peers import get, live, on_both_loops, running, take
from relay.core.websocket import CloseCode
from relay.core.wire import decode
from relay.shell.released.outlet import Frame
from relay.shell.site.public_files import Telling
from released import EXPEDITION, dive_with_everything, programme

DOCUMENT: dict[str, Any] = yaml.safe_load((Path(relay.__file__).parent / "asyncapi.yaml").read_text())
MESSAGES = DOCUMENT["components"]["messages"]
VECTORS = json.loads((Path(__file__).parent / "vectors" / "wire.json").read_text())
NAMES = {0: "dive", 1: "tick", 2: "note", 3: "end", 4: "target", 5: "still", 7: "head"}
FRAMES = [bytes.fromhex(frame["hex"]) for frame in VECTORS["frames"]]
FRAMES += [frame.data for frame in dive_with_everything(2)]


def judge(schema: Any) -> Any:
    """Return the judge of a schema, which is one itself (JSON Schema 2020-12, by the library `jsonschema`)."""
    from jsonschema import Draft202012Validator  # a heavy import, for those alone that need it

    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def validator(name: str) -> Any:
    """Return the judge of one message of the document."""
    return judge(MESSAGES[name]["payload"]["schema"])


def unpacked(data: bytes) -> list[Any]:
    """Return a record as the document writes it: its bins in hexadecimal."""
    *fields, body, pad = msgpack.unpackb(data)
    assert isinstance(pad, bytes)
    return [*fields, hexed(body), pad.hex()]


async def received() -> list[bytes]:
    """Return the frames of the wire vectors, and of a dive that is told all, as a viewer gets them."""
    async with running() as site, live(site) as viewer:
        for data in FRAMES:
            record = decode(data)
            site.publish(Frame("public", record.dive, record.seq, record.kind == 3, 0, data))
        got = await take(viewer, len(FRAMES))
    assert got == FRAMES
    return got


@on_both_loops
async def test_real_frames_are_as_the_document_says() -> None:
    """Each message of the live socket is valid for its own schema and for no other; its length is a multiple of 64."""
    seen = set()
    for data in await received():
        value = unpacked(data)
        valid = {name for name in MESSAGES if validator(name).is_valid(value)}
        assert valid == {NAMES[value[2]]}, list(validator(NAMES[value[2]]).iter_errors(value))
        assert len(data) % 64 == 0
        seen |= valid
    assert seen == set(MESSAGES)


def _set(*path: int | str, to: object) -> Callable[[list[Any]], None]:
    def alter(value: Any) -> None:
        *steps, last = path
        for step in steps:
            value = value[step]
        value[last] = to

    return alter


def _drop(key: str) -> Callable[[list[Any]], None]:
    return lambda value: value[4].pop(key)


ALTERED: list[tuple[str, Callable[[list[Any]], Any]]] = [
    *((name, _set(0, to=0)) for name in NAMES.values()),
    *((name, _set(1, to=-1)) for name in NAMES.values()),
    *((name, _set(2, to=8)) for name in NAMES.values()),
    *((name, _set(3, to="0")) for name in NAMES.values()),
    *((name, _set(3, to=-15)) for name in NAMES.values()),
    *((name, _set(5, to="")) for name in NAMES.values()),
    *((name, _set(5, to="ff" * 63)) for name in NAMES.values()),
    *((name, _set(5, to="ff" * 64 + "0001")) for name in NAMES.values()),
    *((name, list.pop) for name in NAMES.values()),
    *((name, lambda value: value.append(None)) for name in NAMES.values()),
    *(("dive", _drop(key)) for key in ("format", "version", "vehicles", "tick_s", "delay_s")),
    *(("dive", _drop(key)) for key in ("cell_m", "depth_step_m", "heading_step_deg", "fields", "place")),
    ("dive", _set(4, "version", to=2)),
    ("dive", _set(4, "place", to="38.6 S")),
    ("dive", _set(4, "key", to="d75a98")),
    ("dive", _set(4, "delay_s", to=[2700])),
    ("tick", _set(4, 0, 0, to="lost")),
    ("tick", _set(4, 0, 1, to="25")),
    ("tick", _set(4, 0, 4, to=360)),
    ("tick", _set(4, 0, 5, to=12.5)),
    ("tick", _set(4, 0, 6, to="towed")),
    ("tick", _set(4, 0, 7, to="transit")),
    ("tick", _set(4, 0, 8, to=91)),
    ("tick", _set(4, 0, 10, to=91)),
    ("tick", lambda value: value[4][0].append(-38.6)),
    ("tick", lambda value: value[4][0].pop()),
    ("target", _set(4, 1, to="")),
    ("target", _set(4, 2, to="treasure")),
    ("note", _set(4, 0, to="Lantern")),
    ("note", _set(4, 1, to="")),
    ("note", _set(4, 1, to="x" * 501)),
    ("target", lambda value: value[4].pop()),
    ("still", _set(4, 1, to="")),
    ("still", _set(4, 2, to=0)),
    ("still", _set(4, 3, to=1_025)),
    ("still", _set(4, 4, to="89504e47ffd9")),
    ("still", lambda value: value[4].append("38.6 S")),
    ("end", _set(4, to=[])),
    ("head", _set(4, to=[])),
    ("head", _set(4, to=None)),
    ("head", _set(4, 0, to="ab" * 31)),
    ("head", _set(4, 0, to="ab" * 33)),
    ("head", lambda value: value[4].append(12)),
]  # fmt: skip


@pytest.mark.parametrize(("name", "alter"), ALTERED)
def test_altered_frame_is_not(name: str, alter: Callable[[list[Any]], object]) -> None:
    """One thing changed in a real frame, and the document no longer allows it: the schemas are not loose."""
    value = next(unpacked(data) for data in FRAMES[::-1] if NAMES[decode(data).kind] == name)
    assert validator(name).is_valid(value)
    altered = copy.deepcopy(value)
    alter(altered)
    assert not validator(name).is_valid(altered)


def test_reader_that_ignores_unknown_names_may_get_more() -> None:
    """The header of a dive may grow (the version rule): an unknown name is still valid."""
    value = unpacked(FRAMES[0])
    value[4]["something_later"] = True
    assert validator("dive").is_valid(value)


def test_document_names_every_close_code() -> None:
    """Each code of Offing's own, and each general one a viewer can meet, is in the text, with its reason."""
    text = DOCUMENT["info"]["description"]
    for code in set(CloseCode) - {CloseCode.NORMAL}:
        assert f"| {code.value} |" in text


def test_document_holds_together() -> None:
    """AsyncAPI 3.0.0: every reference leads somewhere, every message is of the channel and of the operation."""
    assert DOCUMENT["asyncapi"] == "3.0.0"
    channel = DOCUMENT["channels"]["live"]
    assert channel["address"] == "/live"
    references = [message["$ref"] for message in channel["messages"].values()]
    assert references == [f"#/components/messages/{name}" for name in MESSAGES]
    operation = DOCUMENT["operations"]["follow"]
    assert [message["$ref"] for message in operation["messages"]] == [f"#/channels/live/messages/{n}" for n in MESSAGES]


@on_both_loops
async def test_programme_is_a_file_as_the_document_says_and_never_on_the_socket() -> None:
    """Before and after it was told, for each open audience; who is on the socket gets nothing of it."""
    schema = judge(DOCUMENT["components"]["schemas"]["programme"])
    telling = Telling(EXPEDITION, questions_to="mailto:dive@museum.example")
    async with running("public", "press", telling=telling) as site, live(site) as viewer:
        values = [json.loads((await get(site, "/programme.json")).body)]
        site.publish(programme(0, "The boiler is next.", "the bow", left_s=10_800))
        site.publish(programme(0, "for the press", left_s=0, audience="press"))
        site.publish(programme(0, "for the family", audience="family"))
        values += [json.loads((await get(site, path)).body) for path in PROGRAMMES]
        assert (await get(site, "/recordings/family/programme.json")).status == 404
        frame = dive_with_everything(1)[0]
        site.publish(frame)
        assert await take(viewer, 1) == [frame.data]
    for value in values:
        assert list(schema.iter_errors(value)) == []
    told = [None if value["programme"] is None else value["programme"]["pinned"] for value in values]
    assert told == [None, "The boiler is next.", "The boiler is next.", "for the press"]


PROGRAMMES = ("/programme.json", "/recordings/public/programme.json", "/recordings/press/programme.json")


@pytest.mark.parametrize(
    "change",
    [{"pinned": ""}, {"schedule": "bow"}, {"schedule": [""]}, {"next_dive_in_s": 10_799}, {"next_dive_in_s": -1200},
     {"next_dive": 0}, {"number": -1}, {"pinned": 3}],
)  # fmt: skip
def test_altered_programme_is_not_as_the_document_says(change: dict[str, Any]) -> None:
    """One thing changed, a countdown that isn't in steps among them, and the schema refuses it."""
    told = {"number": 0, "pinned": "x", "schedule": ["bow"], "next_dive_in_s": 10_800, "next_dive": 1}
    value = {"format": 1, "audience": "public", "programme": told, "record": "lgA=", "questions_to": None}
    schema = judge(DOCUMENT["components"]["schemas"]["programme"])
    assert schema.is_valid(value)
    assert not schema.is_valid({**value, "programme": {**told, **change}})
    assert not schema.is_valid({**value, "record": "00 01"})
    assert not schema.is_valid({**value, "questions_to": "http://questions.example/"})
