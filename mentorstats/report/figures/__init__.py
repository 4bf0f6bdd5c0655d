"""Figures: one style, drawn on given axes."""
