"""Crossed random-effects models, linear and ordinal."""

from mentorstats.mixed.compare import Comparison
from mentorstats.mixed.fitting import fit
from mentorstats.mixed.result import Fit, likelihood_ratio
from mentorstats.mixed.terms import by, product, spline

__all__ = ["Comparison", "Fit", "by", "fit", "likelihood_ratio", "product", "spline"]
