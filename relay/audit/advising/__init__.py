"""The other way round: the finest settings that keep a promise."""
