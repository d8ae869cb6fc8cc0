"""What things cost: packages that cover a quantity, and amounts of one currency."""
