"""The shore's end of the link."""
