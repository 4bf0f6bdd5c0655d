"""Sections about accuracy against expert scores."""
