"""Offing: let people ashore follow an underwater dive without being told where it is."""

__version__ = "0.1.0"
