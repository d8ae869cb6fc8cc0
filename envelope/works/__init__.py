"""From a chosen plan to the work: quantities, bonding, order of steps."""
