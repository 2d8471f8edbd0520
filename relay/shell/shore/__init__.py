"""The relay ashore: what it keeps, several of them on a stream, what its machine is told."""
