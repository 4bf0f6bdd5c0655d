"""Agreement beyond chance: weights, the family of coefficients, their intervals."""
