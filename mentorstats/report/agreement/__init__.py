"""Sections about agreement."""
