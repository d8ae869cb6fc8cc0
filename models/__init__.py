"""Sample jobs of our own invention; `gapcast demo` copies them."""
