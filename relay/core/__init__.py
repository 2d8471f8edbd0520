"""The core: decode, fuse, disclose, embargo, release, wire. No I/O, no clock, no randomness, no logging."""
