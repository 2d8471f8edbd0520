"""The attacks, in the order in which they are played."""

from relay.audit.attack import Attack

ATTACKS: tuple[Attack, ...] = ()
