"""The link from ship to shore, both its ends."""
