"""Raters against expert scores: accuracy, certification, control charts."""
