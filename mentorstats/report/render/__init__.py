"""A report turned into bytes: page, text."""
