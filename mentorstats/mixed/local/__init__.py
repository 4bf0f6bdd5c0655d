"""About the optimum of an ordinal model: its quadratic expansion, and what the score test makes of it."""
