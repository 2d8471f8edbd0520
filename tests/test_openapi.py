"""The OpenAPI document against a running site and a running shore, judged by the library `schemathesis`."""

import asyncio
import copy
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from described_http import BESIDE, DESCRIBED, document, told_shore, tried
from peers import get, publish, running
from relay.shell.site.pages import load_site
from relay.shell.site.public_files import PublicFiles, Telling
from relay.shell.site.site import Site
from released import EXPEDITION, dive, programme

PAGE = Path(__file__).resolve().parents[1] / "web" / "dist"
DOCUMENT: dict[str, Any] = yaml.safe_load(DESCRIBED.read_text())
# One of each kind for the quick run; `make conformance` tries them all, and a guest's requests.
KINDS = ("divesOf", "recording", "divePage", "guest", "live", "followers")
FETCHED = ("/dives.json", "/programme.json", "/followers.json", "/expedition.html", "/pictures/expedition.png", "/live")


def test_document_is_of_openapi_3_1() -> None:
    """The schema of OpenAPI 3.1 (as the library `schemathesis` has it) finds nothing in it, and names are used once."""
    from jsonschema import Draft202012Validator  # heavy imports, for those alone that need them
    from schemathesis.specs.openapi.definitions import OPENAPI_31

    assert list(Draft202012Validator(OPENAPI_31).iter_errors(DOCUMENT)) == []
    names = [path["get"]["operationId"] for path in DOCUMENT["paths"].values()]
    assert len(set(names)) == len(names) == len(DOCUMENT["paths"])
    assert yaml.safe_load(BESIDE.read_text())["components"]["schemas"]["programme"]


def described(path: str) -> list[str]:
    """Return the paths of the document that a path is of."""
    return [each for each, item in DOCUMENT["paths"].items() if re.fullmatch(_pattern(each, item), path)]


def _pattern(path: str, item: dict[str, Any]) -> str:
    pattern = re.escape(path)
    for one in _parameters(item):
        if one["in"] == "path":
            pattern = pattern.replace(re.escape(f"{{{one['name']}}}"), f"(?:{one['schema']['pattern'].strip('^$')})")
    return pattern


def _parameters(item: dict[str, Any]) -> list[dict[str, Any]]:
    given = item["get"].get("parameters", [])
    return [
        DOCUMENT["components"]["parameters"][one["$ref"].rpartition("/")[2]] if "$ref" in one else one for one in given
    ]


def test_every_path_that_a_site_gives_out_is_described_once() -> None:
    """What is made of records, what the built page has, the counts, the guest's file and the socket; nothing twice."""
    site = Site(EXPEDITION)
    publish(site, [*dive(1, 3), *dive(1_000, 2)])
    history = site.history("public")
    assert history is not None
    made = PublicFiles(Telling(EXPEDITION), {"public": history}, "public", b"")
    paths = {f"/{path}" for path in made.paths()} | {"/", "/followers.json", "/guest.json", "/live"}
    paths |= set(load_site(PAGE, 1 << 26)) if PAGE.is_dir() else set()
    assert len(paths) > 15
    assert {path: len(described(path)) for path in paths} == dict.fromkeys(paths, 1)
    assert described("/dive-1.html") == described("/recordings/public/other") == described("/dive-0001.html") == []


async def test_head_answers_as_get_does() -> None:
    """RFC 9110 section 9.3.2, for each path without a name in it: the same status and headers, and no body."""
    paths = [path for path, item in DOCUMENT["paths"].items() if "{" not in path and item["get"]["tags"] == ["site"]]
    async with running() as site:
        publish(site, dive(1, 3))
        for path in paths:
            by_get, by_head = await get(site, path), await get(site, path, method="HEAD")
            assert (by_head.status, by_head.headers.items(), by_head.body) == (
                by_get.status,
                by_get.headers.items(),
                b"",
            )


@pytest.mark.slow
async def test_answers_of_a_running_shore_are_as_described(tmp_path: Path) -> None:
    """Requests right and wrong to a path of each kind, as a stranger: each check of the library but one is silent."""
    (tmp_path / "tried").mkdir()
    chosen = [word for name in KINDS for word in ("--include-operation-id", name)]
    async with told_shore(tmp_path) as told:
        more = ("--phases", "examples,coverage", *chosen)
        checked = await tried(tmp_path / "tried", document(None), told.site, *more, tag="", count=1, seed=9)
    assert checked.ok, checked.words
    assert f"Tested: {len(KINDS)}" in checked.words
    assert checked.requests > 60, checked.words


def faults_of(described_: dict[str, Any], path: str, address: tuple[str, int]) -> list[str]:
    """Return what the library finds wrong with the answer to one right request, by a description."""
    import schemathesis
    from schemathesis.core.failures import FailureGroup

    schema = schemathesis.openapi.from_dict({**described_, "servers": [{"url": "http://{}:{}".format(*address)}]})
    schema.location = DESCRIBED.as_uri()
    case = schema[path]["GET"].Case()
    response = case.call(base_url="http://{}:{}".format(*address))
    try:
        case.validate_response(response)
    except FailureGroup as group:
        return [type(failure).__name__ for failure in group.exceptions]
    return []


def _at(*steps: Any, to: object) -> Callable[[dict[str, Any]], None]:
    def alter(value: Any) -> None:
        *way, last = steps
        for step in way:
            value = value[step]
        value[last] = to

    return alter


def _answer(path: str, *steps: Any) -> tuple[Any, ...]:
    return ("paths", path, "get", "responses", *steps)


PARTS = ("components", "responses", "dives", "content", "application/json", "schema", "properties")
JSON_BODY = ("200", "content")
ALTERED: list[tuple[str, Callable[[dict[str, Any]], Any], str]] = [
    ("/live", lambda value: value["paths"]["/live"]["get"]["responses"].pop("426"), "UndefinedStatusCode"),
    ("/dives.json", _at(*_answer("/dives.json"), to={"404": {"description": ""}}), "UndefinedStatusCode"),
    ("/followers.json", _at(*_answer("/followers.json", *JSON_BODY), to={"text/html": {}}), "UndefinedContentType"),
    ("/followers.json", _at("components", "headers", "sniff", "schema", to={"const": "sniff"}), "JsonSchemaError"),
    ("/live", _at(*_answer("/live", "426", "headers", "Date"), to={"required": True, "schema": {}}), "MissingHeaders"),
    ("/dives.json", _at(*PARTS, "format", to={"const": 2}), "JsonSchemaError"),
    ("/dives.json", _at(*PARTS, "dives", "items", "properties", "closed", to={"type": "string"}), "JsonSchemaError"),
    ("/expedition.html", _at(*PARTS[:2], "page", "content", to={"text/plain": {}}), "UndefinedContentType"),
]  # fmt: skip


async def test_altered_description_is_not_what_a_site_answers() -> None:
    """One thing changed in the document, and the library finds the answers to be none of it: it isn't loose."""
    async with running() as site:
        publish(site, [*dive(1, 3), programme(0, "The boiler is next.", "the bow")])
        for path in FETCHED:
            assert await asyncio.to_thread(faults_of, DOCUMENT, path, site.address) == []
        for path, alter, fault in ALTERED:
            altered = copy.deepcopy(DOCUMENT)
            alter(altered)
            assert fault in await asyncio.to_thread(faults_of, altered, path, site.address), path
