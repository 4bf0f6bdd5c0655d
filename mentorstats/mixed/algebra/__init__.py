"""Sparse factorisation, covariance factors and optimisation; knows no model."""
