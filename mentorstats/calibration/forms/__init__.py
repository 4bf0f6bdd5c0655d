"""Levels of one form beside each other: how criteria of one form go together, and halo."""
