"""Decision studies: components projected to plans, with costs, cut scores and change."""
