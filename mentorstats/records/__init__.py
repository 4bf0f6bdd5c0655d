"""Exports of a programme to one checked long table."""
