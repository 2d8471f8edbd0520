"""Bytes in: sockets and lines that the relay listens to, and captures of them."""
