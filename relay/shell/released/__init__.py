"""Released records as files: recordings, briefings, exports, and how anybody checks them."""
