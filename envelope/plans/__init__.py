"""What to do first: which faces get which treatment, for how much, in which order."""
