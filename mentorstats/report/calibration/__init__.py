"""Sections about raters and groups."""
