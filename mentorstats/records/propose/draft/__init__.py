"""A proposal as it grows, from a draft a table to the text of mapping.toml, and what an old mapping knew."""
