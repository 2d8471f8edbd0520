"""The audit: the outsider's attacks on what was released, each in a file of its own."""
