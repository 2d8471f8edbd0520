"""The shell: sockets, files, clocks and processes around the core."""
