"""Crossed random-effects models, linear and ordinal."""

from mentorstats.mixed.design.terms import by, product, spline
from mentorstats.mixed.fitting import fit
from mentorstats.mixed.result import Fit, likelihood_ratio
from mentorstats.mixed.tables.compare import Comparison

__all__ = ["Comparison", "Fit", "by", "fit", "likelihood_ratio", "product", "spline"]
