"""Generalizability studies: a design, its cells, and the variance components estimated from them."""
