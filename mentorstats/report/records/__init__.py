"""Sections about the records."""
