"""Pages for paper: the offer."""
