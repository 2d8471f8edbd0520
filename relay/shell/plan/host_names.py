"""Hosts as the files name them: whether the system can be asked for one at all."""

UNASKED = "a part of its host is empty, longer than 63 characters or of some that no name can have"


def can_be_asked_for(host: str) -> bool:
    """Return whether a host, an address or a name, has the form in which names are resolved (RFC 1035 section 2.3.4).

    For any other `getaddrinfo` raises UnicodeError, which nobody expects of a network.
    """
    try:
        host.encode("idna")
    except UnicodeError:
        return False
    return True
