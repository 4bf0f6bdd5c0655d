"""Rows judged against the dictionary: types, dates, keys and levels."""
