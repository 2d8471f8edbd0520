"""The exact record as a whole: exported, proved, checked, backed up. For the ship, and whom she gives it to."""
