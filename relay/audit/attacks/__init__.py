"""The outsider's attacks, each in a file of its own, and what they share."""
