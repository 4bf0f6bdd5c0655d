"""From a table of ratings to codes, pairs and counts."""
