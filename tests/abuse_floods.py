"""x."""

from abuse_attack import Attack

ATTACKS: list[Attack] = []
