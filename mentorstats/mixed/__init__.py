"""Crossed random-effects models, linear and ordinal."""
