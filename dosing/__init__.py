"""From a tub's log to the next step: water, products, procedures, gates."""
