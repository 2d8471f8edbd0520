"""Charts: how each kind is read, made even, merged, and how wrong it says it is."""
