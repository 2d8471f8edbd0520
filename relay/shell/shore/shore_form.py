"""The form of a shore's file: what may stand in it, within which limits.

Rules (R4): an unknown key or a value out of its limits is refused; nothing in it is secret but
a stream's password, which is never printed. What may watch a shore is
its machine's own network alone.
"""

from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StrictBool, model_validator

from relay.core.seal import parse_key
from relay.shell.plan.desk_address import near_address
from relay.shell.plan.expedition_form import Name, Slug, listen_address
from relay.shell.plan.host_names import UNASKED, can_be_asked_for
from relay.shell.plan.quantities import questions_address, web_address

MOST_AUDIENCES, MOST_PROCESSES = 16, 64


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=False, frozen=True)


def _listens(text: str) -> str:
    listen_address(text)
    return text


def _listens_near(text: str) -> str:
    near_address(*listen_address(text), why="health and counts are for the machine's own network")
    return text


def _ship_key(text: str) -> str:
    try:
        parse_key(text)
    except ValueError as error:
        raise ValueError(
            f"{text!r} is not a ship's key: write the 64 hexadecimal digits, letters small, that `offing key "
            "EXPEDITION.toml` prints aboard"
        ) from error
    return text


def _stream_url(text: str) -> str:
    try:
        parts = urlsplit(text)
        host = parts.hostname or ""
        fits = parts.scheme in ("nats", "tls") and host != "" and (parts.port or 0) >= 0
    except ValueError:
        host, fits = "", False
    why = "" if can_be_asked_for(host) else f": {UNASKED}"
    if why or not fits:
        told = "***@" + text.rpartition("@")[2] if "@" in text else text
        raise ValueError(f'{told!r} is not where a stream is{why}; write it as "nats://127.0.0.1:4222"')
    return text


_Listen = Annotated[str, AfterValidator(_listens)]


class _TlsPart(_Part):
    certificate: Annotated[str, Field(min_length=1)] | None = None
    key: Annotated[str, Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _both(self) -> "_TlsPart":
        if (self.certificate is None) != (self.key is None):
            raise ValueError("certificate and key go together: give both, each the path of a PEM file")
        return self


class ShorePart(_Part):
    """Whose shore it is, what it keeps, and who may follow. `expedition`: as it is called before the first dive."""

    expedition: Name
    key: Annotated[str, AfterValidator(_ship_key)]
    language: Literal["en", "de"] = "en"
    address: Annotated[str, AfterValidator(web_address)] | None = None
    questions_to: Annotated[str, AfterValidator(questions_address)] | None = None
    folder: Annotated[str, Field(min_length=1)] = "shore"
    open: Annotated[list[Slug], Field(max_length=MOST_AUDIENCES)] = []
    invited: Annotated[list[Slug], Field(max_length=MOST_AUDIENCES)] = []


class SitePart(_TlsPart):
    """Where followers come: with TLS by files, or plain, for behind a proxy."""

    listen: _Listen = "127.0.0.1:8080"
    behind_proxy: StrictBool = False
    processes: Annotated[int, Field(strict=True, ge=1, le=MOST_PROCESSES)] = 1


class UplinkPart(_Part):
    """Where the ship dials in: always with TLS, and always with a certificate of its own."""

    listen: _Listen
    certificate: Annotated[str, Field(min_length=1)]
    key: Annotated[str, Field(min_length=1)]


class StreamPart(_Part):
    """A stream of NATS JetStream that several shores share."""

    url: Annotated[str, AfterValidator(_stream_url)]
    name: Slug = "offing"


class WatchPart(_Part):
    """Where the machine's own network asks how the shore is."""

    listen: Annotated[str, AfterValidator(_listens_near)] = "127.0.0.1:9108"


class File(_Part):
    """A whole shore file."""

    shore: ShorePart
    site: SitePart = SitePart()
    uplink: UplinkPart | None = None
    stream: StreamPart | None = None
    watch: WatchPart | None = None


PARTS: dict[str, type[BaseModel]] = {
    "shore": ShorePart,
    "site": SitePart,
    "uplink": UplinkPart,
    "stream": StreamPart,
    "watch": WatchPart,
}
ADD = {
    "shore": "add [shore] with expedition, key and open",
    "shore.expedition": 'add what the page is called before the first dive, such as expedition = "The search"',
    "shore.key": "add the ship's key: `offing key EXPEDITION.toml` prints it aboard",
    "uplink.listen": 'add where the ship dials in, such as listen = "0.0.0.0:8444"',
    "uplink.certificate": 'add the certificate that the ship knows by its pin: certificate = "uplink.pem"',
    "uplink.key": 'add the private key of that certificate: key = "uplink.key"',
    "stream.url": 'add where the stream is, such as url = "nats://127.0.0.1:4222"',
}
