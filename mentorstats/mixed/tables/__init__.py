"""What a fitted model is asked: components, coefficients, effects, means, predictions, checks."""
