"""Scores as numbers: intraclass correlations, concordance, limits of agreement, tests of margins."""
