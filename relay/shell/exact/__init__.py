"""The exact record as dives and as tables, and the formats it is exported in."""
