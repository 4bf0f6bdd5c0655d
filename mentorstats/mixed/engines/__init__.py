"""Criterion and gradient of linear and ordinal models, and the model assembled from them."""
