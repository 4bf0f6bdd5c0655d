"""Drawings on given axes, which know tables, no results; reports and ``figures`` modules share them."""
