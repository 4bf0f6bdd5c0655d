"""Reports: a model of sections, tables and figures, and what renders it."""
