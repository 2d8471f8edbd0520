"""A dive's report, exact or released, as a page that prints."""
