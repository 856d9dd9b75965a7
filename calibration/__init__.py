"""From a pad's colour to a concentration with a band, by the shop's own calibration table."""
