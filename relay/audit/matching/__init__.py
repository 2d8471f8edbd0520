"""A dive laid on a chart: likelihood, posterior, calibration."""
