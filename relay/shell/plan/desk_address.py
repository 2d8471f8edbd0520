"""Where the desk may listen, and by which names it may be spoken to.

Rules: the desk is for this machine or the ship's own network: one address, written out, that is loopback (RFC 1122
section 3.2.1.3, RFC 4291 section 2.5.3), private (RFC 1918, RFC 4193) or link-local (RFC 3927, RFC 4291 section 2.5.6);
any other would open it to a network that isn't the ship's. A request says in `Host` whom it means: any other name than
the desk's own is refused, or a page from elsewhere could reach it by a name that it has made to point here.
"""

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

NEAR = tuple(
    map(
        ip_network,
        "127.0.0.0/8 10.0.0.0/8 172.16.0.0/12 192.168.0.0/16 169.254.0.0/16 ::1/128 fc00::/7 fe80::/10".split(),
    )
)
_LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


_EXACT = "the desk shows everything exact"


def near_address(host: str, port: int, why: str = _EXACT) -> tuple[str, int]:
    """Return an address that the desk may listen on; ValueError says why it may not: `why`, and what to write."""
    address = _address("127.0.0.1" if host == "localhost" else host)
    if not any(address.version == network.version and address in network for network in NEAR):
        whose = " than the ship's" if why == _EXACT else ""
        raise ValueError(
            f"{why}, and {host} can be reached from other networks{whose}: write "
            'one address of this machine, loopback or private, such as "127.0.0.1:8090"'
        )
    return str(address), port


def _address(host: str) -> IPv4Address | IPv6Address:
    try:
        return ip_address(host)
    except ValueError as error:
        raise ValueError(
            f"{host!r} is a name, and what it stands for can change: write the address itself, such as "
            '"127.0.0.1:8090" or "192.168.7.2:8090"'
        ) from error


def hosts_of(host: str, port: int) -> frozenset[str]:
    """Return the values of `Host` that mean a desk listening on this address, in lower case."""
    address = ip_address(host)
    named = f"[{address.compressed}]" if address.version == 6 else str(address)
    names = {named.partition("%")[0] + ("]" if "%" in named else "")}
    if address.is_loopback:
        names |= set(_LOOPBACK)
    return frozenset(f"{name}:{port}" for name in names) | (frozenset(names) if port == 80 else frozenset())


def web_name(host: str, port: int) -> str:
    """Return the address of the desk's page for a browser, without the token."""
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"
